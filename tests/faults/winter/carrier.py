"""One of the two carriers: its people and machines, each with a token, all of them over the API."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from rest_framework.test import APIClient

from fleet.demo.scene import MEASURED, observations
from fleet.members import issue_token
from fleet.models import Fleet, Role
from fleet.simulator.incidents import CODE_BOOK
from fleet.simulator.roster import fleet_file
from tests import factories
from tests.factories import instant
from tests.faults.winter.radio import Winter

LARGEST_BATCH = 500
REPORTS = ("pre_trip", "post_trip")
IMMEDIATE_PER_HOUR = 2
"""The policy of both carriers: few enough mails that eight units have more to say."""


@dataclass(slots=True)
class Carrier:
    """A fleet and clients of its four roles; `answers` counts what became of the events it was sent."""

    fleet: Fleet
    clients: dict[Role, APIClient]
    nominal_v: dict[str, float]
    sheets: dict[str, dict[str, Any]] = field(default_factory=dict)
    answers: Counter[str] = field(default_factory=Counter)
    aside: dict[int, str] = field(default_factory=dict)
    """Events in quarantine, by the id of their row there."""
    refusals: list[tuple[datetime, str]] = field(default_factory=list)
    """Refused departures: when, and which trip."""
    inspected: dict[str, datetime] = field(default_factory=dict)
    """When each unit was last inspected before a trip."""
    did: Counter[str] = field(default_factory=Counter)
    """What its people did."""

    def ask(
        self,
        role: Role,
        method: str,
        path: str,
        body: Any = None,
        *,
        expect: tuple[int, ...] = (200, 201),
        tag: str = "",
    ) -> Any:
        """One call; anything but the expected statuses fails the test. Returns the answer."""
        headers = {"HTTP_IF_MATCH": tag} if tag else {}
        call = getattr(self.clients[role], method)
        answer = call(f"/api/v1/{path}", **({} if body is None else {"data": body, "format": "json"}), **headers)
        assert answer.status_code in expect, f"{method} {path}: {answer.status_code} {answer.content[:800]!r}"
        return answer

    def send(self, lines: list[str]) -> list[str]:
        """Posts events as the gateway does, in batches; returns those that the service has now, repeats included."""
        taken = []
        for first in range(0, len(lines), LARGEST_BATCH):
            batch = lines[first : first + LARGEST_BATCH]
            answer = self.clients[Role.INTEGRATOR].post(
                "/api/v1/events/", f"[{','.join(batch)}]", content_type="application/cloudevents-batch+json"
            )
            assert answer.status_code == 207, answer.content[:800]
            said = answer.json()
            put_aside = [item for item in said["items"] if item["status"] == "quarantined"]
            refused = {item["index"]: item["quarantine_id"] for item in put_aside}
            self.aside |= {row: batch[index] for index, row in refused.items()}
            taken += [line for index, line in enumerate(batch) if index not in refused]
            self.answers.update({name: said[name] for name in ("received", "accepted", "duplicate", "quarantined")})
            self.answers["late"] += sum(item["status"] == "late" for item in said["items"])
        return taken

    def replay_quarantine(self) -> list[str]:
        """Takes up what was put aside, oldest first; returns the events that are no longer there."""
        taken: list[str] = []
        while True:
            rows = self.ask(Role.INTEGRATOR, "get", "quarantine/?state=held&limit=200").json()["items"]
            ids = [
                row["id"]
                for row in sorted(rows, key=lambda row: row["id"])
                if self.ask(Role.INTEGRATOR, "post", f"quarantine/{row['id']}/replay/").json()["state"] == "replayed"
            ]
            if not ids:
                self.did["taken up from quarantine"] += len(taken)
                return taken
            taken += [self.aside.pop(row) for row in ids]

    # --- people --------------------------------------------------------------------------------------------------

    def plan(self, body: dict[str, Any]) -> None:
        self.ask(Role.DISPATCHER, "post", "trips/", body)

    def inspect(self, number: str, now: datetime) -> None:
        """A pre-trip inspection at this moment: everything sound."""
        reports = self.ask(Role.INSPECTOR, "get", f"inspections/?unit={number}&state=signed").json()["items"]
        last = next((row["id"] for row in reports if row["kind"] in REPORTS), None)
        sheet = self.sheet("pre-trip")
        battery = MEASURED["battery"]
        rest_v = round(battery["battery_rest_v"] * self.nominal_v[number] / 12.0, 2)
        values = {**MEASURED, "battery": {**battery, "battery_rest_v": rest_v}}
        body = {
            "sheet": "pre-trip",
            "unit": number,
            "observations": observations(sheet, defects={}, values=values),
            "signature": {"meaning": "performed", "reviewed": last},
        }
        self.ask(Role.INSPECTOR, "post", "inspections/", body)
        self.inspected[number] = now

    def record_loading(self, trip: dict[str, Any]) -> None:
        """The load's temperature as it was put into the box."""
        temps = {"load_temperature": {"load_temperatures_c": [trip["load"]["temperature_c"]] * 3}}
        body = {
            "sheet": "loading",
            "unit": trip["unit"],
            "trip": trip["reference"],
            "observations": observations(self.sheet("loading"), defects={}, values=temps),
            "signature": {"meaning": "performed"},
        }
        self.ask(Role.INSPECTOR, "post", "inspections/", body)

    def sheet(self, key: str) -> dict[str, Any]:
        if key not in self.sheets:
            found = self.ask(Role.INSPECTOR, "get", f"inspection-sheets/?key={key}").json()["items"]
            self.sheets[key] = max(found, key=lambda sheet: sheet["version"])
        return self.sheets[key]

    def assign(self, trip: dict[str, Any]) -> bool:
        path = f"trips/{trip['reference']}/assignment/"
        answer = self.ask(Role.DISPATCHER, "put", path, {"unit": trip["unit"]}, expect=(200, 409), tag="*")
        return bool(answer.status_code == 200)

    def depart(self, trip: dict[str, Any], now: datetime) -> bool:
        """Whether the gate let the trip go; a refusal is kept."""
        answer = self.ask(Role.DISPATCHER, "post", f"trips/{trip['reference']}/depart/", expect=(200, 409), tag="*")
        if answer.status_code == 409:
            self.refusals.append((now, trip["reference"]))
            return False
        self.did["left"] += 1
        self.did["left on a release"] += bool(answer.json()["released"])
        return True

    def release(self, trip: dict[str, Any]) -> bool:
        """The manager releases the trip's open holds; whether all that could be were."""
        holds = self.ask(Role.MANAGER, "get", f"holds/?trip={trip['reference']}&state=open").json()["items"]
        done = [
            self.ask(
                Role.MANAGER,
                "post",
                f"holds/{hold['id']}/release/",
                {"reason": "The customer was asked and takes the risk."},
                expect=(200, 409),
                tag="*",
            ).status_code
            == 200
            for hold in holds
        ]
        return all(done)

    def end(self, trip: dict[str, Any], how: str) -> None:
        body = {"reason": "It could not leave in time."} if how == "cancel" else None
        self.ask(Role.DISPATCHER, "post", f"trips/{trip['reference']}/{how}/", body, tag="*")

    def sign_off_stops(self) -> set[str]:
        """Signs off stop-tier alarms whose units say that the fault is gone; returns those units."""
        rows = self.ask(Role.INSPECTOR, "get", "alarms/?open=true&tier=stop&state=returned&limit=200").json()["items"]
        signed = set()
        for alarm in rows:
            words = {"work_done": "Found, mended, ran twenty minutes under load."}
            answer = self.ask(
                Role.INSPECTOR, "post", f"alarms/{alarm['id']}/sign-off/", words, expect=(200, 409), tag="*"
            )
            if answer.status_code == 200:
                signed.add(alarm["unit"])
                self.did["stops signed off"] += 1
        return signed


