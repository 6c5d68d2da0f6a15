"""The yard before the evening begins: models, code books, units, routes, readings, inspections, trips."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fleet.demo.stage import Stage

INSPECTED_MIN = -100
"""When the pre-trip inspections of this evening were made."""
NOT_INSPECTED = ("HB-107",)
LEFT_OFF = "HB-106"
OFF_SINCE_MIN = -52
MEASURED: Mapping[str, Mapping[str, Any]] = {
    "fuel": {"fuel_grade": "en590-4"},
    "coolant": {"coolant_glycol_pct": 58.0},
    "battery": {"battery_rest_v": 12.85, "battery_rest_h": 9.0},
}
LOADED = ("T-401",)
REPORTS = ("pre_trip", "post_trip")


def set_scene(stage: Stage) -> None:
    """Everything that is there when the story begins, put in through the API by those who would."""
    scenario, cast = stage.scenario, stage.cast
    for model in scenario.unit_models:
        cast.manager.post("unit-models/", model)
    for key, entries in scenario.code_books.items():
        cast.manager.post("code-books/", {"unit_model": key, "entries": entries})
    for number in scenario.units:
        cast.manager.post("units/", scenario.unit_body(number))
    _make_routes(stage)
    _post_earlier_readings(stage)
    sheet = sheet_of(stage, "pre-trip")
    for number in scenario.units:
        if number not in NOT_INSPECTED:
            inspect(stage, number, sheet, performed_min=INSPECTED_MIN)
    for reference in scenario.trips:
        cast.dispatcher.post("trips/", scenario.trip_body(reference))
    for reference in LOADED:
        record_loading(stage, reference, performed_min=-8)


def _make_routes(stage: Stage) -> None:
    """The manager by mail, the planning system by webhook."""
    members = {member["role"]: member for member in stage.scenario.fleet["members"]}
    manager = members["manager"]
    routes = [
        (f"{stage.cast.slug}-{manager['username']}", "email", manager["email"]),
        (f"{stage.cast.slug}-{members['dispatcher']['username']}", "webhook", stage.hook_url),
    ]
    for member, channel, address in routes:
        body = {"member": member, "channel": channel, "address": address, "kinds": ["hold", "alarm"], "position": 1}
        stage.cast.manager.post("notice-routes/", body)


def _post_earlier_readings(stage: Stage) -> None:
    """Two hours of readings; one unit is switched off in between and forgotten."""
    scenario = stage.scenario
    events = []
    for number in scenario.units:
        for minutes in (-120, -90, -60, -30):
            off = number == LEFT_OFF and minutes >= OFF_SINCE_MIN
            changes = {"unit_on": False, "heater_running": False} if off else {}
            events.append(scenario.reading(number, scenario.at(minutes), **changes))
    off_event = scenario.reading(LEFT_OFF, scenario.at(OFF_SINCE_MIN), unit_on=False, heater_running=False)
    stage.cast.integrator.post("events/", [*events, off_event])


def post_present_readings(stage: Stage) -> int:
    """One reading of each unit, taken now; how many."""
    off = {"unit_on": False, "heater_running": False, "return_air_c": 4.9, "discharge_air_c": 4.6}
    events = [
        stage.scenario.reading(number, stage.scenario.at(0), **(off if number == LEFT_OFF else {}))
        for number in stage.scenario.units
    ]
    stage.cast.integrator.post("events/", events)
    return len(events)


# --- sheets -------------------------------------------------------------------------------------------------------


def sheet_of(stage: Stage, key: str) -> dict[str, Any]:
    """The newest version of a sheet."""
    items = stage.cast.inspector.get(f"inspection-sheets/?key={key}")["items"]
    newest: dict[str, Any] = max(items, key=lambda sheet: sheet["version"])
    return newest


def observations(
    sheet: Mapping[str, Any], *, defects: Mapping[str, str], values: Mapping[str, Mapping[str, Any]]
) -> list[dict[str, Any]]:
    """Every item of the sheet: sound, with its measured values, or a defect with its words."""
    seen = []
    for group in sheet["groups"]:
        for item in group["items"]:
            one: dict[str, Any] = {"item": item["key"], "outcome": "sound"}
            if item["key"] in values:
                one["values"] = dict(values[item["key"]])
            if item["key"] in defects:
                one |= {"outcome": "defect", "note": defects[item["key"]]}
            seen.append(one)
    return seen


def inspect(
    stage: Stage,
    number: str,
    sheet: Mapping[str, Any],
    *,
    performed_min: float | None = None,
    defects: Mapping[str, str] | None = None,
) -> dict[str, Any]:
    """A pre-trip inspection by the inspector, signed, with the last report reviewed; now unless a minute is given."""
    body: dict[str, Any] = {
        "sheet": sheet["key"],
        "unit": number,
        "observations": observations(sheet, defects=defects or {}, values=MEASURED),
        "signature": {"meaning": "performed", "reviewed": last_report(stage, number)},
    }
    if performed_min is not None:
        body["performed_at"] = stage.scenario.text_at(performed_min)
    report: dict[str, Any] = stage.cast.inspector.post("inspections/", body)
    return report


def last_report(stage: Stage, number: str) -> int | None:
    """The unit's newest signed report, which the next signer has to read first; None before the first."""
    rows = stage.cast.inspector.get(f"inspections/?unit={number}&state=signed")["items"]
    return next((row["id"] for row in rows if row["kind"] in REPORTS), None)


def record_loading(stage: Stage, reference: str, *, performed_min: float | None = None) -> None:
    """A signed loading inspection with the load's temperature at three places."""
    trip = stage.scenario.trips[reference]
    middle_c = trip["load"]["temperature_c"]
    temps = {"load_temperatures_c": [middle_c - 0.2, middle_c, middle_c + 0.1]}
    body: dict[str, Any] = {
        "sheet": "loading",
        "unit": trip["unit"],
        "trip": reference,
        "observations": observations(sheet_of(stage, "loading"), defects={}, values={"load_temperature": temps}),
        "signature": {"meaning": "performed"},
    }
    if performed_min is not None:
        body["performed_at"] = stage.scenario.text_at(performed_min)
    stage.cast.inspector.post("inspections/", body)
