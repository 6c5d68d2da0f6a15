"""`manage.py trip_record T-401`: writes the record of a trip into a file."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from fleet.clock import db_now
from fleet.errors import WarmgateError
from fleet.models import Fleet, Trip
from fleet.progress import Watched
from fleet.trip_records.files import RecordForm, file_name, record_file


class Command(BaseCommand):
    help = "Writes the record of a trip that has left: what a receiver or a claims desk asks for."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("reference", help="The trip.")
        parser.add_argument("--fleet", help="Slug of its fleet; needed when several fleets have such a trip.")
        parser.add_argument("--format", choices=[str(form) for form in RecordForm], default=str(RecordForm.PDF))
        parser.add_argument("--out", help="File to write. Default: the trip's name in this folder.")

    def handle(self, *args: Any, **options: Any) -> None:
        reference, form = options["reference"], RecordForm(options["format"])
        fleet_id = _fleet_id(reference, options["fleet"])
        path = Path(options["out"] or file_name(reference, form))
        fresh = path.with_name(path.name + ".new")
        go_on = f"{path} was not written; the same command makes it from the beginning."
        try:
            with Watched("lines", total=None, go_on=go_on) as watched, fresh.open("wb") as out:
                for piece in record_file(fleet_id, reference, form=form, now=db_now()):
                    out.write(piece)
                    watched.step()
            fresh.replace(path)
        except WarmgateError as error:
            raise CommandError(str(error)) from error
        except OSError as error:
            raise CommandError(f"{path}: {error.strerror}") from error
        finally:
            fresh.unlink(missing_ok=True)
        self.stdout.write(f"{path} written.")


def _fleet_id(reference: str, slug: str | None) -> int:
    """The fleet whose trip it is. *Raises* CommandError where that is not one."""
    trips = Trip.objects.across_fleets().filter(reference=reference)
    if slug is not None:
        trips = trips.filter(fleet__slug=slug)
    found = list(Fleet.objects.filter(pk__in=trips.values("fleet")).order_by("slug"))
    if not found:
        raise CommandError(f"There is no trip {reference!r}.")
    if len(found) > 1:
        slugs = ", ".join(one.slug for one in found)
        raise CommandError(f"Several fleets have a trip {reference!r}; say --fleet with one of {slugs}.")
    return int(found[0].pk)
