"""manage.py simulate: files written, nonsense refused."""

from __future__ import annotations

import json
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from fleet.management.commands.simulate import Command

START = "2026-01-05T01:00:00+01:00"
SMALL = ("--units", "3", "--days", "1", "--start", START)


def run(*args: str) -> str:
    """Run the command; return what it printed."""
    out = StringIO()
    call_command(Command(), *args, stdout=out)
    return out.getvalue()


def test_events_truth_and_fleet_are_written(tmp_path: Path) -> None:
    events, truth, fleet = (tmp_path / name for name in ("events", "truth", "fleet"))
    said = run(*SMALL, "--out", str(events), "--truth", str(truth), "--fleet-file", str(fleet), "--prefix", "Q")
    lines = events.read_text(encoding="utf-8").splitlines()
    assert f"{len(lines)} events simulated" in said
    assert {json.loads(line)["subject"] for line in lines} == {"Q-0001", "Q-0002", "Q-0003"}
    assert min(json.loads(line)["time"] for line in lines) >= "2026-01-04T23:55"
    kinds = {json.loads(line)["kind"] for line in truth.read_text(encoding="utf-8").splitlines()}
    assert {"unit", "state", "link"} <= kinds
    assert len(json.loads(fleet.read_text(encoding="utf-8"))["units"]) == 3


def test_existing_units_and_real_weather_can_be_used(tmp_path: Path) -> None:
    numbers, truth = tmp_path / "numbers", tmp_path / "truth"
    numbers.write_text("HB-1\nHB-2\nHB-3\n", encoding="utf-8")
    weather = ("--weather", "fixtures/weather/northway-tmy3.csv", "--weather-from", "8720")
    run(*SMALL, "--numbers", str(numbers), *weather, "--truth", str(truth))
    records = [json.loads(line) for line in truth.read_text(encoding="utf-8").splitlines()]
    assert {record["unit"] for record in records} == {"HB-1", "HB-2", "HB-3"}
    # The coldest day of that file, with a site's 3 K around it.
    assert min(record["ambient_c"] for record in records if record["kind"] == "state") < -35.0


@pytest.mark.parametrize(
    ("args", "what"),
    [
        ((), "nothing to do"),
        (("--out", "a", "--post", "http://x/"), "one of the two"),
        (("--post", "http://x/"), "a token is required"),
        (("--out", "a", "--units", "0"), "units"),
        (("--out", "a", "--start", "yesterday"), "is not a time"),
        (("--out", "a", "--start", "2026-01-05T00:00:00"), "offset"),
        (("--truth", "a", "--weather", "no-such-file.csv"), "no-such-file"),
        (("--post", "http://x/", "--token", "t", "--resume", "s"), "needs --start"),
        (("--out", "no-such-folder/a", "--units", "1"), "no-such-folder"),
    ],
)
def test_nonsense_is_refused_in_words(
    args: tuple[str, ...], what: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    with pytest.raises(CommandError, match=what):
        run(*args)
