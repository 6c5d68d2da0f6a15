"""A stored message in the form its channel wants: a mail with two bodies, or the signed body of a webhook."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import datetime
from typing import Any

from django.template.loader import render_to_string

from alarms.channels.email import CHART_ID, Mail
from alarms.channels.webhook import HookMessage
from alarms.models import Delivery
from alarms.notices.charts import chart_of
from alarms.notices.letters import Letter, letter_of
from fleet.clock import text_of
from fleet.models import Member
from fleet.pages.measures import in_units


def mail_of(delivery: Delivery) -> Mail:
    """The mail, in the units its reader has chosen; its id and text are the same on every attempt, its chart is of the
    attempt."""
    letter = letter_of(delivery.purpose, delivery.document)
    if delivery.route is not None:
        letter = in_units_of(letter, delivery.route.member)
    image = chart_of(delivery)
    return Mail(
        message_id=delivery.message_id,
        to=delivery.address,
        subject=letter.subject,
        text=plain_text(letter),
        html=render_to_string("alarms/letter.html", {"letter": letter, "chart": CHART_ID if image else ""}),
        thread=f"notice-{delivery.notice_id}" if delivery.notice_id else "",
        image=image,
    )


def in_units_of(letter: Letter, member: Member) -> Letter:
    """The letter with its temperatures and volumes as the member reads them; documents stay metric."""

    def said(text: str) -> str:
        return in_units(text, scale=member.scale, volume=member.volume)

    return replace(
        letter,
        headline=said(letter.headline),
        intro=tuple(map(said, letter.intro)),
        sections=tuple(replace(part, lines=tuple(map(said, part.lines))) for part in letter.sections),
        closing=tuple(map(said, letter.closing)),
    )


def plain_text(letter: Letter) -> str:
    """The letter for a reader without HTML."""
    blocks = [letter.headline, *letter.intro]
    for section in letter.sections:
        lines = [section.title, *(f"  - {line}" for line in section.lines)]
        blocks.append("\n".join([*lines, f"  {section.link}"] if section.link else lines))
    return "\n\n".join([*blocks, *letter.closing, letter.caution]) + "\n"


def hook_message(delivery: Delivery, *, now: datetime) -> HookMessage:
    """The webhook message, to be signed with the route's secret and with the one before it while that counts."""
    route = delivery.route
    assert route is not None
    secrets = [route.secret]
    if route.previous_secret and route.previous_secret_until is not None and route.previous_secret_until > now:
        secrets.append(route.previous_secret)
    return HookMessage(delivery.message_id, delivery.address, hook_body(delivery), tuple(secrets))


def hook_body(delivery: Delivery) -> str:
    """`type`, `timestamp`, `data` as canonical JSON: byte for byte the same on every attempt."""
    body = {"type": hook_type(delivery), "timestamp": text_of(delivery.created_at), "data": hook_data(delivery)}
    return json.dumps(body, sort_keys=True, separators=(",", ":"), ensure_ascii=False)


def hook_type(delivery: Delivery) -> str:
    """`hold.opened.v1`, `hold.changed.v1`, `hold.ended.v1`, `alarm.stop.v1`, `alarm.heat_lost.v1`, …"""
    document = delivery.document
    if delivery.purpose == Delivery.Purpose.TEST:
        return "route.test.v1"
    if document["holds"]:
        return f"hold.{document['change']}.v1"
    return f"alarm.{document['alarms'][0]['kind']}.v1"


def hook_data(delivery: Delivery) -> dict[str, Any]:
    """What happened and to what; one hold or one alarm for each message."""
    document = delivery.document
    if delivery.purpose == Delivery.Purpose.TEST:
        return dict(document)
    shared = {name: document[name] for name in ("notice", "unit", "urgency", "reason", "change", "caution")}
    subject = document["holds"][0] if document["holds"] else document["alarms"][0]
    one = {name: value for name, value in subject.items() if name != "subject" and not name.endswith("_local")}
    return shared | {"hold" if document["holds"] else "alarm": one}
