"""The shape of the house: who may name whom, what is registered, and that nothing failed to register."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

from fleet.charts.registry import mark_sources, trip_charts
from fleet.events import EventHandler, Handled, handlers
from fleet.holds import listeners
from fleet.readiness.registry import checks
from fleet.registry import DuplicateId, Registry
from fleet.trip_records.sections import sections

ROOT = Path(__file__).parents[2]
TOP_LEVEL = {
    "alarms",
    "docs",
    "fixtures",
    "fleet",
    "inspections",
    "tests",
    "thermal",
    "DEVELOPERS.md",
    "Dockerfile",
    "LICENSE",
    "README.md",
    "docker-compose.yml",
    "manage.py",
    "pyproject.toml",
}
CHECK_IDS = [
    "alarms.stop_tier",
    "alarms.watch_tier",
    "fleet.availability",
    "fleet.load_temperature",
    "fleet.service_due",
    "fleet.set_point",
    "fleet.telemetry",
    "fleet.unit_on",
    "inspections.pre_trip",
    "thermal.battery",
    "thermal.capacity",
    "thermal.chance",
    "thermal.coolant",
    "thermal.forecast",
    "thermal.fuel",
    "thermal.fuel_grade",
    "thermal.preheat",
    "thermal.range",
    "thermal.time_to_damage",
]


def tracked() -> list[str]:
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False)
    if listed.returncode:
        pytest.skip("not a git checkout")
    return listed.stdout.splitlines()


def test_nothing_stands_at_the_top_that_a_person_would_not_expect() -> None:
    seen = {name.split("/")[0] for name in tracked()}
    assert {name for name in seen if not name.startswith(".")} <= TOP_LEVEL


def test_only_settings_and_urls_name_other_apps() -> None:
    naming = re.compile(r"\b(?:inspections|alarms|thermal)\.(?:urls|apps|adapter|models|views|tasks)\b")
    guilty = [
        str(path.relative_to(ROOT))
        for path in (ROOT / "fleet").rglob("*.py")
        if path.name not in {"settings.py", "urls.py"} and naming.search(path.read_text())
    ]
    assert guilty == []


def test_thermal_is_importable_without_django() -> None:
    code = "import sys, thermal; assert not [m for m in sys.modules if m.split('.')[0] in ('django', 'fleet')]"
    subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=True)


def test_every_check_registered_and_no_other() -> None:
    assert checks.ids() == CHECK_IDS


def test_every_event_type_registered_and_no_other() -> None:
    assert handlers.ids() == ["unit.fault.v1"]


def test_every_hold_listener_registered_and_no_other() -> None:
    assert listeners.ids() == ["alarms.notices", "alarms.records"]


def test_every_section_of_the_trip_record_registered_and_no_other() -> None:
    assert sections.ids() == [
        "alarms.alarms",
        "fleet.acts",
        "fleet.excursions",
        "fleet.gaps",
        "fleet.load",
        "fleet.set_point",
        "fleet.temperatures",
        "inspections.signed",
        "thermal.chart",
        "thermal.mean_kinetic",
    ]


def test_every_chart_and_every_source_of_marks_registered() -> None:
    assert trip_charts.ids() == ["forecast"]
    assert mark_sources.ids() == ["alarms.raised"]


def test_a_duplicate_id_stops_start_up() -> None:
    registry: Registry[EventHandler] = Registry("event handlers")
    first = EventHandler("x.v1", dict, lambda fleet_id, events, now: Handled())
    registry.add(first)
    registry.add(first)  # the same object again is a reload, not a duplicate
    with pytest.raises(DuplicateId):
        registry.add(EventHandler("x.v1", dict, lambda fleet_id, events, now: Handled()))


def test_order_is_the_sorted_id_whatever_the_order_of_arrival() -> None:
    registry: Registry[EventHandler] = Registry("event handlers")
    for name in ("c", "a", "b"):
        registry.add(EventHandler(name, dict, lambda fleet_id, events, now: Handled()))
    assert [item.id for item in registry] == ["a", "b", "c"]


def test_the_physics_contract_names_every_module_of_the_physics() -> None:
    """A module that the import contract does not name could import Django unseen."""
    contract = (ROOT / "pyproject.toml").read_text()
    modules = {f'"thermal.{path.stem}"' for path in (ROOT / "thermal").glob("*.py") if path.stem != "__init__"}
    assert sorted(name for name in modules if name not in contract) == []
