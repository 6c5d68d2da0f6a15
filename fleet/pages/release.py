"""A manager releases a held trip: sees every cause once more, says why, and confirms."""

from __future__ import annotations

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect

from fleet.errors import NotFound
from fleet.models import Hold, Role
from fleet.pages.views import PageView
from fleet.readiness.hold_service import release_hold


class ReleaseForm(forms.Form):
    """The reason as the API takes it, the revision that was looked at, and the confirmation."""

    reason = forms.CharField(min_length=10, max_length=1000)
    revision = forms.IntegerField(min_value=1)
    confirmed = forms.BooleanField()


class ReleaseView(PageView):
    roles = frozenset({Role.MANAGER})
    template = "fleet/release.html"
    section = "fleet.departures"

    def get(self, request: HttpRequest, pk: int) -> HttpResponse:
        return self._page(self._hold(pk))

    def post(self, request: HttpRequest, pk: int) -> HttpResponse:
        hold = self._hold(pk)
        form = ReleaseForm(request.POST)
        if not form.is_valid():
            return self._page(hold, form, status=422)
        release_hold(
            pk,
            fleet_id=self.fleet.pk,
            by=self.member,
            reason=form.cleaned_data["reason"],
            expected_revision=form.cleaned_data["revision"],
            now=self.now,
        )
        self.say(f"{hold.trip.reference} is released. The reason and your name stand in its record.")
        return redirect("page-trip", hold.trip.reference)

    def _hold(self, pk: int) -> Hold:
        """*Raises* NotFound."""
        hold: Hold | None = Hold.objects.for_fleet(self.fleet).select_related("trip", "unit").filter(pk=pk).first()
        if hold is None:
            raise NotFound("There is no such hold.")
        return hold

    def _page(self, hold: Hold, form: ReleaseForm | None = None, *, status: int = 200) -> HttpResponse:
        fixed = [cause for cause in hold.causes if not cause["releasable"]]
        return self.page({"hold": hold, "fixed": fixed, "form": form}, status=status)
