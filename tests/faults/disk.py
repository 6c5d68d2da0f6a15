"""A disk of a few MiB in memory that can be filled to its last byte and emptied again."""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest


@dataclass(frozen=True, slots=True)
class SmallDisk:
    folder: Path

    @property
    def _filler(self) -> Path:
        return self.folder / "filler"

    @property
    def free_bytes(self) -> int:
        return shutil.disk_usage(self.folder).free

    def fill(self) -> None:
        """Takes what is left."""
        with self._filler.open("ab") as file:
            while left := self.free_bytes:
                os.posix_fallocate(file.fileno(), os.fstat(file.fileno()).st_size, left)

    def make_room(self) -> None:
        self._filler.unlink()

    def grow(self, *, mib: int) -> None:
        """As an operator does who gives the disk more."""
        _run("mount", "-o", f"remount,size={mib}m", str(self.folder))


def _run(*command: str) -> str:
    """What it complained of; "" when it worked."""
    try:
        done = subprocess.run(command, capture_output=True, text=True, check=False)
    except OSError as error:
        return str(error)
    return done.stderr.strip().partition("\n")[0] or "failed" if done.returncode else ""


@contextmanager
def small_disk(folder: Path, *, mib: int) -> Iterator[SmallDisk]:
    """An empty disk at *folder*; the test is skipped where we may not mount one."""
    folder.mkdir(parents=True, exist_ok=True)
    if refusal := _run("mount", "-t", "tmpfs", "-o", f"size={mib}m,mode=0755", "tmpfs", str(folder)):
        pytest.skip(f"a small disk needs the right to mount one: {refusal}")
    try:
        yield SmallDisk(folder)
    finally:
        _run("umount", "--lazy", str(folder))
