"""Every route of /api/v1/ and how one fleet is kept from another there: data for test_isolation.py and test_roles.py.

To add a route, add a row. A method that names an object in its URL is `Hidden` (the other fleet's object answers as
one that does not exist), one that lists is `Narrowed` (the other fleet's rows are not in it, whatever the filter), one
whose body names objects has `Named` bodies (each refused with 400 or 404), one that names nothing is `Own`, with why.

Words in braces are replaced by what the other fleet owns: see isolation_world.py.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

SIGNED: Mapping[str, Any] = {"signature": {}}
LOOK = {"observations": [{"item": "belt", "outcome": "sound"}]} | SIGNED
REPAIR = {"kind": "repaired", "what_done": "belt changed"} | SIGNED
AMBIENT = {"ambient": [{"at": "2027-01-12T16:00:00Z", "temp_c": -12.0}, {"at": "2027-01-15T16:00:00Z", "temp_c": -9.0}]}
REASON = {"reason": "long enough a reason"}
ENTRY = {"code": "x-1", "tier": "stop", "component": "coolant", "meaning": "Hot.", "what_to_do": "Let it cool."}
HEATED = {"mass_kg": 9000, "temperature_c": 8.0, "set_point_c": 7.0}
HEATED_LOAD = {"mass_kg": 9000, "temperature_c": 8.0}
BOX = {"k_w_m2k": 0.45, "area_m2": 147.0}
HEATER = {"output_kw": 8.0}
TRIP_HOURS = {"ambient_c": [-10.0, -12.0], "set_point_c": 7.0}


@dataclass(frozen=True, slots=True)
class Hidden:
    """The URL names an object. *body* is sound, so that only the object can be what is wrong."""

    body: Any = None


@dataclass(frozen=True, slots=True)
class Narrowed:
    """A list. The owner sees rows when asking with *query* (None: the plain list), we see none of them."""

    queries: tuple[str, ...] = ("",)
    shows: bool = True
    """Whether the owner's list carries a name of its own that can be looked for."""


@dataclass(frozen=True, slots=True)
class Named:
    """Bodies that name the other fleet's objects. Where the URL names an object, it is our own here."""

    bodies: tuple[Any, ...]
    status: tuple[int, ...] = (400, 404)


@dataclass(frozen=True, slots=True)
class Own:
    """Names no object of anybody."""

    why: str


