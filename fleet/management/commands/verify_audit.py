"""`manage.py verify_audit`: walks the audit chain of every fleet and says whether it holds."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from fleet.models import AuditEntry, Fleet
from fleet.progress import Watched
from fleet.records.seal import ChainReport, verify_chain


class Command(BaseCommand):
    """Exit status 0: every chain holds. 1: a fault was found, or a fleet of --head does not exist."""

    help = (
        "Proves that no sealed audit entry was altered, removed from the middle, inserted or moved. A chain cannot "
        "show that entries were cut off at its end: write the printed heads down elsewhere and give them back with "
        "--head."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--fleet", help="Only this fleet, by its slug.")
        parser.add_argument(
            "--head",
            action="append",
            default=[],
            metavar="SLUG:SEQ:HASH",
            help="A head printed earlier, which must still be in the chain. May be given for several fleets.",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        fleets = Fleet.objects.order_by("slug")
        if options["fleet"]:
            fleets = fleets.filter(slug=options["fleet"])
        anchors = dict(_anchor(text) for text in options["head"])
        if unknown := sorted(anchors.keys() - set(fleets.values_list("slug", flat=True))):
            raise CommandError(f"There is no fleet {', '.join(unknown)}.")
        entries = AuditEntry.objects.across_fleets().filter(seq__isnull=False, fleet__in=fleets).count()
        go_on = "Nothing was written: run it again, or with --fleet SLUG for one fleet at a time."
        with Watched("entries", total=entries, go_on=go_on) as watched:
            reports = [
                (fleet.slug, verify_chain(fleet.pk, anchor=anchors.get(fleet.slug), walked=watched.step))
                for fleet in fleets
            ]
        for slug, report in reports:
            self._say(slug, report)
        faults = sum(len(report.faults) for _, report in reports)
        if faults:
            raise CommandError(f"{faults} faults. The record was tampered with, or damaged.")
        self.stdout.write("Every chain holds. A chain does not show what was cut off at its end: keep the heads.")

    def _say(self, slug: str, report: ChainReport) -> None:
        self.stdout.write(f"{slug}:{report.sealed}:{report.head}  ({report.unsealed} not sealed yet)")
        for fault in report.faults:
            self.stdout.write(f"  entry {fault.seq} {fault.words}")


def _anchor(text: str) -> tuple[str, tuple[int, str]]:
    slug, _, rest = text.partition(":")
    seq, _, digest = rest.partition(":")
    if not seq.isdecimal() or len(digest) != 64:
        raise CommandError(f"{text!r} is not SLUG:SEQ:HASH.")
    return slug, (int(seq), digest)
