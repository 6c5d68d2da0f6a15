"""Today's and tomorrow's departures: what may leave, what may not, and why."""

from __future__ import annotations

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils.cache import patch_vary_headers

from fleet.models import Verdict
from fleet.pages.board import DAYS, Wanted, board, standings, tag_of
from fleet.pages.views import PageView


class FilterForm(forms.Form):
    """What a link may ask for; anything else is as if it were not there."""

    day = forms.ChoiceField(choices=[(name, name) for name in DAYS], required=False)
    verdict = forms.ChoiceField(choices=[("", "any"), *Verdict.choices], required=False)
    held = forms.BooleanField(required=False)
    q = forms.CharField(max_length=64, required=False)


def wanted_of(request: HttpRequest) -> Wanted:
    form = FilterForm(request.GET)
    form.is_valid()
    said = form.cleaned_data
    return Wanted(
        day=said.get("day") or "both",
        verdict=said.get("verdict", ""),
        held=said.get("held", False),
        text=said.get("q", "").strip(),
    )


class DeparturesView(PageView):
    """The whole page, or, for the script that refreshes it, only its rows. Unchanged rows are a 304."""

    template = "fleet/departures.html"
    section = "fleet.departures"

    def get(self, request: HttpRequest) -> HttpResponse:
        wanted = wanted_of(request)
        found = standings(self.fleet, wanted, self.reader)
        minute = self.now.replace(second=0, microsecond=0)
        seen_by = (self.member.pk, self.member.role, self.reader.scale, self.reader.volume, self.reader.look)
        tag = tag_of(found, minute, *seen_by, str(self.reader.zone), wanted, self.partial)
        if self.partial and request.headers.get("If-None-Match") == tag:
            return self._marked(HttpResponse(status=304), tag)
        context = {
            "wanted": wanted,
            "board": board(found, wanted, self.reader, self.fleet),
            "verdicts": Verdict.choices,
            "address": request.get_full_path(),
        }
        template = "fleet/_board.html" if self.partial else self.template
        response = self.page(context, template=template)
        return self._marked(response, tag) if self.partial else response

    @staticmethod
    def _marked(response: HttpResponse, tag: str) -> HttpResponse:
        response["ETag"] = tag
        patch_vary_headers(response, ["HX-Request"])
        return response
