"""What the senders on a unit make of its samples and faults: events with their own clock, ready for the radio."""

from __future__ import annotations

from datetime import datetime
from math import isnan
from typing import Any

import numpy as np

from fleet.simulator.cloudevents import FAULT, READING, event_text, instant
from fleet.simulator.connectivity import Links, Message
from fleet.simulator.incidents import FaultEvent
from fleet.simulator.roster import Roster
from fleet.simulator.samples import FLAGS, MEASURED, Samples
from fleet.simulator.sensors import Sensors

TRACKER_FIELDS = ("return_air_c", "ambient_c", "speed_km_h", "door_open")
PLACE = ("latitude", "longitude")
PERCENT_STEP = 0.5


class Gateways:
    """The gateways of a fleet, and the trackers some units have beside them."""

    def __init__(
        self,
        roster: Roster,
        *,
        start: datetime,
        sensors: Sensors,
        links: Links,
        percent_share: float,
        rng: np.random.Generator,
        tracker_rng: np.random.Generator,
    ) -> None:
        self.roster, self.start, self.sensors, self.links = roster, start, sensors, links
        self.rng, self.tracker_rng = rng, tracker_rng
        # Each unit's gauge speaks one language for good; which one hangs on the seed but on no other draw.
        self.percent = np.random.default_rng(tracker_rng.integers(2**32)).random(len(roster)) < percent_share

    def readings(self, samples: Samples) -> list[Message]:
        """Return the reading events of the samples, from the gateway and, where there is one, the tracker."""
        shown = self.sensors.read(samples, rng=self.rng)
        true_place = samples.measured[[MEASURED.index(name) for name in PLACE]]
        columns = zip(
            samples.unit.tolist(),
            samples.at_s.tolist(),
            shown.T.tolist(),
            samples.flags.T.tolist(),
            true_place.T.tolist(),
            strict=True,
        )
        messages = []
        for unit, at_s, values, flags, place in columns:
            data: dict[str, Any] = {k: v for k, v in zip(MEASURED, values, strict=True) if not isnan(v)}
            data.update(zip(FLAGS, flags, strict=True))
            messages.append(self.reading(unit, at_s, self.in_its_language(unit, data), "gateway"))
            if self.links.second[unit]:
                messages.append(self.tracker_reading(unit, at_s, data, place))
        return messages

    def in_its_language(self, unit: int, data: dict[str, Any]) -> dict[str, Any]:
        """Return the values as the unit's gateway sends them: some gauges know the share of the tank only."""
        if not self.percent[unit] or "fuel_l" not in data:
            return data
        share = 100.0 * data["fuel_l"] / float(self.roster.heater.tank_l[unit])
        percent = min(round(share / PERCENT_STEP) * PERCENT_STEP, 100.0)
        return {**{name: value for name, value in data.items() if name != "fuel_l"}, "fuel_pct": percent}

    def tracker_reading(self, unit: int, at_s: int, data: dict[str, Any], place: list[float]) -> Message:
        """Return what a second source with its own air sensor says half a minute later; it knows where it is."""
        own = {name: data[name] for name in TRACKER_FIELDS if name in data}
        own["return_air_c"] = round(own["return_air_c"] + float(self.tracker_rng.normal(0.0, 0.4)), 1)
        own.update((name, round(value, 5)) for name, value in zip(PLACE, place, strict=True))
        return self.reading(unit, at_s + 30, own, "tracker")

    def reading(self, unit: int, at_s: int, data: dict[str, Any], sender: str) -> Message:
        """Return one reading on its way."""
        return self.message(unit, at_s, kind=READING, sender=sender, event_id=f"r{at_s}", data=data)

    def fault(self, event: FaultEvent) -> Message:
        """Return one fault event on its way; its id says what it is, so that equal events have equal ids."""
        what = event.data.get("code") or f"{event.data['spn']}-{event.data['fmi']}"
        event_id = f"f{event.at_s}-{what}-{event.data['state']}"
        return self.message(event.unit, event.at_s, kind=FAULT, sender="gateway", event_id=event_id, data=event.data)

    def message(self, unit: int, at_s: int, *, kind: str, sender: str, event_id: str, data: dict[str, Any]) -> Message:
        """Return one event as the given sender of a unit writes it, with its own idea of the time."""
        number = self.roster.numbers[unit]
        text = event_text(
            kind=kind,
            event_id=event_id,
            source=f"{sender}/{number}",
            subject=number,
            time=instant(self.start, at_s + float(self.links.clock_s[unit])),
            data=data,
        )
        return Message(made_s=at_s, arrives_s=at_s, unit=unit, text=text)

    def records(self) -> list[dict[str, Any]]:
        """Return the truth about gauges: which units send a share of their tank for litres."""
        return [
            {"kind": "gauge", "unit": self.roster.numbers[unit], "at_s": 0, "field": "fuel_pct"}
            for unit in np.flatnonzero(self.percent).tolist()
        ]
