"""Founds a fleet: the first thing a new installation needs."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError
from django.core.validators import validate_email, validate_slug
from django.db import IntegrityError, transaction

from fleet.members import admit_member, found_fleet, issue_token
from fleet.models import Role


class Command(BaseCommand):
    help = "Founds a fleet with its manager and prints the manager's token, which is shown this once."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("slug", help="Short name: letters, digits, dashes.")
        parser.add_argument("--name", required=True, help="Name of the carrier.")
        parser.add_argument("--owner-email", required=True, help="Who hears of notices that nobody else could get.")
        parser.add_argument("--time-zone", default="UTC", help="Zone of quiet hours and of times in messages.")
        parser.add_argument("--manager", default="manager", help="User name of the manager (made unique by the slug).")

    def handle(self, *args: Any, **options: Any) -> None:
        _refuse_bad(options)
        try:
            with transaction.atomic():
                fleet = found_fleet(
                    name=options["name"],
                    slug=options["slug"],
                    owner_email=options["owner_email"],
                    time_zone=options["time_zone"],
                )
                manager = admit_member(
                    fleet,
                    username=f"{options['slug']}-{options['manager']}",
                    name=options["manager"],
                    role=Role.MANAGER,
                    email=options["owner_email"],
                )
                token = issue_token(manager)
        except IntegrityError as error:
            raise CommandError(f"There is already a fleet or member called {options['slug']!r}.") from error
        self.stdout.write(f"Fleet {fleet.slug} founded. Member {manager.username} (manager), token:")
        self.stdout.write(token)


def _refuse_bad(options: dict[str, Any]) -> None:
    try:
        validate_slug(options["slug"])
        validate_email(options["owner_email"])
        ZoneInfo(options["time_zone"])
    except ValidationError as error:
        raise CommandError(" ".join(error.messages)) from error
    except (ZoneInfoNotFoundError, ValueError) as error:
        raise CommandError(f"{options['time_zone']!r} is not a time zone.") from error
