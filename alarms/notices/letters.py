"""Turns a stored document into a letter: headline, sections and closing lines, before any form of mail."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from alarms.models import Delivery
from fleet.readiness.document import CAUTION

Document = dict[str, Any]
ENDINGS = {
    "lifted": "The hold is lifted: its causes are gone",
    "released": "The hold was released",
    "ended": "The hold has ended",
}
CLOSE_WORDS = {
    "cancelled": "the trip was cancelled",
    "delivered": "the trip was delivered",
    "departed": "the trip has left on a release",
    "unit_changed": "the trip has another unit now",
}


@dataclass(frozen=True, slots=True)
class Section:
    title: str
    lines: tuple[str, ...]
    link: str = ""


@dataclass(frozen=True, slots=True)
class Letter:
    """What a mail says, in order."""

    subject: str
    headline: str
    intro: tuple[str, ...] = ()
    sections: tuple[Section, ...] = ()
    closing: tuple[str, ...] = ()
    caution: str = CAUTION


def letter_of(purpose: str, document: Document) -> Letter:
    """The letter for a message of this purpose."""
    writers: dict[str, Callable[[Document], Letter]] = {
        Delivery.Purpose.TELL: _telling,
        Delivery.Purpose.CLOSE: _closing,
        Delivery.Purpose.SUMMARY: _summary,
        Delivery.Purpose.OWNER: _to_owner,
        Delivery.Purpose.TEST: _test,
    }
    return writers[purpose](document)


def _telling(document: Document) -> Letter:
    subject = _subject(document)
    number = document["notice"]
    acknowledge = (
        "To stop the repeats, follow a link above, sign in and say that you have seen this; a machine sends "
        f"POST /api/v1/notices/{number}/seen/."
    )
    return Letter(
        subject=subject,
        headline=subject,
        intro=_why_again(document["reason"]),
        sections=tuple([_hold(hold) for hold in document["holds"]] + [_alarm(alarm) for alarm in document["alarms"]]),
        closing=(acknowledge, "Seen is not released: the trip stays held until the causes are gone."),
    )


def _why_again(reason: str) -> tuple[str, ...]:
    words = {
        "new_cause": "There is a new cause.",
        "more_urgent": "The departure has come closer and nobody has seen this notice.",
        "seen_lapsed": "Somebody saw this notice a while ago; the causes still stand.",
        "next_step": "Nobody has seen this notice yet.",
        "repeat_due": "Nobody has seen this notice yet.",
    }
    return (words[reason],) if reason in words else ()


def _subject(document: Document) -> str:
    """Verdict, unit, departure in local time."""
    count = len(document["holds"]) + len(document["alarms"]) - 1
    more = f" (+{count} more)" if count > 0 and document["holds"][1:] else ""
    if document["holds"]:
        hold = document["holds"][0]
        return f"{verdict_words(hold)}: {document['unit']}, {hold['trip']} departs {hold['departs_local']}{more}"
    alarm = document["alarms"][0]
    where = f", under way on {alarm['trip']}" if alarm["trip"] else ""
    return f"{alarm_words(alarm)}: {document['unit']}{where}, {alarm['meaning']}, since {alarm['raised_local']}"


def verdict_words(hold: Document) -> str:
    return "Blocked" if hold["verdict"] == "blocked" else "Not known to be ready"


def alarm_words(alarm: Document) -> str:
    return {"stop": "Stop", "heat_lost": "Heat lost"}.get(alarm["kind"], "Needs attention")


def _hold(hold: Document) -> Section:
    lines = [line for cause in hold["causes"] for line in _cause(cause)]
    unit = f", {hold['unit']}" if "unit" in hold else ""
    title = f"{verdict_words(hold)}: {hold['trip']}{unit}, departs {hold['departs_local']}"
    return Section(title, tuple(lines), hold["link"])


def _cause(cause: Document) -> list[str]:
    lines = [f"Cause ({cause['check']}): {cause['message']}"]
    return [*lines, f"What would change it: {cause['remedy']}"] if cause["remedy"] else lines


def _alarm(alarm: Document) -> Section:
    unit = f"{alarm['unit']}, " if "unit" in alarm else ""
    lines = [f"Since {alarm['raised_local']}" + (f", for the {alarm['repeat']}. time" if alarm["repeat"] > 1 else "")]
    if alarm["time_to_damage"]:
        lines.append(f"Time to damage: {alarm['time_to_damage']}")
    if alarm["what_to_do"]:
        lines.append(f"What to do: {alarm['what_to_do']}")
    return Section(f"{alarm_words(alarm)}: {unit}{alarm['code']}, {alarm['meaning']}", tuple(lines), alarm["link"])


def _closing(document: Document) -> Letter:
    holds, alarms = document["holds"], document["alarms"]
    if holds:
        hold = holds[0]
        subject = f"Hold {hold['state']}: {document['unit']}, {hold['trip']} departs {hold['departs_local']}"
    else:
        subject = f"Alarm {alarms[0]['state']}: {document['unit']}, {alarms[0]['meaning']}"
    sections = [Section(f"{hold['trip']}: {_ending(hold)}", _release(hold), hold["link"]) for hold in holds]
    sections += [
        Section(f"Alarm {alarm['code']}, {alarm['meaning']}: {alarm['state']}", _work(alarm)) for alarm in alarms
    ]
    closing = ("The gate is asked once more at departure: read the newest readiness before the trip leaves.",)
    return Letter(subject, subject, sections=tuple(sections), closing=closing)


def _ending(hold: Document) -> str:
    words = ENDINGS.get(hold["state"], "The hold stands again")
    why = CLOSE_WORDS.get(hold["close_reason"], "")
    return f"{words} ({why})." if why and hold["state"] == "ended" else f"{words}."


def _release(hold: Document) -> tuple[str, ...]:
    if hold["state"] != "released":
        return ()
    return (f"By {hold['released_by']}: {hold['release_reason']}", "The causes still stand; only this trip may leave.")


def _work(alarm: Document) -> tuple[str, ...]:
    return (f"Signed by {alarm['signed_by']}: {alarm['work_done']}",) if alarm["signed_by"] else ()


def _summary(document: Document) -> Letter:
    count = len(document["holds"])
    subject = f"Summary: {count} held departure{'' if count == 1 else 's'}, {len(document['alarms'])} alarms"
    sections = [_hold(hold) for hold in document["holds"]] + [_alarm(alarm) for alarm in document["alarms"]]
    for ended in document["ended"]:
        sections += list(_closing(ended).sections)
    intro = (
        f"More messages came up within an hour than one person can read: this one stands for {document['messages']}."
    )
    return Letter(subject, subject, intro=(intro,), sections=tuple(sections))


def _to_owner(document: Document) -> Letter:
    if document.get("about") == "route_disabled":
        subject = f"A notice route was disabled: {document['channel']} of {document['member']}"
        lines = [f"{document['address']}: {document['detail']}."]
        if document["last"]:
            lines.append("It was the last route: until another is set up, every notice comes to you.")
        return Letter(subject, subject, intro=tuple(lines))
    letter = _telling(document)
    intro = (
        "No route of your fleet takes this notice, so it comes to you as the fleet's owner. "
        "Check the notice routes: somebody must be reachable.",
    )
    return Letter(letter.subject, letter.headline, intro, letter.sections, letter.closing)


def _test(document: Document) -> Letter:
    subject = f"Test of a notice route of {document['fleet']}"
    return Letter(subject, subject, intro=(f"Asked for by {document['asked_by']}. If you read this, the route works.",))
