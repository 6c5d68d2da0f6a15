"""The demo's own state: what may be wiped when it starts over, and the file that gives a shell its tokens."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Mapping
from contextlib import closing
from pathlib import Path

from fleet.embedded.errors import CannotStart
from fleet.embedded.inbox import FILE, PORTS_FILE

MARKER = "demo.json"
SHELL_FILE = "demo.env"


def start_over(folder: Path, *, database: Path, slug: str) -> None:
    """Removes what an earlier demo left in *folder* and in the file *database*, and marks the folder as the demo's.

    *Raises* CannotStart when the database there holds a fleet that no demo has made: that is somebody's work.
    """
    others = _fleets_in(database) - _marked(folder)
    if others:
        raise CannotStart(
            f"{database} holds the fleet {', '.join(sorted(others))}, which the demo did not make. Nothing was changed."
            " Set WARMGATE_STATE_DIR to another folder for the demo."
        )
    for path in (*(Path(f"{database}{end}") for end in ("", "-wal", "-shm")), folder / FILE, folder / SHELL_FILE):
        path.unlink(missing_ok=True)
    (folder / PORTS_FILE).unlink(missing_ok=True)
    folder.mkdir(parents=True, exist_ok=True)
    (folder / MARKER).write_text(json.dumps({"fleets": [slug]}))


def _fleets_in(database: Path) -> set[str]:
    """Slugs of the fleets in a database file; none when it is not there or has no such table yet."""
    if not database.exists():
        return set()
    with closing(sqlite3.connect(f"{database.resolve().as_uri()}?mode=ro", uri=True)) as connection:
        try:
            return {slug for (slug,) in connection.execute("SELECT slug FROM fleet_fleet")}
        except sqlite3.OperationalError as error:
            if "no such table" in str(error):
                return set()
            raise CannotStart(f"{database} cannot be read: {error}.") from error
        except sqlite3.DatabaseError as error:
            raise CannotStart(f"{database} is not a database of this service: {error}.") from error


def _marked(folder: Path) -> set[str]:
    try:
        return set(json.loads((folder / MARKER).read_text())["fleets"])
    except FileNotFoundError:
        return set()
    except (ValueError, KeyError, TypeError) as error:
        raise CannotStart(f"{folder / MARKER} cannot be read; delete it if {folder} is only a demo's.") from error


def write_shell_file(
    folder: Path, *, url: str, tokens: Mapping[str, str], people: Mapping[str, tuple[str, str]]
) -> Path:
    """A file for `source`: the service's URL, a token per role, and the names and passwords of its people; readable by
    its owner only."""
    path = folder / SHELL_FILE
    path.touch(mode=0o600)
    known = {"URL": url} | {role.upper(): token for role, token in tokens.items()}
    for role, (username, password) in people.items():
        known |= {f"{role.upper()}_NAME": username, f"{role.upper()}_PASSWORD": password}
    path.write_text("".join(_exports(known.items())))
    return path


def _exports(pairs: Iterable[tuple[str, str]]) -> Iterable[str]:
    return (f"export {name}={value}\n" for name, value in pairs)
