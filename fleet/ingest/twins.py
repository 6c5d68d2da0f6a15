"""Whether an object names a key twice, which parsers pass over in silence by keeping the last one.

A repeated key is a string of the text that is not in what was kept, so counting is enough: every string has two
quotes. Where the text has no backslash, no quote stands inside a string, and the counts are exact. Only a text with
escapes whose counts differ is read again with every pair seen.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Any

import msgspec

from fleet.http.parsers import MAX_DEPTH


class TooDeep(ValueError):
    """Nested deeper than bodies may be."""


def repeats_a_key(raw: bytes) -> bool:
    """Whether an object in this item of a batch does. False when it cannot be read. *Raises* TooDeep."""
    try:
        kept = msgspec.json.decode(raw)
    except (msgspec.DecodeError, UnicodeDecodeError):
        return False
    if 2 * _strings(kept, 2) == raw.count(b'"'):
        return False
    try:
        json.loads(raw, object_pairs_hook=_refuse_repeats)
    except _Repeat:
        return True
    return False


class _Repeat(ValueError):
    pass


def _refuse_repeats(pairs: Iterable[tuple[str, Any]]) -> dict[str, Any]:
    seen: dict[str, Any] = {}
    for key, value in pairs:
        if key in seen:
            raise _Repeat(key)
        seen[key] = value
    return seen


def _strings(value: Any, depth: int) -> int:
    """How many strings a value holds, names included. *Raises* TooDeep."""
    if isinstance(value, str):
        return 1
    if not isinstance(value, dict | list):
        return 0
    if depth > MAX_DEPTH:
        raise TooDeep
    parts = value.values() if isinstance(value, dict) else value
    names = len(value) if isinstance(value, dict) else 0
    return names + sum(_strings(part, depth + 1) for part in parts if isinstance(part, str | dict | list))