def found_carrier(slug: str, winter: Winter, *, hook: str, hours: float) -> Carrier:
    """A carrier with the simulated units; two managers: one told by mail, one by webhook."""
    fleet = factories.make_fleet(slug, f"{slug.title()} Lines")
    clients = {}
    for role in (Role.INTEGRATOR, Role.DISPATCHER, Role.INSPECTOR, Role.MANAGER):
        client = APIClient(raise_request_exception=True)
        token = issue_token(factories.make_member(fleet, role), hours=hours)
        client.credentials(HTTP_AUTHORIZATION=f"Bearer {token}")
        clients[role] = client
    roster = winter.stream.roster
    carrier = Carrier(fleet, clients, dict(zip(roster.numbers, roster.nominal_v.tolist(), strict=True)))
    bodies = fleet_file(roster, start=winter.start, code_book=CODE_BOOK)
    for kind, wanted in bodies.items():
        for body in wanted:
            carrier.ask(Role.MANAGER, "post", f"{kind}/", body)
    carrier.ask(Role.MANAGER, "patch", "policy/", {"immediate_per_hour": IMMEDIATE_PER_HOUR}, tag="*")
    routes = (("manager", "email", f"manager@{slug}.example"), ("dispatcher", "webhook", hook))
    for role, channel, address in routes:
        route = {"member": f"{slug}-{role}", "channel": channel, "address": address, "kinds": ["hold", "alarm"]}
        carrier.ask(Role.MANAGER, "post", "notice-routes/", route)
    return carrier


def trip_body(trip: dict[str, Any], winter: Winter, *, now: datetime) -> dict[str, Any]:
    """A simulated trip as a dispatcher plans it; the forecast is the true weather, a degree off here and there."""
    unit = winter.numbers.index(trip["unit"])
    hours = range(len(winter.ambient_c))
    stops = [
        {
            "place": f"Stop {i + 1} of {trip['reference']}",
            "arrive_at": stop["arrive_at"],
            "leave_at": stop["leave_at"],
            "door_open_min": stop["door_open_min"],
            "refuel": stop["refuel"],
        }
        for i, stop in enumerate(trip["stops"])
    ]
    arrive_at = datetime.fromisoformat(trip["deliver_at"]) + timedelta(minutes=1)
    return {
        "reference": trip["reference"],
        "planned_unit": trip["unit"],
        "loading_at": trip["loading_at"],
        "depart_at": trip["depart_at"],
        "load": {**trip["load"], "dangerous_goods": "none"},
        "stops": [*stops, {"place": f"End of {trip['reference']}", "arrive_at": instant(arrive_at)}],
        "ambient": [
            {"at": instant(winter.at(3600 * i)), "temp_c": round(float(winter.ambient_c[i, unit]) + (i % 3 - 1.0), 1)}
            for i in hours
        ],
        "ambient_issued_at": instant(now),
        "help": {"median_h": 3.0, "p90_h": 6.0},
    }
