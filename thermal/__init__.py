"""The physics of a heated box and the chance that its load arrives undamaged. Pure numpy: no Django, no database.

Start with `assess` (the score), `nominal` (the trip as planned), `rank` (many units), `warm_up`, and `estimate` (the
calculator). Inputs are the frozen values of `thermal.params`; every default is a row of `thermal.defaults`; what is
out of range raises `ThermalError` and names the field. The method is described in docs/thermal-method.md.

>>> from thermal import Box, Heater, Load, Risk, Trip, Unit, assess
>>> unit = Unit(box=Box(k_w_m2k=0.45, area_m2=147.0), heater=Heater(output_kw=8.0), fuel_l=120.0)
>>> load = Load(mass_kg=18000.0, temperature_c=6.0)
>>> trip = Trip(set_point_c=5.0, ambient_c=(-20.0,) * 73)
>>> round(assess(unit, load=load, trip=trip, risk=Risk()).score)
100
"""

from thermal.chance import Causes, Score, assess
from thermal.errors import Missing, OutOfRange, ThermalError
from thermal.estimate import Estimate, EstimateRequest, defaults_used, estimate, request_of
from thermal.learning import failure_posterior
from thermal.mixed import Governed, govern
from thermal.nominal import Nominal, nominal
from thermal.params import Box, Heater, Load, Risk, Start, Stop, Trip, Unit, help_gsd
from thermal.rank import rank
from thermal.ready import warm
from thermal.version import VERSION
from thermal.warmup import Preheat, WarmUp, preheat, warm_up

__all__ = [
    "VERSION",
    "Box",
    "Causes",
    "Estimate",
    "EstimateRequest",
    "Governed",
    "Heater",
    "Load",
    "Missing",
    "Nominal",
    "OutOfRange",
    "Preheat",
    "Risk",
    "Score",
    "Start",
    "Stop",
    "ThermalError",
    "Trip",
    "Unit",
    "WarmUp",
    "assess",
    "defaults_used",
    "estimate",
    "failure_posterior",
    "govern",
    "help_gsd",
    "nominal",
    "preheat",
    "rank",
    "request_of",
    "warm",
    "warm_up",
]
