"""The method note names files that exist and prints the table of defaults that the code uses."""

import re
from pathlib import Path

from thermal.defaults import FIELDS, REQUIRED, Field

ROOT = Path(__file__).parents[3]
NOTE = (ROOT / "docs" / "thermal-method.md").read_text()


def row(field: Field) -> str:
    if field.default is REQUIRED:
        default = "required"
    elif field.default is None:
        default = "not given"
    elif field.default == ():
        default = "none"
    elif isinstance(field.default, bool):
        default = str(field.default).lower()
    else:
        default = f"{field.default:g}"
    limits = f"{field.low:g} to {field.high:g}" if field.low < field.high else ""
    source = field.source.removeprefix("required: ").removeprefix("required; ").removeprefix("required")
    return f"| `{field.name}` | {default} | {limits} | {field.unit} | {source} |"


def test_every_default_is_in_the_note_as_the_code_has_it():
    missing = [row(field) for field in FIELDS if row(field) not in NOTE]
    assert missing == []


def test_every_file_named_in_the_note_exists():
    named = set(re.findall(r"`((?:thermal|tests|fixtures)/[\w./-]+)`", NOTE))
    assert len(named) > 15
    assert sorted(name for name in named if not (ROOT / name).exists()) == []
