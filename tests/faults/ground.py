"""A PostgreSQL and a Redis of our own: private ports and folders, to be stopped, flushed, frozen and killed at will.

The machine's own servers are never touched. PostgreSQL refuses to run as root; there it runs as the user that its
package made.
"""

from __future__ import annotations

import os
import pwd
import shutil
import signal
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import psycopg
import redis

from fleet.embedded.receivers import HOST, free_port

UNPRIVILEGED = ("postgres", "nobody")


def tool_path(name: str) -> str:
    """Where a server's program is; Debian keeps PostgreSQL's out of the PATH."""
    if found := shutil.which(name):
        return found
    kept = sorted(Path("/usr/lib/postgresql").glob(f"*/bin/{name}"), key=lambda path: int(path.parts[-3]))
    if not kept:
        raise RuntimeError(f"{name} is not installed: the faults need PostgreSQL and Redis on this machine.")
    return str(kept[-1])


def _unprivileged() -> pwd.struct_passwd | None:
    """Whom PostgreSQL runs as when we are root; None when we are not."""
    if os.getuid() != 0:
        return None
    known = {user.pw_name: user for user in pwd.getpwall()}
    return next(known[name] for name in UNPRIVILEGED if name in known)


@contextmanager
def folder() -> Iterator[Path]:
    """A folder that the unprivileged user may enter as well, removed at the end."""
    made = Path(tempfile.mkdtemp(prefix="warmgate-faults-"))
    made.chmod(0o755)
    try:
        yield made
    finally:
        if not os.environ.get("FAULTS_KEEP"):  # to read the logs afterwards
            shutil.rmtree(made, ignore_errors=True)


class Postgres:
    """One cluster of its own, from `start()` to `stop()`, as often as wanted, always on the same port."""

    def __init__(self, where: Path, *, connections: int = 60) -> None:
        self.data, self.port = where / "pg", free_port()
        self._options = (
            f"-c listen_addresses={HOST} -c port={self.port} -c unix_socket_directories={self.data} "
            f"-c max_connections={connections} -c shared_buffers=128MB"
        )
        self.data.mkdir()
        user = _unprivileged()
        if user is not None:
            os.chown(self.data, user.pw_uid, user.pw_gid)
        self._as = ["setpriv", f"--reuid={user.pw_uid}", f"--regid={user.pw_gid}", "--clear-groups"] if user else []
        self._run("initdb", "--pgdata", str(self.data), "--username=postgres", "--auth=trust", "--no-sync")

    def _run(self, tool: str, *words: str) -> None:
        command = [*self._as, tool_path(tool), *words]
        done = subprocess.run(command, capture_output=True, text=True, cwd=self.data, check=False)
        if done.returncode:
            raise RuntimeError(f"{tool} failed: {done.stdout}{done.stderr}")

    def server_dsn(self, database: str = "postgres") -> str:
        return f"postgresql://postgres@{HOST}:{self.port}/{database}"

    def start(self) -> None:
        log = str(self.data / "server.log")
        self._run("pg_ctl", "start", "--pgdata", str(self.data), "--log", log, "--wait", "--options", self._options)

    def stop(self, how: str = "fast") -> None:
        """*how* "immediate" is a crash: no checkpoint, connections cut."""
        self._run("pg_ctl", "stop", "--pgdata", str(self.data), "--mode", how, "--wait")

    def running(self) -> bool:
        return (self.data / "postmaster.pid").exists()

    def make_database(self, name: str) -> str:
        """An empty database; its address."""
        self.execute(f'CREATE DATABASE "{name}"', database="postgres")
        return self.server_dsn(name)

    def execute(self, sql: str, *values: Any, database: str) -> None:
        with psycopg.connect(self.server_dsn(database), autocommit=True) as connection:
            connection.execute(sql.encode(), values or None)


class Broker:
    """A Redis of its own, on one port, without a disk; `stop` and `start` empty it."""

    def __init__(self, where: Path) -> None:
        self.port, self._where = free_port(), where
        self._popen: subprocess.Popen[bytes] | None = None

    @property
    def url(self) -> str:
        return f"redis://{HOST}:{self.port}/0"

    def start(self) -> None:
        command = [tool_path("redis-server"), "--bind", HOST, "--port", str(self.port), "--save", ""]
        command += ["--appendonly", "no", "--dir", str(self._where)]
        with (self._where / "redis.log").open("ab") as log:
            self._popen = subprocess.Popen(command, stdout=log, stderr=log)
        until = time.monotonic() + 10
        while not self.answers():
            if time.monotonic() > until:
                raise RuntimeError("Redis did not start")
            time.sleep(0.05)

    def answers(self) -> bool:
        try:
            with redis.Redis(host=HOST, port=self.port, socket_timeout=1, socket_connect_timeout=1) as client:
                return bool(client.ping())
        except redis.exceptions.RedisError:
            return False

    def flush(self) -> None:
        with redis.Redis(host=HOST, port=self.port) as client:
            client.flushall()

    def listeners(self) -> int:
        """Clients that wait for a message at this moment."""
        with redis.Redis(host=HOST, port=self.port) as client:
            return int(client.info("clients")["blocked_clients"])

    def freeze(self) -> None:
        """It keeps its connections and answers nobody."""
        assert self._popen is not None
        self._popen.send_signal(signal.SIGSTOP)

    def thaw(self) -> None:
        assert self._popen is not None
        self._popen.send_signal(signal.SIGCONT)

    def kill(self) -> None:
        if self._popen is not None:
            self._popen.send_signal(signal.SIGCONT)
            self._popen.kill()
            self._popen.wait()
            self._popen = None
