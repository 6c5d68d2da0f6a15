"""docs/alarms.md says what the tables in the code say."""

from __future__ import annotations

from pathlib import Path

import pytest

from alarms.codebooks.entries import COLUMNS, LONGEST
from alarms.learned import LEARNED
from alarms.rules import RULES, Rule
from fleet.policy import BY_NAME

PAGE = (Path(__file__).parents[2] / "docs" / "alarms.md").read_text()
ROWS = {line.split("|")[1].strip(): line for line in PAGE.splitlines() if line.startswith("| `")}


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.code)
def test_every_rule_of_our_own_stands_there_with_its_tier(rule: Rule) -> None:
    assert f"| `{rule.tier}` |" in ROWS[f"`{rule.code}`"]


@pytest.mark.parametrize("column", COLUMNS)
def test_every_column_of_a_code_book_stands_there_with_its_limit(column: str) -> None:
    assert str(LONGEST.get(column, "")) in ROWS[f"`{column}`"]


def test_the_thresholds_it_names_have_the_values_it_says() -> None:
    assert "`alarm_quiet_min` (30 minutes)" in PAGE
    assert BY_NAME["alarm_quiet_min"].default == 30
    assert "`under_way_silent_h` (2 h)" in PAGE
    assert BY_NAME["under_way_silent_h"].default == 2


@pytest.mark.parametrize("code", sorted(LEARNED))
def test_everything_learning_can_find_stands_there_with_its_tier(code: str) -> None:
    assert f"| `{LEARNED[code].tier}` |" in ROWS[f"`{code}`"]
