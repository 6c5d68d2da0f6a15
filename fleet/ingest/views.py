"""Events over HTTP, and the quarantine of those that could not be taken."""

from __future__ import annotations

from typing import Any

import django_filters
from django.db import transaction
from drf_spectacular.utils import extend_schema
from rest_framework.parsers import BaseParser
from rest_framework.request import Request
from rest_framework.response import Response

from fleet.clock import db_now
from fleet.errors import NotFound
from fleet.http.filters import WordFilter
from fleet.http.parsers import read_limited, require_utf8
from fleet.http.views import CommandView, ReadOnlyResource
from fleet.ingest.batch import BatchAnswer, ItemAnswer
from fleet.ingest.parse import split_batch
from fleet.ingest.quarantine import NotHeld, close_held
from fleet.ingest.replay import replay_held
from fleet.ingest.schema import BATCH, EXAMPLE
from fleet.ingest.service import ingest
from fleet.models import QuarantinedEvent, Role
from fleet.units.serializers import BatchOutput, DiscardInput, QuarantineOutput, ReplayOutput

SENDERS = frozenset({Role.INTEGRATOR})
MENDERS = frozenset({Role.INTEGRATOR, Role.MANAGER})


class BatchParser(BaseParser):
    """Hands the body over as bytes: the batch is parsed item by item, not by the framework."""

    media_type = "application/cloudevents-batch+json"

    def parse(self, stream: Any, media_type: str | None = None, parser_context: Any = None) -> Any:
        require_utf8(media_type or self.media_type)
        return read_limited(stream, (parser_context or {}).get("request"))


class PlainBatchParser(BatchParser):
    media_type = "application/json"


class EventsView(CommandView):
    """Takes a batch of CloudEvents: readings, faults, whatever a handler is registered for.

    `application/json` is taken as well as the media type of CloudEvents.
    """

    tag = "events"
    quota = "events"
    sheds = True
    roles = {"POST": SENDERS}
    parser_classes = (BatchParser, PlainBatchParser)
    reads_raw_body = True
    output_serializer = BatchOutput
    success_status = {"POST": 207}
    body_example = EXAMPLE

    # One type in the document: generators of clients stumble over two types of one body.
    @extend_schema(request={BatchParser.media_type: BATCH})
    def post(self, request: Request) -> Response:
        body = request.data if isinstance(request.data, bytes) else b""
        answer = ingest(self.fleet.pk, split_batch(body), now=self.now)
        return Response(batch_document(answer), status=207)


def batch_document(answer: BatchAnswer) -> dict[str, Any]:
    return {
        "received": answer.received,
        "accepted": answer.accepted,
        "duplicate": answer.count("duplicate"),
        "quarantined": answer.count("quarantined"),
        "items": [item_document(item) for item in answer.items],
    }


def item_document(item: ItemAnswer) -> dict[str, Any]:
    document: dict[str, Any] = {"index": item.index, "id": item.id, "status": item.status}
    if item.status == "quarantined":
        document |= {
            "code": item.code,
            "detail": item.detail,
            "pointer": item.pointer,
            "retryable": item.retryable,
            "quarantine_id": item.quarantine_id,
        }
    return document


class QuarantineFilters(django_filters.FilterSet):
    state = WordFilter()
    code = WordFilter()
    subject = WordFilter()

    class Meta:
        model = QuarantinedEvent
        fields: tuple[str, ...] = ()


class QuarantineView(ReadOnlyResource):
    """Events that could not be taken, each with why and whether trying again can help."""

    tag = "events"
    model = QuarantinedEvent
    serializer_class = QuarantineOutput
    filterset_class = QuarantineFilters

    def get_queryset(self) -> Any:
        return super().get_queryset().select_related("closed_by")


class _QuarantineCommand(CommandView):
    tag = "events"
    roles = {"POST": MENDERS}
    problems = ("conflict",)

    def held(self, pk: int) -> QuarantinedEvent:
        row: QuarantinedEvent | None = QuarantinedEvent.objects.for_fleet(self.fleet).filter(pk=pk).first()
        if row is None:
            raise NotFound("There is no such event in quarantine.")
        if row.state != QuarantinedEvent.State.HELD:
            raise NotHeld(f"This event was already {row.state}.")
        return row


class ReplayView(_QuarantineCommand):
    """Tries a held event again, as if it had just arrived."""

    output_serializer = ReplayOutput

    def post(self, request: Request, pk: int) -> Response:
        replay = replay_held(self.held(pk), by=self.member, now=db_now())
        item = item_document(replay.item) if replay.item else None
        return self.answer({"state": "replayed" if replay.taken else "held", "item": item})


class DiscardView(_QuarantineCommand):
    """Gives a held event up, with a reason. It stays on record."""

    input_serializer = DiscardInput
    output_serializer = QuarantineOutput

    def post(self, request: Request, pk: int) -> Response:
        row, reason = self.held(pk), self.read(request)["reason"]
        with transaction.atomic():
            close_held(row, state=QuarantinedEvent.State.DISCARDED, by=self.member, reason=reason, now=db_now())
        row.refresh_from_db()
        return self.answer(row)
