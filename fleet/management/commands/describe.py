"""`manage.py describe checks|policy|fields`: prints the reference pages that are made from the code's own tables."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from fleet.ingest.fields import READING_FIELDS, Kind
from fleet.models.readiness import Phase
from fleet.policy import THRESHOLDS
from fleet.readiness.registry import BOTH, always, at_departure, at_loading, at_preheat, checks

DUE_WORDS: dict[Any, str] = {
    always: "at once",
    at_loading: "at loading",
    at_preheat: "`preheat_h` before loading",
    at_departure: "at departure",
}


def checks_page() -> str:
    lines = [
        "# Readiness checks",
        "",
        "Every question readiness asks, made from the registry by `uv run manage.py describe checks`; a test keeps",
        "this page equal to it. Outcomes: `pass`; `pending` (a fact is missing but not due yet: neither blocks an",
        "assignment nor opens a hold); `concern`; `block`; `unknown` (missing and due, or the check failed).",
        "Thresholds in `code` are named in [policy.md](policy.md).",
        "",
        "Verdict: any block → `blocked`; else any unknown in a required check → `unknown`; else anything that is not",
        "`pass` → `conditional`; else `ready`. A `blocked` or `unknown` trip may not be assigned or leave; a manager",
        "can release it with a reason where every cause allows that.",
        "",
    ]
    for check in checks:
        phases = "planned and under way" if check.phases == BOTH else Phase(next(iter(check.phases))).replace("_", " ")
        lines += [
            f"## `{check.id}`",
            "",
            check.words.asks,
            "",
            "| | |",
            "|---|---|",
            f"| blocks when | {check.words.blocks} |",
            f"| concern when | {check.words.concern} |",
            f"| unknown when | {check.words.unknown} |",
            f"| a missing fact is due | {DUE_WORDS[check.due]} |",
            f"| an unknown stops the trip | {'yes' if check.required else 'no'} |",
            f"| asked while | {phases} |",
            "",
        ]
    return "\n".join(lines)


def policy_page() -> str:
    lines = [
        "# Policy: the thresholds of a fleet",
        "",
        "Made from `fleet/policy.py` by `uv run manage.py describe policy`; a test keeps this page equal to it. A",
        "fleet changes them with `PATCH /api/v1/policy/` (manager, If-Match); null puts one back to its default.",
        "",
        "| name | default | from | to | what it does | where the default is from |",
        "|---|---|---|---|---|---|",
    ]
    lines += [
        f"| `{row.name}` | {row.default:g} | {row.low:g} | {row.high:g} | {row.words} | {row.source} |"
        for row in THRESHOLDS
    ]
    return "\n".join([*lines, ""])


def fields_page() -> str:
    lines = [
        "# Fields of a reading",
        "",
        "Made from `fleet/ingest/fields.py` by `uv run manage.py describe fields`; a test keeps this page equal to it.",
        "All fields are optional, at least one is needed. `fuel_pct` (0 to 100) may stand for `fuel_l` when the unit",
        "model states its tank; `latitude` and `longitude` go together and only the newest position is kept.",
        "",
        "| field | unit | from | to |",
        "|---|---|---|---|",
    ]
    for field in READING_FIELDS:
        if field.kind is Kind.FLAG:
            lines.append(f"| `{field.name}` | true or false | | |")
        else:
            lines.append(f"| `{field.name}` | {field.kind} | {field.low:g} | {field.high:g} |")
    return "\n".join([*lines, ""])


PAGES = {"checks": checks_page, "policy": policy_page, "fields": fields_page}


class Command(BaseCommand):
    help = "Prints a reference page made from the code's own tables."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("page", choices=sorted(PAGES))

    def handle(self, *args: Any, **options: Any) -> None:
        self.stdout.write(PAGES[options["page"]](), ending="")
