"""Gives a member a token; admits the member first if asked to."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import transaction

from fleet.members import admit_member, issue_token, revoke_tokens
from fleet.models import Fleet, Member, Role


class Command(BaseCommand):
    help = "Prints a new token of a member, which is shown this once. --admit ROLE makes the member if need be."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("fleet", help="Slug of the fleet.")
        parser.add_argument("username", help="User name of the member, unique over all fleets.")
        parser.add_argument("--admit", choices=[str(role) for role in Role], help="Role, if the member is new.")
        parser.add_argument("--name", default="", help="Name of a new member; default: the user name.")
        parser.add_argument("--email", default="", help="Address of a new member.")
        parser.add_argument("--hours", type=float, help="Life of the token; default: that of the member's role.")
        parser.add_argument("--label", default="", help="What the token is for, as lists of tokens show it.")
        parser.add_argument("--revoke", action="store_true", help="End all earlier tokens of the member.")

    def handle(self, *args: Any, **options: Any) -> None:
        if options["hours"] is not None and options["hours"] <= 0:
            raise CommandError("--hours must be above 0.")
        with transaction.atomic():
            member = _member(options)
            if options["revoke"]:
                self.stderr.write(f"{revoke_tokens(member)} earlier tokens ended.")
            token = issue_token(member, hours=options["hours"], name=options["label"][:80])
        self.stderr.write(f"Token of {member.username} ({member.role}):")
        self.stdout.write(token)


def _member(options: dict[str, Any]) -> Member:
    fleet = Fleet.objects.filter(slug=options["fleet"]).first()
    if fleet is None:
        raise CommandError(f"There is no fleet {options['fleet']!r}. Found one with: manage.py found_fleet")
    known = Member.objects.filter(username=options["username"]).first()
    if known is None:
        if options["admit"] is None:
            raise CommandError(f"There is no member {options['username']!r}. Say --admit ROLE to make one.")
        name = options["name"] or options["username"]
        return admit_member(
            fleet, username=options["username"], name=name, role=Role(options["admit"]), email=options["email"]
        )
    if known.fleet_id != fleet.pk:
        raise CommandError(f"There is no member {options['username']!r} in this fleet, and the name is taken.")
    if options["admit"] is not None and known.role != options["admit"]:
        raise CommandError(f"{known.username} is a member already, with the role {known.role}.")
    return known
