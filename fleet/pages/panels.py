"""Extension point of the pages: what apps add to the navigation, and to the pages of a trip and of a unit.

Apps fill these in `AppConfig.ready()`, so that no app needs to know another one's pages.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.http import HttpRequest

from fleet.models import Role, Trip, Unit
from fleet.registry import Registry

PEOPLE = frozenset({Role.MANAGER, Role.DISPATCHER, Role.INSPECTOR})
"""Everyone who looks at pages. Integrators are machines."""


@dataclass(frozen=True, slots=True)
class NavEntry:
    """One word in the navigation. `url_name` is a route without arguments."""

    id: str
    title: str
    url_name: str
    order: int
    roles: frozenset[Role] = PEOPLE


@dataclass(frozen=True, slots=True)
class Rendered:
    """What a panel has to show: a template and its own context (`reader`, `member`, `now` are always there)."""

    template: str
    context: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class TripPanel:
    """A section of a trip's page. `render` may read a constant number of statements; None: nothing to show."""

    id: str
    order: int
    title: str
    render: Callable[[HttpRequest, Trip, datetime], Rendered | None]


@dataclass(frozen=True, slots=True)
class UnitPanel:
    """A section of a unit's page, by the same rules."""

    id: str
    order: int
    title: str
    render: Callable[[HttpRequest, Unit, datetime], Rendered | None]
    wide: bool = False
    """As wide as the page, below the others: for charts and long tables."""


@dataclass(frozen=True, slots=True)
class Mark:
    """One moment on a trip's time axis: what happened, or what is planned."""

    at: datetime
    title: str
    text: str = ""
    kind: str = "plan"
    until: datetime | None = None
    link: str = ""


@dataclass(frozen=True, slots=True)
class TripMarks:
    """What an app puts on the time axis of a trip; one statement at most."""

    id: str
    marks: Callable[[Trip, datetime], list[Mark]]


trip_marks: Registry[TripMarks] = Registry("marks on a trip's time axis")
nav: Registry[NavEntry] = Registry("navigation")
trip_panels: Registry[TripPanel] = Registry("panels of a trip")
unit_panels: Registry[UnitPanel] = Registry("panels of a unit")


def nav_for(role: str) -> list[NavEntry]:
    """What this role finds in the navigation, in order."""
    return sorted((entry for entry in nav if role in entry.roles), key=lambda entry: (entry.order, entry.id))


@dataclass(frozen=True, slots=True)
class Shown:
    """One panel on the page."""

    id: str
    title: str
    template: str
    context: Mapping[str, Any]
    wide: bool


def shown_panels(panels: Registry[Any], request: HttpRequest, subject: Any, now: datetime) -> list[Shown]:
    """What every panel says about *subject*, in the order they ask for."""
    shown: list[Shown] = []
    for panel in sorted(panels, key=lambda panel: (panel.order, panel.id)):
        rendered = panel.render(request, subject, now)
        if rendered is not None:
            name, wide = panel.id.replace(".", "-"), getattr(panel, "wide", False)
            shown.append(Shown(name, panel.title, rendered.template, rendered.context, wide))
    return shown
