"""`manage.py verify_records`: proves that signed inspections, repairs and services still say what was signed."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from fleet.models import Fleet
from fleet.progress import Watched
from inspections.services.proving import altered_records, signed_records


class Command(BaseCommand):
    """Exit status 0: every record is what was signed. 1: at least one is not."""

    help = (
        "Compares the content of every signed record with the hash in its row and in the audit record. Run "
        "verify_audit as well: it proves the audit record itself."
    )

    def handle(self, *args: Any, **options: Any) -> None:
        fleets = list(Fleet.objects.order_by("slug"))
        records = sum(rows.count() for fleet in fleets for rows, _ in signed_records(fleet.pk))
        with Watched("records", total=records, go_on="Nothing was written: run it again for the whole.") as watched:
            found = [
                f"{fleet.slug}: {altered.kind} {altered.id}: {altered.words}"
                for fleet in fleets
                for altered in altered_records(fleet.pk, looked_at=watched.step)
            ]
        for words in found:
            self.stdout.write(words)
        if found:
            raise CommandError(f"{len(found)} records are not what was signed.")
        self.stdout.write("Every signed record is what was signed.")
