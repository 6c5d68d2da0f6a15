"""Files that leave the service: no cell is a formula, no number is text."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from datetime import UTC, date, datetime

import orjson
import pytest

from fleet.records.canonical import canonical, content_hash
from fleet.records.export import Form, cell_of, column, export


@dataclass
class Row:
    note: object
    trip: object = None


def csv_of(*notes: object) -> list[list[str]]:
    text = b"".join(export([Row(note) for note in notes], [column("note")], form=Form.CSV)).decode()
    return list(csv.reader(io.StringIO(text)))


@pytest.mark.parametrize(
    "text", ["=1+1", "+1", "-2+3", "@SUM(A1)", "\t=1", "\r=1", "\n=1", "＝1", "=cmd|' /C calc'!A0", "-"]
)
def test_text_that_a_spreadsheet_would_run_is_quoted(text):
    assert csv_of(text)[1] == [f"'{text}"]


@pytest.mark.parametrize(
    ("value", "cell"),
    [
        (-27.5, "-27.5"),
        (0, "0"),
        (None, ""),
        (True, "true"),
        ("belt = frayed", "belt = frayed"),
        ('said "no", left', 'said "no", left'),
        ("two\nlines", "two\nlines"),
        (["=1"], '["=1"]'),
        (date(2027, 1, 12), "2027-01-12"),
        (datetime(2027, 1, 12, 5, 40, tzinfo=UTC), "2027-01-12T05:40:00Z"),
    ],
)
def test_everything_else_stays_what_it_is(value, cell):
    assert csv_of(value)[1] == [cell]


def test_a_step_that_is_missing_on_the_way_is_an_empty_cell():
    rows = [Row("a", trip=None)]
    columns = [column("note"), column("trip.reference")]
    assert b"".join(export(rows, columns, form=Form.CSV)) == b"note,trip_reference\r\na,\r\n"
    assert orjson.loads(b"".join(export(rows, columns, form=Form.JSON_LINES))) == {"note": "a", "trip_reference": None}


def test_an_empty_export_still_has_its_header():
    assert list(export([], [column("note")], form=Form.CSV)) == [b"note\r\n"]
    assert list(export([], [column("note")], form=Form.JSON_LINES)) == []


def test_dictionaries_become_one_cell():
    assert cell_of({"volts": 12.7}) == '{"volts":12.7}'


def test_equal_contents_have_equal_hashes_whatever_the_database_made_of_them():
    assert canonical({"b": 1.0, "a": [2, None, "é"]}) == '{"a":[2,null,"é"],"b":1}'.encode()
    assert content_hash({"a": 1, "b": 2.5}) == content_hash({"b": 2.5, "a": 1.0})
    # SHA-256 of `{}` (any implementation of FIPS 180-4 gives it; computed with coreutils sha256sum)
    assert content_hash({}) == "44136fa355b3678a1146ad16f7e8649e94fb4fc21fe77e8310c060f61caaff8a"
    with pytest.raises(ValueError, match="not JSON compliant"):
        canonical({"a": float("nan")})
