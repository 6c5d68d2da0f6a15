"""One embedded service per state folder: a lock file the operating system frees when the process dies, however."""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path

from fleet.embedded.errors import CannotStart

if os.name == "nt":
    import msvcrt
else:
    import fcntl


class StateLock:
    """Held from `take()` to `free()` or the end of the process."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._handle: int | None = None

    @property
    def held(self) -> bool:
        return self._handle is not None

    def take(self) -> None:
        """*Raises* CannotStart when another process holds the folder."""
        self.folder.mkdir(parents=True, exist_ok=True)
        handle = os.open(self.folder / "serve.lock", os.O_RDWR | os.O_CREAT, 0o600)
        try:
            _lock(handle)
        except OSError as error:
            os.close(handle)
            raise CannotStart(
                f"Another process (serve or demo) is running on {self.folder}. Stop it, or set WARMGATE_STATE_DIR to "
                "another folder."
            ) from error
        self._handle = handle

    def free(self) -> None:
        if self._handle is not None:
            with suppress(OSError):
                os.close(self._handle)
            self._handle = None


def _lock(handle: int) -> None:
    """Takes the lock without waiting. *Raises* OSError when somebody holds it."""
    if os.name == "nt":
        msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined,unused-ignore]
    else:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
