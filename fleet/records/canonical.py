"""One byte form of a JSON document, so that equal contents have equal hashes on every database and every day."""

from __future__ import annotations

import hashlib
import json
from typing import Any


def canonical(document: Any) -> bytes:
    """*document* as UTF-8 JSON: sorted members, no blanks, whole numbers without a fraction.

    Databases do not agree on `1.0` and `1` (jsonb gives back either), so a float that is whole is written as an
    integer. *Raises* ValueError for NaN and infinity, TypeError for what JSON cannot hold.
    """
    text = json.dumps(_plain(document), sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
    return text.encode()


def content_hash(document: Any) -> str:
    """SHA-256, hexadecimal, of a document's canonical form."""
    return hashlib.sha256(canonical(document)).hexdigest()


def _plain(value: Any) -> Any:
    if isinstance(value, float) and value.is_integer():
        return int(value)
    if isinstance(value, dict):
        return {str(name): _plain(member) for name, member in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(member) for member in value]
    return value
