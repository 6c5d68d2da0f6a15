"""Alarms over HTTP: read, and what people do to them. Each command calls one service."""

from __future__ import annotations

from typing import Any, ClassVar

import django_filters
from rest_framework.request import Request
from rest_framework.response import Response

from alarms.models import Alarm
from alarms.selectors import alarm_of, alarms_with_names, history_of
from alarms.serializers import AlarmOutput, HistoryOutput, SignOffInput, VoidInput
from alarms.services import acts
from fleet.clock import db_now
from fleet.errors import InvalidInput
from fleet.http.etag import expected_revision, revision_answer
from fleet.http.filters import FlagFilter, InstantFilter, WordFilter
from fleet.http.views import CommandView, ReadOnlyResource
from fleet.models import Role

KNOWERS = frozenset({Role.DISPATCHER, Role.INSPECTOR, Role.MANAGER})
SIGNERS = frozenset({Role.INSPECTOR, Role.MANAGER})
MANAGERS = frozenset({Role.MANAGER})


class AlarmFilters(django_filters.FilterSet):
    unit = WordFilter(field_name="unit__number")
    tier = WordFilter()
    state = WordFilter()
    scheme = WordFilter()
    code = WordFilter()
    open = FlagFilter(method="only_open")
    raised_from = InstantFilter(field_name="raised_at", lookup_expr="gte")
    raised_until = InstantFilter(field_name="raised_at", lookup_expr="lt")
    first = django_filters.ChoiceFilter(choices=[("open", "open")], method="keep")

    class Meta:
        model = Alarm
        fields: tuple[str, ...] = ()

    def only_open(self, rows: Any, name: str, value: bool) -> Any:
        return rows.filter(open_rank=int(value))

    def keep(self, rows: Any, name: str, value: str) -> Any:
        """`first=open` moves rows (see `AlarmView.cursor_fields`), it drops none."""
        return rows


class AlarmView(ReadOnlyResource):
    """Alarms, newest record first; with `?first=open` open ones before closed ones."""

    tag = "alarms"
    model = Alarm
    serializer_class = AlarmOutput
    filterset_class = AlarmFilters

    def get_queryset(self) -> Any:
        return alarms_with_names(super().get_queryset())

    @property
    def cursor_fields(self) -> tuple[str, ...]:
        if self.request.query_params.get("first") != "open":
            return ("id",)
        if self.request.query_params.get("order") == "oldest":
            detail = "first=open lists the newest first."
            raise InvalidInput.at("/order", "mismatch", detail, where="query")
        return ("open_rank", "id")


class HistoryView(CommandView):
    """The story of one alarm: what the unit said, what people did, and every earlier record of the same fault."""

    tag = "alarms"
    roles = {"GET": "any"}
    output_serializer = HistoryOutput

    def get(self, request: Request, pk: int) -> Response:
        return self.answer(history_of(self.fleet, pk))


class _AlarmCommand(CommandView):
    """An act on one alarm: needs If-Match, answers with the alarm."""

    tag = "alarms"
    quota = "acts"
    output_serializer = AlarmOutput
    if_match = frozenset({"POST"})
    gives_etag = True
    problems: ClassVar[tuple[str, ...]] = ("conflict",)

    def revision(self, request: Request, pk: int) -> int | None:
        return expected_revision(request, alarm_of(self.fleet, pk).revision)

    def answer_alarm(self, request: Request, alarm: Alarm) -> Response:
        return revision_answer(request, self.answer(alarm_of(self.fleet, alarm.pk)).data, alarm.revision)


class SeenView(_AlarmCommand):
    """I know of it. The alarm stays open."""

    roles = {"POST": KNOWERS}

    def post(self, request: Request, pk: int) -> Response:
        revision = self.revision(request, pk)
        alarm = acts.mark_seen(pk, fleet=self.fleet, by=self.member, revision=revision, now=db_now())
        return self.answer_alarm(request, alarm)


class SignOffView(_AlarmCommand):
    """The work is done: signs it and closes the alarm. Refused while the unit still reports the fault."""

    roles = {"POST": SIGNERS}
    input_serializer = SignOffInput
    problems = ("conflict", "alarm-still-reported")

    def post(self, request: Request, pk: int) -> Response:
        revision = self.revision(request, pk)
        work_done = self.read(request)["work_done"]
        alarm = acts.sign_off(
            pk, fleet=self.fleet, by=self.member, work_done=work_done, revision=revision, now=db_now()
        )
        return self.answer_alarm(request, alarm)


class VoidView(_AlarmCommand):
    """The alarm was never real, says a manager, with a reason."""

    roles = {"POST": MANAGERS}
    input_serializer = VoidInput

    def post(self, request: Request, pk: int) -> Response:
        revision = self.revision(request, pk)
        reason = self.read(request)["reason"]
        alarm = acts.void(pk, fleet=self.fleet, by=self.member, reason=reason, revision=revision, now=db_now())
        return self.answer_alarm(request, alarm)
