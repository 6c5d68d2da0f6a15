"""What leaves the service: answers as JSON, and log lines that name their request."""

import json
import logging
import sys
from datetime import UTC, datetime, timedelta, timezone
from decimal import Decimal

import numpy as np
import pytest
from django.utils.translation import gettext_lazy

from fleet.http import context
from fleet.http.logs import JsonFormatter
from fleet.http.renderers import OrjsonRenderer, dump_json

AT = datetime(2027, 1, 12, 5, 40, tzinfo=UTC)


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (AT, '"2027-01-12T05:40:00Z"'),
        (AT.astimezone(timezone(timedelta(hours=2))), '"2027-01-12T05:40:00Z"'),
        (AT.replace(microsecond=250_000), '"2027-01-12T05:40:00.250000Z"'),
        (AT.date(), '"2027-01-12"'),
        (AT.time(), '"05:40:00"'),
        (Decimal("4.50"), "4.5"),
        (gettext_lazy("word"), '"word"'),
        ({"a": (1, None, True)}, '{"a":[1,null,true]}'),
        (np.array([1.0, 2.5]), "[1.0,2.5]"),
        (np.float64(2.5), "2.5"),
        ("\U0001f69b", '"\U0001f69b"'),
    ],
)
def test_every_value_has_one_form(value, text):
    assert dump_json(value).decode() == text


@pytest.mark.parametrize("value", [object(), {1, 2}, b"bytes", {"a": complex(1, 2)}])
def test_a_type_without_one_json_form_is_an_error(value):
    with pytest.raises(TypeError):
        dump_json(value)


@pytest.mark.parametrize(
    "value",
    [float("nan"), {"a": [1.0, float("inf")]}, (-float("inf"),), np.array([1.0, np.nan]), np.float64("nan")],
)
def test_a_number_that_is_not_finite_is_an_error_and_never_null(value):
    with pytest.raises(ValueError, match="not finite"):
        dump_json(value)


def test_a_time_without_an_offset_is_an_error():
    with pytest.raises((TypeError, ValueError)):
        dump_json(AT.replace(tzinfo=None))


def test_no_data_is_no_body():
    assert OrjsonRenderer().render(None) == b""


def test_a_log_line_is_one_json_object_that_names_its_request():
    try:
        raise RuntimeError("line one\nline two")
    except RuntimeError:
        record = logging.LogRecord("x", logging.ERROR, "f.py", 1, "a %s\nb", ("word",), sys.exc_info())
    record.fields = {"status": 500}
    token = context.begin("r-1")
    context.bind_member(member_id=7, fleet_id=3)
    try:
        text = JsonFormatter().format(record)
    finally:
        context.end(token)
    assert "\n" not in text
    line = json.loads(text)
    assert (line["request_id"], line["member_id"], line["fleet_id"]) == ("r-1", 7, 3)
    assert (line["level"], line["message"], line["status"]) == ("error", "a word\nb", 500)
    assert "RuntimeError" in line["exception"]
    assert line["time"].endswith("Z")


def test_outside_a_request_a_log_line_names_none():
    line = json.loads(JsonFormatter().format(logging.LogRecord("x", logging.INFO, "f.py", 1, "a", (), None)))
    assert "request_id" not in line
    assert context.current_request_id() is None
