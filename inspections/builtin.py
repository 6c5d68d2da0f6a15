"""Keeps the built-in sheets of `inspections/sheets/*.json` in the database, as rows without a fleet."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from django.core.exceptions import ImproperlyConfigured

from fleet.records.canonical import content_hash
from inspections.models import Inspection, Sheet

FOLDER = Path(__file__).parent / "sheets"


def built_in_documents() -> list[dict[str, Any]]:
    """The files, by key."""
    return [json.loads(path.read_text(encoding="utf-8")) for path in sorted(FOLDER.glob("*.json"))]


def sheet_hash(document: dict[str, Any]) -> str:
    """Hash of everything a person reads on the sheet."""
    return content_hash({name: document.get(name, "") for name in ("kind", "title", "intro", "groups")})


def load_built_in_sheets() -> None:
    """Stores each file as its version. Called after every migration; does nothing when all are there.

    *Raises* ImproperlyConfigured when the words of a version in use were changed: that takes a new version.
    """
    for document in built_in_documents():
        digest = sheet_hash(document)
        rows = Sheet.objects.across_fleets().filter(fleet__isnull=True, key=document["key"])
        row = rows.filter(version=document["version"]).first()
        if row is None:
            Sheet.objects.create(content_hash=digest, **document)
        elif row.content_hash != digest:
            _replace(row, document, digest)


def _replace(row: Sheet, document: dict[str, Any], digest: str) -> None:
    if Inspection.objects.across_fleets().filter(sheet=row).exists():
        raise ImproperlyConfigured(f"Built-in sheet {row} is in use and was changed; give it a new version.")
    row.kind, row.title, row.intro = document["kind"], document["title"], document["intro"]
    row.groups, row.content_hash = document["groups"], digest
    row.save()
