"""Code books as tables and differences. No rows."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from alarms.codebooks.entries import Entry, difference
from alarms.codebooks.tables import read_csv, write_csv
from fleet.errors import InvalidInput

HOT = Entry("coolant-hot-2", "stop", "coolant", "Coolant too hot", "Switch off. Let it cool. Look for a leak.")
FAN = Entry("fan-slow", "watch", "fan", "Fan turns slowly", "Clean it at the next service.")
HEADER = "code,tier,component,meaning,what_to_do\n"


def refusal(table: str) -> list[str]:
    with pytest.raises(InvalidInput) as caught:
        read_csv(table)
    return [error.detail for error in caught.value.errors]


def test_a_difference_reads_tiers_first_then_what_is_gone_then_what_is_new() -> None:
    lower = Entry("coolant-hot-2", "attend", "coolant", "Coolant hot", HOT.what_to_do)
    new = Entry("belt-worn", "attend", "belt", "Belt worn", "Replace it.")
    found = difference([HOT, FAN], [lower, new])
    assert found.lines == [
        "coolant-hot-2: tier stop → attend",
        "fan-slow: removed (was watch: Fan turns slowly)",
        "belt-worn: new, attend: Belt worn",
        "coolant-hot-2: meaning “Coolant too hot” → “Coolant hot”",
    ]
    assert found.unchanged == 0
    assert difference([HOT, FAN], [FAN, HOT]).empty


def test_a_table_is_read_in_any_order_of_columns_with_commas_or_semicolons_and_a_byte_order_mark() -> None:
    commas = HEADER + "fan-slow,watch,fan,Fan turns slowly,Clean it at the next service.\n\n"
    semicolons = (
        "\ufeffmeaning;code;tier;what_to_do;component\r\n"
        "Fan turns slowly;fan-slow;watch;Clean it at the next service.;fan\r\n"
    )
    assert read_csv(commas) == read_csv(semicolons) == [FAN]


REFUSED = {
    "no header": ("fan-slow,watch,fan,Slow,Clean\n", "The first line must name"),
    "one column too many": ("code,tier,component,meaning,what_to_do,lamp\n", "The first line must name"),
    "nothing": ("", "The first line must name"),
    "a short line": (HEADER + "fan-slow,watch,fan\n", "Line 2: 3 cells instead of 5."),
    "an unknown tier": (HEADER + "fan-slow,red,fan,Slow,Clean\n", "Line 2: Tier 'red' is not one of"),
    "an empty cell": (HEADER + "fan-slow,watch,fan,,Clean\n", "Line 2: meaning is empty."),
    "a long code": (HEADER + "x" * 65 + ",watch,fan,Slow,Clean\n", "Line 2: code has 65 characters"),
    "a code twice": (HEADER + "a,watch,fan,S,C\nb,stop,fan,S,C\na,watch,fan,S,C\n", "Line 4: Code a stands"),
    "a line break in a cell": (HEADER + 'a,watch,fan,"Slow\nfan",Clean\n', "Line 2: meaning holds a control character"),
    "a quote left open": (HEADER + 'a,watch,fan,"Slow,Clean\n', "The table cannot be read"),
}  # fmt: skip


@pytest.mark.parametrize("name", REFUSED)
def test_a_table_that_is_not_whole_is_refused_with_the_line(name: str) -> None:
    table, words = REFUSED[name]
    assert any(words in detail for detail in refusal(table))


def test_an_export_holds_no_cell_that_a_spreadsheet_runs() -> None:
    risky = [Entry("=1+1", "stop", "+fan", "@cell", "-x"), Entry("'=a", "stop", "a", "'b", 'c, "d"; e')]
    table = write_csv(risky)
    cells = [cell for line in table.splitlines()[1:] for cell in line.split(",")]
    assert not any(cell.strip('"').startswith(("=", "+", "-", "@")) for cell in cells)
    assert read_csv(table) == risky


printable = st.text(st.characters(min_codepoint=32, exclude_categories=("Cs", "Cc")), min_size=1, max_size=30)
cell = printable.map(str.strip).filter(bool)


@given(
    st.lists(
        st.builds(Entry, cell, st.sampled_from(["watch", "attend", "stop"]), cell, cell, cell),
        max_size=6,
        unique_by=lambda entry: entry.code,
    )
)
def test_what_was_exported_is_imported_as_the_same_book(entries: list[Entry]) -> None:
    assert read_csv(write_csv(entries)) == entries
