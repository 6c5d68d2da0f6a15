"""A newcomer's first minute: `manage.py demo` tells its story and ends, `manage.py serve` goes on from there, the calls
of the README work, and the invented scenario agrees with itself."""

from __future__ import annotations

import re
import shlex
import subprocess
from math import asin, cos, radians, sin, sqrt
from pathlib import Path
from typing import Any

import pytest

from fleet.demo.scenario import Scenario, load_scenario
from tests.flows.embedded import ROOT, Database, kill, manage, output_of, received, stop
from tests.waiting import wait_for

pytestmark = pytest.mark.embedded
ANSWERS = re.compile(r"answers at (http://127\.0\.0\.1:\d+)")


@pytest.fixture(scope="module")
def evening(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of a demo that was told to its end."""
    folder = tmp_path_factory.mktemp("demo")
    process = manage(folder, "demo", "--once", "--port", "0", "--pace", "0")
    status = process.wait(90)
    assert status == 0, output_of(folder, "demo")
    return folder


def test_the_story_shows_every_turn_it_promises(evening: Path) -> None:
    told = output_of(evening, "demo")
    turns = [
        r"T-401 .* ready .* every check passes",
        r"T-402 .*blocked .* Stop-tier alarm not signed off",
        r"email .*Blocked: HB-102, T-402",
        r"409 dispatch-blocked",
        r"T-403 .*blocked .* unrepaired defects",
        r"T-404 .*blocked .* The heater gives",
        r"HB-108 is best of 8",
        r"T-405 .*blocked .* L usable",
        r"Fill at least \d+ L",
        r"T-406 .*blocked .* has been off",
        r"email .*Hold lifted: HB-103",
        r"email .*Hold lifted: HB-102",
        r"T-402 .* HB-102 has left",
    ]
    place = 0
    for turn in turns:
        found = re.compile(turn).search(told, place)
        assert found, f"{turn!r} does not follow in:\n{told}"
        place = found.start()


def test_each_message_of_the_story_arrived_once(evening: Path) -> None:
    sent = Database(evening / "warmgate.sqlite3").rows(
        "SELECT message_id FROM alarms_delivery WHERE state = 'sent' ORDER BY message_id"
    )
    arrived = sorted(re.search(r"msg_\w+", receipt["id"]).group() for receipt in received(evening))  # type: ignore[union-attr]
    assert arrived == [message_id for (message_id,) in sent]
    assert not any(receipt["repeat"] for receipt in received(evening))


def test_nobody_was_told_of_a_unit_that_was_never_blocked(evening: Path) -> None:
    told = " ".join(receipt["subject"] for receipt in received(evening) if receipt["channel"] == "mail")
    assert "HB-102" in told
    assert not re.search("HB-10[178]", told)


# --- the scenario itself ------------------------------------------------------------------------------------------


@pytest.fixture
def scenario(now: Any) -> Scenario:
    return load_scenario(starts_at=now)


def test_the_scenario_has_what_the_story_needs(scenario: Scenario) -> None:
    assert len(scenario.unit_models) == 2
    assert len(scenario.units) == 8
    assert len(scenario.trips) == 8
    assert {member["role"] for member in scenario.fleet["members"]} == {
        "integrator", "dispatcher", "inspector", "manager",
    }  # fmt: skip
    goods = {trip["load"]["commodity"] for trip in scenario.trips.values() if trip["load"] is not None}
    assert len(goods) >= 5
    codes = [entry["code"] for book in scenario.code_books.values() for entry in book]
    assert all(re.fullmatch(r"[a-z]+(-[a-z]+)+(-\d)?", code) for code in codes)


def test_distances_between_the_invented_places_agree_with_the_hours_between_them(scenario: Scenario) -> None:
    """A lorry on winter roads: 40 to 75 km/h over 1.25 times the great circle (common practice, no source)."""
    by_name = {place["name"]: place for place in scenario.places.values()}
    for reference, trip in scenario.trips.items():
        here, left_min = scenario.places["vinterby"], trip["depart_min"]
        for stop_plan in trip["stops"]:
            there = scenario.places[stop_plan["place"]]
            km_h = 1.25 * great_circle_km(here, there) / ((stop_plan["arrive_min"] - left_min) / 60)
            assert 40 <= km_h <= 75, f"{reference} to {there['name']}: {km_h:.0f} km/h"
            here, left_min = there, stop_plan.get("leave_min", stop_plan["arrive_min"])
    assert len(by_name) == len(scenario.places)


def great_circle_km(a: Any, b: Any) -> float:
    """Haversine on a sphere of 6371 km."""
    lat_a, lat_b = radians(a["latitude"]), radians(b["latitude"])
    half = (
        sin((lat_b - lat_a) / 2) ** 2 + cos(lat_a) * cos(lat_b) * sin(radians(b["longitude"] - a["longitude"]) / 2) ** 2
    )
    return 2 * 6371 * asin(sqrt(half))


# --- the README ---------------------------------------------------------------------------------------------------

CALLS = re.compile(r"```sh\n(.*?)```", re.DOTALL)


def test_the_calls_of_the_readme_work_when_pasted(evening: Path, tmp_path: Path) -> None:
    """Every shell block of the README and of the quickstart that speaks to $URL, against the evening's own state."""
    for path in evening.iterdir():
        if path.is_file():
            (tmp_path / path.name).write_bytes(path.read_bytes())
    served = manage(tmp_path, "serve", "--port", "0", "--receivers")
    try:
        url = wait_for("the URL", lambda: ANSWERS.search(output_of(tmp_path, "serve")), within_s=40).group(1)
        shell_file = tmp_path / "demo.env"
        shell_file.write_text(re.sub(r"URL=\S+", f"URL={url}", shell_file.read_text(), count=1))
        for document in ("README.md", "docs/quickstart.md"):
            blocks = [block for block in CALLS.findall((ROOT / document).read_text()) if "$URL" in block]
            assert blocks, document
            for block in blocks:
                run_block(block, shell_file)
        assert stop(served) == 0
        assert "Stopping." in output_of(tmp_path, "serve")
    finally:
        kill(served)


def run_block(block: str, shell_file: Path) -> None:
    """Runs one block as a shell would; a call that is refused fails the test."""
    script = block.replace(". .warmgate/demo.env", f". {shlex.quote(str(shell_file))}").replace(
        "curl -s", "curl -sS --fail-with-body"
    )
    done = subprocess.run(
        ["bash", "-euo", "pipefail", "-c", f". {shlex.quote(str(shell_file))}\n{script}"], capture_output=True,
        text=True, check=False, timeout=60,
    )  # fmt: skip
    assert done.returncode == 0, f"{block}\n{done.stdout}\n{done.stderr}"
    assert done.stdout.strip(), block