Case = Hidden | Narrowed | Named | Own
TABLE: Mapping[str, Mapping[str, tuple[Case, ...]]] = {
    "events": {"POST": (Own("a batch names units; unknown ones go to quarantine: tested apart"),)},
    "quarantine": {"GET": (Narrowed(("", "?subject=SECRET-404")),)},
    "quarantine-one": {"GET": (Hidden(),)},
    "quarantine-replay": {"POST": (Hidden(),)},
    "quarantine-discard": {"POST": (Hidden(REASON),)},
    "trips": {
        "GET": (Narrowed(("", "?planned_unit=SECRET-1", "?state=planned")),),
        "POST": (
            Named(({"@trip": {"planned_unit": "{unit}"}}, {"@trip": {"load": HEATED | {"commodity": "{goods}"}}})),
        ),
    },
    "trip-preview": {
        "POST": (
            Named(({"@trip": {"planned_unit": "{unit}"}}, {"@trip": {"load": HEATED | {"commodity": "{goods}"}}})),
        )
    },
    "trip": {
        "GET": (Hidden(),),
        "PATCH": (
            Hidden({"help": {"median_h": 1.0, "p90_h": 2.0}}),
            Named(({"planned_unit": "{unit}"}, {"load": HEATED | {"commodity": "{goods}"}})),
        ),
    },
    "trip-ambient": {"PUT": (Hidden(AMBIENT),)},
    "trip-readiness": {"GET": (Hidden(), Named(("?unit={unit}",)))},
    "trip-forecast": {"GET": (Hidden(), Named(("?unit={unit}",)))},
    "trip-record-pdf": {"GET": (Hidden(),)},
    "trip-record-csv": {"GET": (Hidden(),)},
    "trip-record-jsonl": {"GET": (Hidden(),)},
    "trip-chart-svg": {"GET": (Hidden(),)},
    "trip-chart-png": {"GET": (Hidden(),)},
    "trip-candidates": {"POST": (Hidden({"units": None}), Named(({"units": ["{unit}"]},)))},
    "trip-assignment": {"PUT": (Hidden({"unit": "HB-104"}), Named(({"unit": "{unit}"},)))},
    "trip-depart": {"POST": (Hidden(),)},
    "trip-deliver": {"POST": (Hidden(),)},
    "trip-cancel": {"POST": (Hidden(REASON),)},
    "trip-history": {"GET": (Hidden(),)},
    "holds": {"GET": (Narrowed(("", "?unit=SECRET-1", "?trip=T-SECRET-2", "?state=open")),)},
    "hold": {"GET": (Hidden(),)},
    "hold-release": {"POST": (Hidden(REASON),)},
    "units": {
        "GET": (Narrowed(("", "?model=secret-model", "?service=in_service")),),
        "POST": (Named(({"number": "HB-9", "model": "{model}"},)),),
    },
    "unit": {"GET": (Hidden(),), "PATCH": (Hidden({"service": "in_service"}), Named(({"model": "{model}"},)))},
    "unit-health": {"GET": (Hidden(),)},
    "unit-state": {"GET": (Hidden(),)},
    "unit-chart-svg": {"GET": (Hidden(),)},
    "unit-chart-png": {"GET": (Hidden(),)},
    "unit-readings": {"GET": (Hidden(),)},
    "unit-models": {"GET": (Narrowed(),), "POST": (Own("a model names nothing else"),)},
    "unit-model": {"GET": (Hidden(),), "PATCH": (Hidden({"name": "mine"}),)},
    "commodities": {"GET": (Narrowed(("?limit=200",)),)},
    "commodity": {"GET": (Hidden(),)},
    "policy": {"GET": (Own("the caller's own row"),), "PATCH": (Own("the caller's own row"),)},
    "inspection-sheets": {
        "GET": (Narrowed(("?limit=200", "?key=secret-sheet")),),
        "POST": (Named(({"@sheet": {"unit_model": "{model}"}},)),),
    },
    "inspection-sheet": {"GET": (Hidden(),)},
    "inspections": {
        "GET": (Narrowed(("", "?unit=SECRET-1", "?trip=T-SECRET", "?state=signed")),),
        "POST": (
            Named(
                (
                    {"@filing": {"unit": "{unit}"}},
                    {"@filing": {"trip": "{trip}"}},
                    {"@filing": {"sheet": "{sheet}"}},
                    {"@filing": {"observations": [{"item": "belt", "outcome": "sound", "photos": ["{photo}"]}]}},
                )
            ),
        ),
    },
    "inspection": {
        "GET": (Hidden(),),
        "PATCH": (Hidden({"observations": [{"item": "belt", "outcome": "sound"}]}),),
        "DELETE": (Hidden(),),
    },
    "inspection-sign": {"POST": (Hidden({}),)},
    "inspection-corrections": {"POST": (Hidden(LOOK | REASON),)},
    "inspection-rechecks": {"POST": (Hidden(LOOK),)},
    "inspection-repairs": {"POST": (Hidden(REPAIR | {"observation": 1}), Named((REPAIR | {"observation": "{seen}"},)))},
    "inspection-pdf": {"GET": (Hidden(),)},
    "exports": {"GET": (Own("files of the caller's own rows: tested apart"),)},
    "photos": {"GET": (Narrowed(shows=False),), "POST": (Own("bytes of a picture"),)},
    "photo": {"GET": (Hidden(),)},
    "photo-picture": {"GET": (Hidden(),)},
    "repairs": {"GET": (Narrowed(("", "?unit=SECRET-1")),)},
    "repair": {"GET": (Hidden(),)},
    "defects": {"GET": (Narrowed(("", "?unit=SECRET-1")),)},
    "defect": {"GET": (Hidden(),)},
    "defect-counts": {"GET": (Narrowed(shows=False),)},
    "work-due": {"GET": (Narrowed(), Named(("?unit={unit}",)))},
    "unit-form": {"GET": (Hidden(),)},
    "unit-observations": {"GET": (Hidden(),)},
    "unit-service": {"GET": (Hidden(),), "POST": (Hidden({"engine_hours_h": 9.0, "what_done": "oil"} | SIGNED),)},
    "alarms": {"GET": (Narrowed(("", "?unit=SECRET-1", "?state=active")),)},
    "alarm": {"GET": (Hidden(),)},
    "alarm-history": {"GET": (Hidden(),)},
    "alarm-seen": {"POST": (Hidden(),)},
    "alarm-sign-off": {"POST": (Hidden({"work_done": "hose changed, bled"}),)},
    "alarm-void": {"POST": (Hidden(REASON),)},
    "code-books": {
        "GET": (Narrowed(),),
        "POST": (Named(({"unit_model": "{model}", "entries": [ENTRY]},)),),
    },
    "code-books-unmapped": {"GET": (Narrowed(("", "?unit_model=secret-model"), shows=False),)},
    "code-book": {"GET": (Hidden(),)},
    "code-book-export": {"GET": (Hidden(),)},
    "notices": {"GET": (Narrowed(),)},
    "notice": {"GET": (Hidden(),)},
    "notice-seen": {"POST": (Hidden(),)},
    "notice-routes": {
        "GET": (Narrowed(),),
        "POST": (Named(({"member": "{member}", "channel": "email", "address": "a@tarn.example"},)),),
    },
    "notice-route": {"GET": (Hidden(),), "PATCH": (Hidden({"position": 2}),), "DELETE": (Hidden(),)},
    "notice-route-test": {"POST": (Hidden(),)},
    "notice-route-rotate": {"POST": (Hidden(),)},
    "deliveries": {"GET": (Narrowed(),)},
    "delivery": {"GET": (Hidden(),)},
    "delivery-again": {"POST": (Hidden(),)},
    "login": {"POST": (Own("a name and a password; names are unique over all fleets"),)},
    "tokens": {"GET": (Narrowed(("", "?member=other-manager"), shows=False),)},
    "token": {"GET": (Hidden(),), "DELETE": (Hidden(),)},
    "token-rotate": {"POST": (Own("the token that asks, and no other"),)},
    "thermal-estimates": {
        "POST": (
            Named(
                (
                    {"unit": "{unit}", "load": HEATED_LOAD, "trip": TRIP_HOURS},
                    {
                        "box": BOX,
                        "heater": HEATER,
                        "load": {"mass_kg": 900, "commodity": "{goods}"},
                        "trip": TRIP_HOURS,
                    },
                )
            ),
        )
    },
}
OBJECT_OF: Mapping[str, Mapping[str, str]] = {
    "quarantine": {"pk": "event"},
    "trip": {"reference": "trip"},
    "hold": {"pk": "hold"},
    "unit": {"number": "unit"},
    "unit-model": {"key": "model"},
    "commodity": {"key": "goods"},
    "inspection-sheet": {"pk": "sheet_pk"},
    "inspection": {"pk": "inspection"},
    "photo": {"pk": "photo"},
    "repair": {"pk": "repair"},
    "defect": {"pk": "defect"},
    "alarm": {"pk": "alarm"},
    "code-book": {"pk": "book"},
    "notice-route": {"pk": "route"},
    "notice": {"pk": "notice"},
    "delivery": {"pk": "delivery"},
    "token": {"pk": "token"},
}
"""Which object a route's URL names, by the longest beginning of the route's name."""
