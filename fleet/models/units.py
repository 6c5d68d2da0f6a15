"""Heated units: their design data, themselves, and the newest that is known of each."""

from __future__ import annotations

from typing import Any

from django.db import models
from django.db.models import Q

from fleet.measured import NOTHING, Entry, Measured, read_measured, told_of, values_of
from fleet.models.scope import FleetRow


def _number(help_text: str) -> models.FloatField:
    """A design value. Null means "not stated": the documented default of the thermal model applies, or `unknown`."""
    return models.FloatField(null=True, blank=True, help_text=help_text)


class UnitModel(FleetRow):
    """Design data shared by units of one build."""

    key = models.SlugField(max_length=64)
    name = models.CharField(max_length=120)
    k_w_m2k = _number("Heat transfer coefficient of the box when new [W/m2K], from its certificate.")
    area_m2 = _number("Mean surface of the box, root of inner times outer [m2].")
    volume_m3 = _number("Inner volume [m3].")
    width_m = _number("Outer width of the body [m].")
    wall_mm = _number("Wall thickness [mm].")
    ageing_per_y = _number("Growth of K per year, linear [1/y].")
    door_width_m = _number("Door opening [m].")
    door_height_m = _number("Door opening [m].")
    curtain = _number("Share of door air kept back by a curtain [0..1].")
    heater_output_kw = _number("Rated heat output [kW].")
    heater_derate = _number("Share of the rated output that reaches the air [0..1].")
    output_low_kw = _number("Output at low fire, if it cannot go lower [kW].")
    burn_high_l_h = _number("Fuel at full output [L/h].")
    burn_low_l_h = _number("Fuel at low fire or idle [L/h].")
    tank_l = _number("Fuel tank [L].")
    reserve_l = _number("Fuel that cannot or must not be used [L].")
    hysteresis_k = _number("Half-width of the thermostat's band [K].")
    min_on_min = _number("Shortest run [min].")
    min_off_min = _number("Shortest pause [min].")
    start_run_min = _number("Run after each switch-on before the controller decides [min].")
    coolant_lag_min = _number("Time constant of the coolant circuit [min].")
    nominal_v = _number("Battery system, 12 or 24 [V].")
    max_load_kg = _number("Largest load [kg].")
    service_every_h = _number("Service interval [engine h].")
    service_every_months = _number("Service interval [months].")
    belt_tension_low_n = _number("Belt tension, lower limit of the specification [N].")
    belt_tension_high_n = _number("Belt tension, upper limit of the specification [N].")
    version = models.PositiveIntegerField(default=1, help_text="Moves with design data and the code book.")
    revision = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["fleet", "key"], name="unit_model_key_once_per_fleet")]

    def __str__(self) -> str:
        return self.name


class Unit(FleetRow):
    """One heated box with its heater."""

    class Service(models.TextChoices):
        IN_SERVICE = "in_service"
        OUT_OF_SERVICE = "out_of_service"

    number = models.CharField(max_length=40)
    model = models.ForeignKey(UnitModel, on_delete=models.PROTECT, related_name="units")
    service = models.CharField(max_length=16, choices=Service.choices, default=Service.IN_SERVICE)
    built_on = models.DateField(null=True, blank=True)
    k_test_w_m2k = _number("K value of a dated test of this unit [W/m2K].")
    k_tested_on = models.DateField(null=True, blank=True)
    serviced_at_h = _number("Engine hours at the last service [h].")
    serviced_on = models.DateField(null=True, blank=True)
    created_at = models.DateTimeField(auto_now_add=True)
    revision = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["fleet", "number"], name="unit_number_once_per_fleet"),
            models.CheckConstraint(
                condition=Q(k_test_w_m2k__isnull=True) | Q(k_tested_on__isnull=False),
                name="k_test_has_a_date",
            ),
        ]

    def __str__(self) -> str:
        return self.number


class NumberOfUnit(models.CharField):
    """The number of a row's unit, which never changes, kept in the row itself."""

    def pre_save(self, model_instance: models.Model, add: bool) -> Any:
        if add:
            setattr(model_instance, self.attname, model_instance.unit.number)  # type: ignore[attr-defined]
        return super().pre_save(model_instance, add)


class UnitState(FleetRow):
    """The newest known value of each field of one unit, each with its own time and source.

    `newest` and `measured` are what readings told (`fleet.measured`), for this service alone to read: the newest group,
    of which `shape` says what it tells, and the rest; `document` is both. `facts` holds what other apps
    contribute (a refractometer value, open alarms, the newest inspection) and maps a name to `[value, at, source]`,
    where *at* is fixed-width RFC 3339 in UTC so that text order is time order. The unit's position is kept here only,
    as the newest one: it is a driver's personal data. Only `fleet.units.state` and `fleet.units.told` write it; each
    write moves `version`.
    """

    unit = models.OneToOneField(Unit, primary_key=True, on_delete=models.CASCADE, related_name="state")
    number = NumberOfUnit(max_length=40, editable=False, help_text="The unit's; events name units by it.")
    measured = models.TextField(default=NOTHING)
    newest = models.BinaryField(default=b"")
    shape = models.BigIntegerField(default=0)
    facts = models.JSONField(default=dict)
    newest_at = models.DateTimeField(null=True, blank=True, help_text="Time of the newest reading.")
    version = models.PositiveBigIntegerField(default=1)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["fleet", "number"], name="unit_state_number_once_per_fleet")]

    def __str__(self) -> str:
        return f"state of {self.unit_id}"

    @property
    def document(self) -> Measured:
        """What readings told."""
        return read_measured(bytes(self.newest), self.measured)

    @property
    def values(self) -> dict[str, Entry]:
        """Each measured value as [value, at, source]."""
        return values_of(self.document)

    @property
    def told(self) -> dict[str, Entry]:
        """What readings tell besides their values, in the form of `facts`: last on, first off, first engine hours."""
        return told_of(self.document)
