"""Where the units are: a home for each, and a straight course per drive. No road map, no places, no coast."""

from __future__ import annotations

import numpy as np

from fleet.simulator.quantities import Bools, Floats, Ints

ROAD_SPEED_KM_H = 80.0
KM_PER_DEGREE = 111.2  # of latitude, on a sphere of 6371 km
HOMES_FROM, HOMES_TO = (61.0, 15.0), (68.0, 24.0)  # latitude, longitude; assumption
ROAMS_KM = 300.0  # from farther out than this the next drive leads homewards
STRAY_RAD = 0.5  # how far from the straight way home


class Tracks:
    """Positions of n units; `at` has shape (2, n), latitude and longitude [deg]."""

    def __init__(self, units: int, *, rng: np.random.Generator) -> None:
        low, high = np.array(HOMES_FROM)[:, None], np.array(HOMES_TO)[:, None]
        self.home = rng.uniform(low, high, (2, units))
        self.at = self.home.copy()
        self.course = np.zeros(units)
        self.moved = np.zeros(units, dtype=np.bool_)
        self.rng = rng

    def move(self, moving: Bools, *, step_s: float) -> None:
        """Move the driving units on by one step; whoever sets off chooses a course."""
        started = np.flatnonzero(moving & ~self.moved)
        if len(started):
            self.course[started] = self.courses(started)
        self.moved = moving.copy()
        who = np.flatnonzero(moving)
        km = ROAD_SPEED_KM_H * step_s / 3600.0
        self.at[0, who] += km * np.cos(self.course[who]) / KM_PER_DEGREE
        self.at[1, who] += km * np.sin(self.course[who]) / (KM_PER_DEGREE * np.cos(np.radians(self.at[0, who])))

    def courses(self, who: Ints) -> Floats:
        """Return a course for each unit [rad from north, clockwise]: any, or about homewards from far out."""
        away = self.home[:, who] - self.at[:, who]
        north = away[0] * KM_PER_DEGREE
        east = away[1] * KM_PER_DEGREE * np.cos(np.radians(self.at[0, who]))
        homewards = np.arctan2(east, north) + self.rng.uniform(-STRAY_RAD, STRAY_RAD, len(who))
        anywhere = self.rng.uniform(0.0, 2.0 * np.pi, len(who))
        return np.where(np.hypot(north, east) > ROAMS_KM, homewards, anywhere)
