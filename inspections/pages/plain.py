"""A whole sheet on one page, as a plain form: works in any browser, with or without scripts."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from typing import Any

from django.core.files.uploadedfile import UploadedFile
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect
from django.urls import reverse
from rest_framework.exceptions import ValidationError

from fleet.errors import FieldError, WarmgateError
from fleet.http.idempotency import run_once
from fleet.http.problems import describe
from fleet.pages.views import PageView
from fleet.trips.selectors import unit_of
from inspections.forms import form_document
from inspections.models import Observation
from inspections.pages.filling import items_in, with_words
from inspections.pictures import MAX_BYTES, NotAPhoto
from inspections.serializers import InspectionInput
from inspections.services.filing import file_inspection
from inspections.services.photos import store_photo
from inspections.views import INSPECTORS

OUTCOMES = tuple(Observation.Outcome)


class FillView(PageView):
    """GET shows the sheet of one unit, POST files it signed."""

    roles = INSPECTORS
    template = "inspections/fill.html"
    section = "inspections.inspections"

    def get(self, request: HttpRequest, number: str, sheet: str) -> HttpResponse:
        return self._form(number, sheet, said=QueryDict(), key=str(uuid.uuid4()))

    def post(self, request: HttpRequest, number: str, sheet: str) -> HttpResponse:
        form = self._document(number, sheet)
        observations = observations_in(form, request.POST)
        try:
            address, new = run_once(
                lambda: self._file(form, observations), key=f"form/{request.POST.get('key', '')[:200]}",
                route=f"POST {request.path}", fleet=self.fleet, member=self.member, now=self.now,
            )  # fmt: skip
        except (WarmgateError, ValidationError) as error:
            _, detail, faults, _ = describe(error)
            known = faults_by_item(faults, observations)
            return self._form(number, sheet, said=request.POST, key=str(uuid.uuid4()), detail=detail, faults=known)
        self.say("Signed and filed." if new else "This was filed before; nothing was filed twice.")
        return redirect(address)

    def _file(self, form: Mapping[str, Any], observations: Sequence[dict[str, Any]]) -> str:
        files, post = self.request.FILES, self.request.POST
        for one in observations:
            uploads = files.getlist(f"photo-{one['item']}")
            if uploads:
                one["photos"] = [store_photo(self.fleet, _read(file), by=self.member, now=self.now).pk
                                 for file in uploads]  # fmt: skip
        filing: dict[str, Any] = {
            "sheet": form["sheet"], "sheet_version": form["sheet_version"], "unit": form["unit"],
            "observations": observations, "signature": signature_in(post), "trip": post.get("trip", "").strip() or None,
        }  # fmt: skip
        checked = InspectionInput(data=filing, context={"fleet": self.fleet})
        checked.is_valid(raise_exception=True)
        row = file_inspection(self.fleet, checked.validated_data, by=self.member, now=self.now)
        return reverse("page-inspection", args=[row.pk])

    def _document(self, number: str, sheet: str) -> dict[str, Any]:
        unit = unit_of(self.fleet.pk, number)
        return with_words(form_document(self.fleet, unit, sheet, now=self.now), self.reader)

    def _form(
        self, number: str, sheet: str, *, said: QueryDict, key: str, detail: str = "",
        faults: Mapping[str, Sequence[str]] | None = None,
    ) -> HttpResponse:  # fmt: skip
        form = self._document(number, sheet)
        faults = dict(faults or {})
        for item in items_in(form):
            name = item["key"]
            item |= {"outcome": said.get(f"outcome-{name}"), "note": said.get(f"note-{name}", ""),
                     "faults": faults.pop(name, ())}  # fmt: skip
            for measure in item["measures"]:
                field = f"value-{name}-{measure['name']}"
                places = range(measure["count"] if measure["many"] else 1)
                typed = said.getlist(field)
                measure["typed"] = [typed[place] if place < len(typed) else "" for place in places]
                measure["unit_typed"] = said.get(f"unit-{name}-{measure['name']}")
        context = {"form": form, "key": key, "outcomes": OUTCOMES, "detail": detail, "trip": said.get("trip")
                   or self.request.GET.get("trip", ""), "other_faults": [w for rows in faults.values() for w in rows],
                   "refused": bool(detail)}  # fmt: skip
        return self.page(context, status=422 if detail else 200)


def observations_in(form: Mapping[str, Any], post: QueryDict) -> list[dict[str, Any]]:
    """What the form says of each item, as the API takes it. An item without an outcome is left out: not seen."""
    found = []
    for item in items_in(form):
        name = item["key"]
        if not (outcome := post.get(f"outcome-{name}")):
            continue
        values = {one["name"]: value for one in item["measures"] if (value := _value(one, name, post)) is not None}
        found.append({"item": name, "outcome": outcome, "note": post.get(f"note-{name}", "").strip()}
                     | ({"values": values} if values else {}))  # fmt: skip
    return found


def _value(measure: Mapping[str, Any], item: str, post: QueryDict) -> Any:
    """A typed value with its unit; text that is no number goes on as it is, to be refused with its place."""
    field = f"{item}-{measure['name']}"
    typed = [text for text in (one.strip() for one in post.getlist(f"value-{field}")) if text]
    if not typed:
        return None
    if measure["choices"]:
        return typed[0]
    unit = post.get(f"unit-{field}", measure["units"][0]["send"])
    values = [_quantity(text, unit) for text in typed]
    return values if measure["many"] else values[0]


def _quantity(text: str, unit: str) -> Any:
    try:
        number = float(text.replace(",", ".").replace("−", "-"))
    except ValueError:
        return text
    return {"value": number, "unit": unit} if unit else number


def signature_in(post: QueryDict) -> dict[str, Any]:
    """The signature of a plain form: no script says what the device's clock showed."""
    reviewed = post.get("reviewed", "")
    return {"reviewed": int(reviewed) if reviewed.isdecimal() and len(reviewed) < 16 else None}


def _read(file: UploadedFile[bytes]) -> bytes:
    if (file.size or 0) > MAX_BYTES:
        raise NotAPhoto(f"A photo may have {MAX_BYTES} bytes at most.")
    return file.read()


def faults_by_item(faults: Sequence[FieldError], observations: Sequence[Mapping[str, Any]]) -> dict[str, list[str]]:
    """What was refused, by the item it belongs to; the empty name holds what belongs to none."""
    found: dict[str, list[str]] = {}
    for fault in faults:
        parts = fault.pointer.split("/")
        index = int(parts[2]) if parts[1:2] == ["observations"] and len(parts) > 2 and parts[2].isdecimal() else -1
        item = observations[index]["item"] if 0 <= index < len(observations) else ""
        found.setdefault(item, []).append(fault.detail)
    return found
