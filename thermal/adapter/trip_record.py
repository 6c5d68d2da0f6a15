"""What the physics adds to a trip record: the chart, and for medicine the mean kinetic temperature."""

from __future__ import annotations

from typing import Any

from fleet.charts.thin import gap_s
from fleet.trip_records.sections import Content, Grid, Scope, Section, number, sections
from thermal.adapter.charts import trip_picture
from thermal.commodities import all_commodities
from thermal.errors import OutOfRange
from thermal.kinetic import HEAT_OF_ACTIVATION_K, mean_kinetic_c, spans_h

PHARMA = "pharma"
LINES = (
    "One steady temperature that would have done the same to the goods (Haynes 1971; USP <1079.2>), activation energy "
    f"over gas constant {HEAT_OF_ACTIVATION_K:.0f} K, each reading weighted by the time it stands for.",
    "It says nothing about freezing, and it does not excuse an excursion: the owner of the goods decides.",
)


def register() -> None:
    sections.add(Section("thermal.chart", 40, "Chart", chart))
    sections.add(Section("thermal.mean_kinetic", 33, "Mean kinetic temperature", mean_kinetic))


def chart(scope: Scope) -> Content | None:
    """What was measured, and while the trip is under way what is still expected."""
    picture = trip_picture(scope.trip, scope.until)
    return Content({"words": list(picture.words)}, (), (), picture) if picture.shows_anything else None


def mean_kinetic(scope: Scope) -> Content | None:
    """For loads that the commodity table calls medicine; nothing for everything else."""
    kinds = {known.key: known.kind for known in all_commodities()}
    if not any(kinds.get(load["commodity"]) == PHARMA for load in scope.trip.loads):
        return None
    data: dict[str, Any] = {"activation_over_r_k": round(HEAT_OF_ACTIVATION_K, 1)}
    rows = []
    for name, words in (("cargo_c", "cargo"), ("return_air_c", "return air")):
        at_s, values = scope.measured.series(name)
        value = None
        if len(at_s):
            weights = spans_h(at_s / 3600.0, longest_h=gap_s(at_s) / 3600.0)
            try:
                value = mean_kinetic_c(values, weights)
            except OutOfRange:
                value = None  # a reading that no load can have had: excursions show it
        mean = float(values.mean()) if len(values) else None
        data[name] = {"mean_kinetic_c": None if value is None else round(value, 2), "readings": len(values)}
        rows.append((words, number(value, 2), number(mean, 2), str(len(values))))
    head = ("measured", "mean kinetic [°C]", "plain mean [°C]", "readings")
    return Content(data, LINES, (Grid(head, tuple(rows)),))
