"""Sets the scene: the fleet and its members straight in the database, everything else through the API."""

from __future__ import annotations

import secrets
from collections.abc import Mapping
from dataclasses import dataclass

from django.db import transaction

from fleet.demo.client import Api
from fleet.demo.scenario import Scenario
from fleet.members import admit_member, found_fleet, issue_token
from fleet.models import Fleet, Member, Role

SLUG = "northfell"


@dataclass(frozen=True, slots=True)
class Cast:
    """A client per role, the tokens they carry, and the names and passwords of the people among them."""

    slug: str
    tokens: Mapping[str, str]
    people: Mapping[str, tuple[str, str]]
    clients: Mapping[str, Api]

    @property
    def integrator(self) -> Api:
        return self.clients[Role.INTEGRATOR]

    @property
    def dispatcher(self) -> Api:
        return self.clients[Role.DISPATCHER]

    @property
    def inspector(self) -> Api:
        return self.clients[Role.INSPECTOR]

    @property
    def manager(self) -> Api:
        return self.clients[Role.MANAGER]


def found_cast(scenario: Scenario, *, url: str) -> Cast:
    """A new fleet with one member of each role. In a database that has the fleet already, the next free name."""
    with transaction.atomic():
        slug = _free_slug(scenario.fleet["slug"])
        fleet = found_fleet(
            name=scenario.fleet["name"],
            slug=slug,
            owner_email=scenario.fleet["owner_email"],
            time_zone=scenario.fleet["time_zone"],
        )
        tokens, people = {}, {}
        for member in scenario.fleet["members"]:
            row = admit_member(
                fleet,
                username=f"{slug}-{member['username']}",
                name=member["name"],
                role=Role(member["role"]),
                email=member["email"],
            )
            tokens[member["role"]] = issue_token(row)
            if member["role"] != Role.INTEGRATOR:
                people[member["role"]] = (row.username, _give_password(row))
    return Cast(slug, tokens, people, {role: Api(url, token) for role, token in tokens.items()})


def _give_password(member: Member) -> str:
    """A new password, shown this once: people sign in to the pages with it."""
    password = secrets.token_urlsafe(12)
    member.set_password(password)
    member.save(update_fields=["password"])
    return password


def _free_slug(slug: str) -> str:
    taken = set(Fleet.objects.filter(slug__startswith=slug).values_list("slug", flat=True))
    names = (slug if number == 1 else f"{slug}-{number}" for number in range(1, len(taken) + 2))
    return next(name for name in names if name not in taken)
