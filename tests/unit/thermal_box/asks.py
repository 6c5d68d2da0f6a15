"""Requests of the calculator for the tests: the four worked cases, and small changes to them."""

import copy
import json
from pathlib import Path
from typing import Any

from thermal import EstimateRequest, request_of

CASES = Path(__file__).parents[3] / "fixtures" / "thermal" / "cases"
NAMES = ("base_winter", "tiny_load", "refuel_in_time", "ambient_above_set")


def case(name: str) -> dict[str, Any]:
    """Return a worked case: name, request, expected."""
    loaded: dict[str, Any] = json.loads((CASES / f"{name}.json").read_text())
    return loaded


def asked(name: str = "base_winter", **changes: Any) -> dict[str, Any]:
    """Return the request of a case with changes written `group__field=value` (or `fuel_l=value`)."""
    request = copy.deepcopy(case(name)["request"])
    for key, value in changes.items():
        group, _, field = key.partition("__")
        if field:
            request[group][field] = value
        else:
            request[group] = value
    return request


def ask(name: str = "base_winter", **changes: Any) -> EstimateRequest:
    return request_of(asked(name, **changes))
