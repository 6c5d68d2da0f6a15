"""Journeys of faults, played from fixtures/events: posted over HTTP, assessed by the worker, answered by people."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import orjson
import pytest
from rest_framework.test import APIClient

from alarms.models import Alarm
from fleet.models import Fleet, Hold, Role, Trip, UnitState
from fleet.readiness.service import assess_due
from tests import factories as f

EVENTS = Path(__file__).parents[2] / "fixtures" / "events"
SCENARIOS = sorted(path.stem for path in EVENTS.glob("alarm-*.json"))


class Play:
    """One scenario on its way."""

    def __init__(self, fleet: Fleet, client_of: Callable[..., APIClient], now: datetime) -> None:
        self.fleet, self.client_of, self.now = fleet, client_of, now
        f.potato()
        f.make_unit(fleet)
        dispatcher = client_of(fleet, Role.DISPATCHER)
        assert dispatcher.post("/api/v1/trips/", f.trip_body(now), format="json").status_code == 201
        self.post([f.reading(now)])

    def post(self, events: list[dict[str, Any]]) -> dict[str, Any]:
        response = self.client_of(self.fleet, Role.INTEGRATOR).post("/api/v1/events/", events, format="json")
        assert response.status_code == 207, response.content
        answer: dict[str, Any] = response.json()
        return answer

    def do(self, step: dict[str, Any]) -> None:
        if "post" in step:
            events = [self._event(said) for said in step["post"]]
            for time in range(step.get("repeat", 1)):
                answer = self.post(events)
                assert (answer["quarantined"], answer["duplicate"]) == (0, len(events) if time else 0)
        elif "act" in step:
            alarm = Alarm.objects.for_fleet(self.fleet).filter(code=step["code"]).order_by("-id")[0]
            url = f"/api/v1/alarms/{alarm.pk}/{step['act']}/"
            client = self.client_of(self.fleet, Role(step["role"]))
            response = client.post(url, step["body"], format="json", HTTP_IF_MATCH=f'"{alarm.revision}"')
            assert response.status_code == step["status"], response.content
        elif "assign" in step:
            trip = Trip.objects.for_fleet(self.fleet).get()
            client, body = self.client_of(self.fleet, Role.DISPATCHER), {"unit": "HB-104"}
            url = f"/api/v1/trips/{trip.reference}/assignment/"
            response = client.put(url, body, format="json", HTTP_IF_MATCH=f'"{trip.revision}"')
            assert response.status_code == step["assign"], response.content
        elif "assess" in step:
            Trip.objects.for_fleet(self.fleet).update(assess_due_at=self.now - timedelta(seconds=1))
            assert assess_due() == 1
        else:
            self.expect(**step["expect"])

    def _event(self, said: dict[str, Any]) -> dict[str, Any]:
        event = f.fault(self.now + timedelta(minutes=said["time_min"]), "x", id_=said["id"])
        return event | {"data": said["data"]}

    def expect(
        self, alarms: list[dict[str, Any]] | None = None, open: list[str] | None = None, hold: Any = "any"
    ) -> None:
        if alarms is not None:
            rows = list(Alarm.objects.for_fleet(self.fleet).select_related("signed_by").order_by("id"))
            found = [{name: self._value(row, name) for name in alarms[place]} for place, row in enumerate(rows)]
            assert found == alarms
        if open is not None:
            facts = UnitState.objects.for_fleet(self.fleet).get().facts
            assert [alarm["code"] for alarm in facts["alarms.open"][0]] == open
        if hold != "any":
            self._expect_hold(hold)

    def _value(self, row: Alarm, name: str) -> Any:
        value = getattr(row, name)
        return value.role if name == "signed_by" and value is not None else value

    def _expect_hold(self, expected: dict[str, Any] | None) -> None:
        found = Hold.objects.for_fleet(self.fleet).order_by("-id").first()
        if expected is None:
            assert found is None
            return
        assert found is not None
        assert found.state == expected["state"]
        if "checks" in expected:
            assert [cause["check"] for cause in found.causes] == expected["checks"]
        if "reason" in expected:
            assert found.close_reason == expected["reason"]


@pytest.mark.parametrize("name", SCENARIOS)
def test_the_scenario_ends_as_it_says(
    tarn: Fleet, client_of: Callable[..., APIClient], now: datetime, name: str
) -> None:
    scenario = orjson.loads((EVENTS / f"{name}.json").read_bytes())
    play = Play(tarn, client_of, now)
    for step in scenario["steps"]:
        play.do(step)


def test_there_are_scenarios() -> None:
    assert {"alarm-stop-fault", "alarm-flapping-and-late", "alarm-two-faults"} <= set(SCENARIOS)
