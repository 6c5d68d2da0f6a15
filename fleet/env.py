"""Typed reading of the WARMGATE_* environment variables: a bad value stops the start and names the variable."""

from __future__ import annotations

import os
import secrets
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

import environ
from django.core.exceptions import ImproperlyConfigured

T = TypeVar("T")
PREFIX = "WARMGATE_"
_env = environ.Env()


def _read(name: str, cast: Callable[[str], T], default: T, words: str) -> T:
    raw = os.environ.get(PREFIX + name, "")
    if raw == "":
        return default
    try:
        return cast(raw)
    except (ValueError, ImproperlyConfigured) as error:
        raise ImproperlyConfigured(f"{PREFIX}{name}={raw!r} is not {words}.") from error


def text(name: str, default: str = "") -> str:
    return _read(name, str, default, "text")


def flag(name: str, *, default: bool) -> bool:
    def cast(raw: str) -> bool:
        words = {
            "1": True,
            "true": True,
            "yes": True,
            "on": True,
            "0": False,
            "false": False,
            "no": False,
            "off": False,
        }
        if raw.lower() not in words:
            raise ValueError(raw)
        return words[raw.lower()]

    return _read(name, cast, default, "a yes/no value (1, 0, true, false)")


def whole(name: str, default: int, *, low: int, high: int) -> int:
    def cast(raw: str) -> int:
        value = int(raw)
        if not low <= value <= high:
            raise ValueError(raw)
        return value

    return _read(name, cast, default, f"a whole number from {low} to {high}")


def number(name: str, default: float, *, low: float, high: float) -> float:
    def cast(raw: str) -> float:
        value = float(raw)
        if not low <= value <= high:
            raise ValueError(raw)
        return value

    return _read(name, cast, default, f"a number from {low} to {high}")


def words(name: str, default: list[str]) -> list[str]:
    return _read(name, lambda raw: [part.strip() for part in raw.split(",") if part.strip()], default, "a comma list")


def database(name: str, default: dict[str, object]) -> dict[str, object]:
    def cast(raw: str) -> dict[str, object]:
        if not raw.startswith(("postgres://", "postgresql://", "psql://", "sqlite://")):
            raise ValueError(raw)
        return dict(_env.db_url_config(raw))

    return _read(name, cast, default, "a postgresql:// or sqlite:// address")


def secret(name: str, keep_in: Path | None) -> str:
    """The value of WARMGATE_<name>, else of the file WARMGATE_<name>_FILE, else one made once and kept in *keep_in*."""
    if value := text(name):
        return value
    if file := text(f"{name}_FILE"):
        try:
            return Path(file).read_text().strip()
        except OSError as error:
            raise ImproperlyConfigured(f"{PREFIX}{name}_FILE={file!r} cannot be read: {error}") from error
    if keep_in is None:
        raise ImproperlyConfigured(
            f"Set {PREFIX}{name} (or {PREFIX}{name}_FILE): there is no safe default in production."
        )
    if not keep_in.exists():
        keep_in.parent.mkdir(parents=True, exist_ok=True)
        keep_in.touch(mode=0o600)
        keep_in.write_text(secrets.token_urlsafe(50))
    return keep_in.read_text().strip()
