"""`manage.py verify_records`: proves that signed inspections, repairs and services still say what was signed."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from fleet.models import Fleet
from inspections.services.proving import altered_records


class Command(BaseCommand):
    """Exit status 0: every record is what was signed. 1: at least one is not."""

    help = (
        "Compares the content of every signed record with the hash in its row and in the audit record. Run "
        "verify_audit as well: it proves the audit record itself."
    )

    def handle(self, *args: Any, **options: Any) -> None:
        found = 0
        for fleet in Fleet.objects.order_by("slug"):
            for altered in altered_records(fleet.pk):
                found += 1
                self.stdout.write(f"{fleet.slug}: {altered.kind} {altered.id}: {altered.words}")
        if found:
            raise CommandError(f"{found} records are not what was signed.")
        self.stdout.write("Every signed record is what was signed.")
