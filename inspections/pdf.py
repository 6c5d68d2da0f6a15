"""One signed inspection as a printable document: what was asked, what was seen, the cautions, who signed, the hash.

Set small on A4 so that a pre-trip sheet fits on one page where it can. The same record gives the same bytes on the same
day's software: nothing in the file depends on when it was made.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from reportlab.lib.units import mm
from reportlab.platypus import Flowable, Paragraph, Spacer, Table

from fleet.records.printing import GRID, pdf_of, text
from inspections.forms import DISCLAIMER
from inspections.models import Inspection, Observation, Repair, Signature

WIDTHS = (46 * mm, 18 * mm, 122 * mm)
WORDS = {"sound": "sound", "wear": "WEAR", "defect": "DEFECT", "not_seen": "not seen"}


def inspection_pdf(row: Inspection) -> bytes:
    """The PDF of a signed inspection; its unit, sheet and trip are loaded."""
    foot = f"inspection {row.pk} · {row.unit.number} · {row.content_hash[:16]}"
    return pdf_of(_story(row), title=f"Inspection {row.pk}", foot=foot)


def _story(row: Inspection) -> list[Flowable]:
    """Everything on the pages, from the top."""
    observations = list(row.observations.order_by("position").prefetch_related("photos"))
    repairs = (
        Repair.objects.for_fleet(row.fleet_id)
        .filter(observation__inspection=row)
        .select_related("observation")
        .prefetch_related("signatures")
    )
    return [
        text(f"{row.sheet.title} · unit {row.unit.number} · {row.result}", 11, bold=True),
        Spacer(1, 2 * mm),
        text(_head(row), 7.5),
        Spacer(1, 1.5 * mm),
        *_groups(row, observations),
        *_repairs(list(repairs.order_by("pk"))),
        Spacer(1, 1.5 * mm),
        _signatures(list(row.signatures.order_by("meaning"))),
        Spacer(1, 1.5 * mm),
        text(f"SHA-256 of what was signed: {row.content_hash}", 7),
        text(DISCLAIMER, 7),
    ]


def _moment(at: datetime | None) -> str:
    return "–" if at is None else f"{at:%Y-%m-%d %H:%M} UTC"


def _head(row: Inspection) -> str:
    lines = [
        f"inspection {row.pk}, {row.kind.replace('_', '-')}, sheet {row.sheet}, performed {_moment(row.performed_at)}, "
        f"signed {_moment(row.signed_at)}, arrived {row.arrival.replace('_', ' ')}",
        f"engine hours {row.engine_hours_h if row.engine_hours_h is not None else 'not known'}"
        + (f", trip {row.trip.reference}" if row.trip else ""),
    ]
    if row.state == Inspection.State.SUPERSEDED:
        lines.append("SUPERSEDED by a later inspection: kept as the record of what was signed then.")
    if row.supersedes_id:
        lines.append(f"Takes the place of inspection {row.supersedes_id}: {row.reason}")
    if row.refers_to_id:
        lines.append(f"Second look at items of inspection {row.refers_to_id}")
    if row.reviewed_id:
        lines.append(f"The last report, inspection {row.reviewed_id}, was reviewed.")
    return "\n".join(lines)


def _groups(row: Inspection, observations: Sequence[Observation]) -> list[Flowable]:
    """Each group of the sheet with its caution and what was seen of its items."""
    by_item = {seen.item: seen for seen in observations}
    story: list[Flowable] = []
    for group in row.sheet.groups:
        seen = [(item, by_item[item["key"]]) for item in group["items"] if item["key"] in by_item]
        if not seen:
            continue
        story.append(text(group["title"], 8.5, bold=True))
        if group.get("caution"):
            story.append(text(f"Caution: {group['caution']}", 7))
        story.append(Spacer(1, 0.8 * mm))
        lines = [[text(one.label), _outcome(one), text(_words(item, one), 7)] for item, one in seen]
        story.append(Table(lines, colWidths=WIDTHS, style=GRID, hAlign="LEFT"))
        story.append(Spacer(1, 1.6 * mm))
    return story


def _outcome(one: Observation) -> Paragraph:
    return text(WORDS[one.outcome], bold=one.outcome in (Observation.Outcome.WEAR, Observation.Outcome.DEFECT))


def _words(item: dict[str, Any], one: Observation) -> str:
    parts = [one.note] if one.note else []
    parts += [f"{name} = {value}" for name, value in sorted(one.values.items())]
    parts += [f"photo {photo.pk} ({photo.sha256[:12]})" for photo in one.photos.all()]
    if item.get("caution"):
        parts.append(f"Caution: {item['caution']}")
    return " · ".join(parts)


def _repairs(repairs: Sequence[Repair]) -> list[Flowable]:
    if not repairs:
        return []
    lines = [
        [text(one.observation.label), text(one.kind.replace("_", " ")), text(_repair_words(one), 7)] for one in repairs
    ]
    return [
        text("Repairs, or why none was necessary", 8.5, bold=True),
        Spacer(1, 0.8 * mm),
        Table(lines, colWidths=WIDTHS, style=GRID, hAlign="LEFT"),
    ]


def _repair_words(one: Repair) -> str:
    parts = [one.what_done, f"parts: {', '.join(one.parts)}" if one.parts else "", f"by {one.done_by}"]
    parts.append(_moment(one.performed_at))
    parts += [_signature_words(signature) for signature in one.signatures.all()]
    return " · ".join(part for part in parts if part)


def _signatures(signatures: Sequence[Signature]) -> Table:
    lines = [[text("Signed", bold=True), text(_signature_words(one))] for one in signatures]
    return Table(lines, colWidths=(WIDTHS[0], WIDTHS[1] + WIDTHS[2]), style=GRID, hAlign="LEFT")


def _signature_words(one: Signature) -> str:
    return (
        f"{one.meaning} · {one.name}, {one.role} · service clock {_moment(one.server_at)} · "
        f"device clock {_moment(one.device_at)}"
    )
