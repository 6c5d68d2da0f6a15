"""One alarm with its story, and what people do: they have seen an alarm or a notice, and sign work off."""

from __future__ import annotations

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.http import url_has_allowed_host_and_scheme

from alarms.models import Alarm, Notice
from alarms.notices import services as notices
from alarms.notices.views import READERS
from alarms.selectors import alarm_of, history_of
from alarms.services import acts
from alarms.views import KNOWERS, SIGNERS
from fleet.errors import NotFound
from fleet.pages.views import PageView


class SeenForm(forms.Form):
    """Which state of it the person has looked at, and where to go on."""

    revision = forms.IntegerField(min_value=1)
    back = forms.CharField(required=False, max_length=500)


class SignOffForm(forms.Form):
    """What was done, in words that the record keeps."""

    revision = forms.IntegerField(min_value=1)
    work_done = forms.CharField(min_length=10, max_length=2000)


class AlarmView(PageView):
    """The alarm, what the unit said, what people did, and the form that signs the work off."""

    template = "alarms/alarm.html"
    section = "fleet.units"
    writers = SIGNERS

    def get(self, request: HttpRequest, pk: int) -> HttpResponse:
        return self._page(pk)

    def post(self, request: HttpRequest, pk: int) -> HttpResponse:
        alarm = alarm_of(self.fleet, pk)
        form = SignOffForm(request.POST)
        if not form.is_valid():
            return self._page(pk, "Say what was done, in at least 10 characters.", status=422)
        said = form.cleaned_data
        try:
            acts.sign_off(
                pk,
                fleet=self.fleet,
                by=self.member,
                work_done=said["work_done"],
                revision=said["revision"],
                now=self.now,
            )
        except acts.AlarmStillReported as refused:
            return self._page(pk, refused.detail, status=409)
        self.say(f"Signed off: {alarm.meaning} Your name and your words stand in the record.")
        return redirect("page-unit", alarm.unit.number)

    def _page(self, pk: int, problem: str = "", *, status: int = 200) -> HttpResponse:
        history = history_of(self.fleet, pk)
        context = {
            "alarm": history.alarm,
            "events": history.events[:50],
            "acts": history.acts,
            "chain": [row for row in history.chain if row.pk != pk][:20],
            "may_sign": self.member.role in SIGNERS and history.alarm.is_open,
            "may_see": self.member.role in KNOWERS and history.alarm.is_open and history.alarm.seen_at is None,
            "work_done": self.request.POST.get("work_done", ""),
            "problem": problem,
            "back": self.request.path,
        }
        return self.page(context, status=status)


class AlarmSeenView(PageView):
    """I know of this alarm. It stays open."""

    http_method_names = ["post"]
    roles = KNOWERS

    def post(self, request: HttpRequest, pk: int) -> HttpResponse:
        form = _read(request)
        alarm: Alarm = acts.mark_seen(
            pk, fleet=self.fleet, by=self.member, revision=form.cleaned_data["revision"], now=self.now
        )
        self.say(f"Noted that you have seen: {alarm.meaning}")
        return redirect(_back(request, form, otherwise=f"/units/{alarm.unit.number}/"))


class NoticeSeenView(PageView):
    """I know. Stops the repeats for a while; releases nothing."""

    http_method_names = ["post"]
    roles = READERS

    def post(self, request: HttpRequest, pk: int) -> HttpResponse:
        form = _read(request)
        notice: Notice = notices.mark_seen(
            pk, fleet_id=self.fleet.pk, by=self.member, revision=form.cleaned_data["revision"], now=self.now
        )
        self.say(f"Noted that you have seen the notice about {notice.unit.number}. It releases nothing.")
        return redirect(_back(request, form, otherwise="/"))


def _read(request: HttpRequest) -> SeenForm:
    """*Raises* NotFound where the form names no revision: such a form is not ours."""
    form = SeenForm(request.POST)
    if not form.is_valid():
        raise NotFound("This form is not complete. Load the page again.")
    return form


def _back(request: HttpRequest, form: SeenForm, *, otherwise: str) -> str:
    asked = form.cleaned_data["back"]
    return asked if asked and url_has_allowed_host_and_scheme(asked, {request.get_host()}) else otherwise
