"""Keeps the finished chunks of a calibration in a file, so that one that was stopped goes on where it was.

A chunk counts only for the code that made it: the file's name carries a digest of model and simulator.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from hashlib import sha256
from pathlib import Path

import numpy as np

import fleet.simulator
import thermal
from thermal.adapter.calibration import CHUNK, chunk_of
from thermal.ranges import Array

Part = tuple[Array, Array, Array]


class Chunks:
    """Chunks of one seed and one state of the code, in the order in which they were made."""

    def __init__(self, folder: Path, *, seed: int) -> None:
        self.path = folder / f"calibrate-{seed}-{code_digest()[:12]}.jsonl"
        self.seed = seed
        self._known = dict(self._stored())

    def done(self, *, worlds: int) -> int:
        """How many worlds of this run are there already."""
        return sum(size for start, size in _spans(worlds) if (start, size) in self._known)

    def run(self, *, worlds: int) -> Iterator[Part]:
        """Every chunk of the run: those of an earlier one from the file, the others made and added to it."""
        for start, size in _spans(worlds):
            part = self._known.get((start, size))
            if part is None:
                part = chunk_of(self.seed + start, size)
                self._add(start, part)
            yield part

    def drop(self) -> None:
        """The run is over: nothing is kept for the next."""
        self.path.unlink(missing_ok=True)

    def _add(self, start: int, part: Part) -> None:
        line = json.dumps({"start": start, "columns": [column.tolist() for column in part]})
        self.path.parent.mkdir(parents=True, exist_ok=True)
        with self.path.open("a", encoding="utf-8") as out:
            out.write(line + "\n")

    def _stored(self) -> Iterator[tuple[tuple[int, int], Part]]:
        """What the file holds; a last line that was cut off while it was written does not count."""
        if not self.path.exists():
            return
        for line in self.path.read_text(encoding="utf-8").splitlines():
            try:
                stored = json.loads(line)
            except ValueError:
                continue
            said, happened, stops = (np.array(column) for column in stored["columns"])
            yield (stored["start"], len(said)), (said, happened, stops)


def _spans(worlds: int) -> Iterator[tuple[int, int]]:
    for start in range(0, worlds, CHUNK):
        yield start, min(CHUNK, worlds - start)


def code_digest() -> str:
    """SHA-256 of the sources that decide what a chunk holds."""
    digest = sha256()
    for package in (thermal, fleet.simulator):
        folder = Path(str(package.__file__)).parent
        for path in sorted([*folder.glob("*.py"), *folder.glob("*.npy"), *folder.glob("*.csv")]):
            digest.update(path.name.encode() + b"\0" + path.read_bytes())
    return digest.hexdigest()
