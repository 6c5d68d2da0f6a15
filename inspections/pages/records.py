"""Filed inspections: the list, one of them with its photos, and what stands behind a defect."""

from __future__ import annotations

import re
from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect

from fleet.models import Trip, Unit
from fleet.pages.views import PageView
from inspections.measures import BY_NAME
from inspections.models import Defect, Inspection, Observation, Repair
from inspections.pages.door import PageSession
from inspections.photo_views import PictureView
from inspections.record_views import PdfView
from inspections.selectors import inspection_of, newest_sheets
from inspections.views import INSPECTORS

PAGE_SIZE = 40
_SLUG = re.compile(r"[-\w]+", re.ASCII)
LIVE = (Defect.State.OPEN, Defect.State.REPAIRED)


class InspectionsView(PageView):
    """The newest inspections first, open defects beside them, and the way to begin one."""

    template = "inspections/list.html"
    section = "inspections.inspections"

    def get(self, request: HttpRequest) -> HttpResponse:
        asked = {name: request.GET.get(name, "").strip()[:64] for name in ("unit", "result", "state")}
        rows = Inspection.objects.for_fleet(self.fleet).select_related("unit", "sheet", "trip", "started_by")
        if asked["unit"]:
            rows = rows.filter(unit__number__iexact=asked["unit"])
        for name in ("result", "state"):
            if asked[name]:
                rows = rows.filter(**{name: asked[name]})
        before = request.GET.get("before", "")
        if before.isdecimal() and len(before) < 19:
            rows = rows.filter(pk__lt=int(before))
        found = list(rows.order_by("-pk")[: PAGE_SIZE + 1])
        older = found[PAGE_SIZE - 1].pk if len(found) > PAGE_SIZE else None
        may_inspect = self.member.role in INSPECTORS
        return self.page({
            "inspections": found[:PAGE_SIZE], "older": older, "asked": asked, "results": Inspection.Result.values,
            "states": Inspection.State.values, "defects": self._defects(), "may_inspect": may_inspect,
            **(self._choices() if may_inspect else {}),
        })  # fmt: skip

    def _defects(self) -> list[Defect]:
        rows = Defect.objects.for_fleet(self.fleet).filter(state__in=LIVE).select_related("unit", "opened_by")
        return list(rows.order_by("-blocks", "opened_at", "pk")[:100])

    def _choices(self) -> dict[str, Any]:
        units = Unit.objects.for_fleet(self.fleet).order_by("number").values_list("number", flat=True)
        trips = Trip.objects.for_fleet(self.fleet).filter(state=Trip.State.PLANNED).order_by("loading_at", "pk")
        return {
            "units": units[:2000],
            "trips": trips.select_related("planned_unit", "assigned_unit")[:200],
            "sheets": newest_sheets(self.fleet),
        }


class ChooseView(PageView):
    """Where the plain form of the list leads: to the sheet of the unit that was chosen."""

    roles = INSPECTORS

    def get(self, request: HttpRequest) -> HttpResponse:
        unit, sheet = request.GET.get("unit", "").strip(), request.GET.get("sheet", "pre-trip").strip()
        if not unit or "/" in unit or not _SLUG.fullmatch(sheet):
            return redirect("page-inspections")
        response = redirect("page-fill", number=unit, sheet=sheet)
        if trip := request.GET.get("trip", "").strip():
            response["Location"] += f"?{urlencode({'trip': trip})}"
        return response


class InspectionPage(PageView):
    """One inspection: result, signatures, every item with its values and photos, repairs, re-checks."""

    template = "inspections/inspection.html"
    section = "inspections.inspections"

    def get(self, request: HttpRequest, pk: int) -> HttpResponse:
        return self.show(inspection_of(self.fleet.pk, pk))

    def show(self, row: Inspection, *, problem: str = "", status: int = 200) -> HttpResponse:
        """The page of one inspection, with what was refused about it."""
        observations = list(row.observations.prefetch_related("photos").order_by("position"))
        defects = {one.opened_by_id: one for one in Defect.objects.for_fleet(self.fleet).filter(
            opened_by__in=observations)}  # fmt: skip
        live = {one.item: one for one in Defect.objects.for_fleet(self.fleet).filter(unit=row.unit, state__in=LIVE)}
        repairs = Repair.objects.for_fleet(self.fleet).filter(observation__inspection=row).order_by("pk")
        return self.page({
            "inspection": row,
            "seen": [_seen(one, defects.get(one.pk), live.get(one.item)) for one in observations],
            "signatures": row.signatures.order_by("pk"),
            "repairs": repairs.prefetch_related("signatures"),
            "rechecks": row.rechecks.order_by("pk"),
            "superseded_by": Inspection.objects.for_fleet(self.fleet).filter(supersedes=row).first(),
            "may_sign": self.member.role in INSPECTORS and row.state == Inspection.State.SIGNED,
            "may_discard": self.member.role in INSPECTORS and row.state == Inspection.State.DRAFT,
            "problem": problem,
        }, status=status)  # fmt: skip


def _seen(row: Observation, defect: Defect | None, live: Defect | None) -> dict[str, Any]:
    """One item with its values in words. `mend`: the defect that somebody may sign for here."""
    mend = live if row.outcome == Observation.Outcome.DEFECT else None
    return {"row": row, "defect": defect, "mend": mend, "values": _values(row.values), "photos": row.photos.all()}


_SAID = {"c": "degC", "l": "L", "v": "V", "h": "h", "pct": "%"}


def _values(values: dict[str, Any]) -> list[dict[str, Any]]:
    """Each stored value with its words and the unit that `measure` of the templates takes; text as it is."""
    shown = []
    for name, value in values.items():
        known = BY_NAME.get(name)
        words = known.words.partition(" [")[0].rstrip(".") if known else name
        unit = _SAID.get(known.unit or "", "N" if known and not known.choices else "") if known else ""
        for one in value if isinstance(value, list) else [value]:
            text = one if isinstance(one, str) else ""
            shown.append({"words": words, "value": None if text else one, "text": text, "unit": unit})
    return shown


class PagePdf(PdfView):
    """One signed inspection as PDF, for whoever is signed in to the pages."""

    authentication_classes = (PageSession,)
    schema = None


class PagePicture(PictureView):
    """A photo, for whoever is signed in to the pages."""

    authentication_classes = (PageSession,)
    schema = None
