"""Doing the slow first things once, before the first request: imports, tables, numpy's own first calls."""

import numpy as np

from thermal.chance import assess
from thermal.nominal import nominal
from thermal.params import Box, Heater, Load, Risk, Stop, Trip, Unit
from thermal.rank import rank
from thermal.warmup import warm_up

__all__ = ["warm"]

WARM_HOURS = (24, 48, 72)
KEPT_BYTES = 5 * 2**20


def warm() -> None:
    """Run every kind of answer once, so that the first request costs what the later ones cost. About 0.1 s.

    Call it when a worker starts. Nothing is kept but caches; calling it again is harmless.
    """
    unit = Unit(box=Box(k_w_m2k=0.45, area_m2=147.0), heater=Heater(output_kw=8.0), fuel_l=60.0)
    load = Load(mass_kg=3000.0, temperature_c=5.0, high_c=15.0)
    stop = Stop(at_h=12.2, duration_h=0.5, open_share=0.5)
    for hours in WARM_HOURS:
        for tail in (4.0, None):
            trip = Trip(set_point_c=5.0, ambient_c=(-25.0,) * (hours + 1), stops=(stop,))
            assess(unit, load=load, trip=trip, risk=Risk(forecast_tail_df=tail), se_goal=0.0)
    nominal(unit, load=load, trip=trip)
    rank([unit, unit], load=load, trip=trip, risk=Risk())
    warm_up(unit, load=load, set_point_c=5.0, soak_c=-25.0)
    _keep_memory()


def _keep_memory() -> None:
    """Make the allocator keep the memory of one ranking for the next.

    The allocator of glibc gives back what is free above twice the largest block it has seen freed (mallopt(3),
    M_MMAP_THRESHOLD). A ranking works in 9 MB; while they were given back after each part and asked for again, 20 000
    page faults took a tenth of its time. This block is freed at once and never touched; elsewhere it does nothing.
    """
    np.empty(KEPT_BYTES, dtype=np.uint8)
