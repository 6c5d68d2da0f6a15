"""docs/commodities.md shows the table as it is."""

from pathlib import Path

from thermal.commodities import HAZARDS, SOURCES, Known, all_commodities

PAGE = (Path(__file__).parents[3] / "docs" / "commodities.md").read_text("utf-8")
LINES = set(PAGE.splitlines())
MARKS = {Known.READ: "", Known.COMPUTED: " c", Known.MEMORY: " m", Known.CHOICE: " x"}
LIMITS = ("freezes_c", "chill_c", "chill_hours", "carry_low_c", "carry_high_c", "high_c")
PROPERTIES = ("water", "cp_kj_kgk", "latent_kj_kg", "respiration_w_kg")
WET = [goods for goods in all_commodities() if not goods.no_heat_needed]


def cell(goods, name):
    value = getattr(goods, name)
    if value is None:
        return "–"
    shown = round(value * 100.0, 2) if name == "water" else value
    origin = goods.origins[name]
    return f"{shown:g}{MARKS[origin.known]} {origin.source}"


def test_every_limit_is_on_the_page_with_its_source():
    for goods in WET:
        cells = " | ".join(cell(goods, name) for name in LIMITS)
        assert f"| `{goods.key}` | {goods.name} | {cells} | {goods.damage_c:g} |" in LINES


def test_every_property_and_note_is_on_the_page():
    for goods in WET:
        cells = " | ".join(cell(goods, name) for name in PROPERTIES)
        assert f"| `{goods.key}` | {cells} | {goods.note or '–'} |" in LINES


def test_the_page_has_no_row_that_the_table_lost():
    assert sum(line.startswith("| `") for line in LINES) == 2 * len(WET) + len(HAZARDS)


def test_dry_goods_refusals_and_sources_are_on_the_page():
    assert all(f"`{goods.key}`" in PAGE for goods in all_commodities() if goods.no_heat_needed)
    assert all(f"| `{key}` | {why} |" in LINES for key, why in HAZARDS.items())
    assert all(f"| {key} | {what} |" in LINES for key, what in SOURCES.items())


def test_the_page_counts_its_own_numbers():
    known = [origin.known for goods in WET for origin in goods.origins.values()]
    counts = [
        line.rsplit("|", 2)[1].strip()
        for line in PAGE.splitlines()
        if line.startswith(("| none ", "| c ", "| m ", "| x "))
    ]
    assert counts == [str(known.count(kind)) for kind in Known]
