"""What a service benchmark stands on: a database of its own, its own processes on free ports, and their end."""

from __future__ import annotations

import http.client
import os
import shutil
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import psycopg

ROOT = Path(__file__).resolve().parents[2]
HOST = "127.0.0.1"
START_S = 30.0
STOP_S = 15.0


def free_port() -> int:
    with socket.socket() as taken:
        taken.bind((HOST, 0))
        return int(taken.getsockname()[1])


@dataclass(slots=True)
class Process:
    """One process this benchmark started."""

    name: str
    popen: subprocess.Popen[bytes]

    def stop(self) -> None:
        if self.popen.poll() is None:
            self.popen.terminate()
            try:
                self.popen.wait(STOP_S)
            except subprocess.TimeoutExpired:
                self.popen.kill()
                self.popen.wait()

    def memory_mb(self) -> float:
        """Proportional memory of the process and its children [MB]; shared pages are counted by share."""
        return sum(_pss_kb(pid) for pid in _family(self.popen.pid)) / 1024


def _family(pid: int) -> list[int]:
    children = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
    return [pid, *(one for child in children for one in _family(int(child)))]


def _pss_kb(pid: int) -> int:
    for line in Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines():
        if line.startswith("Pss:"):
            return int(line.split()[1])
    raise ValueError(f"process {pid} does not say how much memory it takes")


@dataclass(slots=True)
class Ground:
    """Where things are, and the processes that were started."""

    server: str
    """PostgreSQL without a database's name."""
    broker: str
    database: str
    folder: Path
    smtp_port: int
    web_port: int = 0
    processes: list[Process] = field(default_factory=list)

    @property
    def dsn(self) -> str:
        return f"{self.server}/{self.database}"

    def environment(self, **more: str) -> dict[str, str]:
        own = {
            "DJANGO_SETTINGS_MODULE": "tests.benchmarks.settings",
            "PYTHONPATH": str(ROOT),
            "WARMGATE_DATABASE_URL": self.dsn,
            "WARMGATE_BROKER_URL": self.broker,
            "WARMGATE_STATE_DIR": str(self.folder / "state"),
            "WARMGATE_SECRET_KEY": "benchmark-only-" + "0123456789abcdef" * 4,
            "WARMGATE_ALLOWED_HOSTS": HOST,
            "WARMGATE_TLS": "0",
            "WARMGATE_SMTP_HOST": HOST,
            "WARMGATE_SMTP_PORT": str(self.smtp_port),
            "WARMGATE_SMTP_TLS": "0",
            "WARMGATE_LOG_LEVEL": "WARNING",
        }
        return {**os.environ, **own, **more}

    def start(self, name: str, *command: str, **more: str) -> Process:
        log = (self.folder / f"{name}.log").open("ab")
        popen = subprocess.Popen(command, cwd=ROOT, env=self.environment(**more), stdout=log, stderr=log)
        process = Process(name, popen)
        self.processes.append(process)
        return process

    def stop(self, *names: str) -> None:
        for process in [one for one in self.processes if one.name in names]:
            process.stop()
            self.processes.remove(process)

    def start_web(self, **more: str) -> Process:
        self.web_port = free_port()
        web = self.start(
            "web", _tool("granian"), "--interface", "wsgi", "--host", HOST, "--port", str(self.web_port),
            "--workers", "2", "--blocking-threads", "8", "--blocking-threads-idle-timeout", "600",
            "--no-access-log", "fleet.wsgi:application", **more,
        )  # fmt: skip
        until = time.monotonic() + START_S
        while time.monotonic() < until:
            if web.popen.poll() is not None:
                break
            try:
                connection = http.client.HTTPConnection(HOST, self.web_port, timeout=2)
                connection.request("GET", "/readyz")
                if connection.getresponse().status == 200:
                    return web
            except OSError:
                time.sleep(0.2)
        raise RuntimeError("the web processes did not start:\n" + (self.folder / "web.log").read_text()[-3000:])

    def start_workers(self) -> None:
        """Starts both workers and waits until they listen to the broker."""
        celery = (_tool("celery"), "--app", "fleet.celery", "worker", "--loglevel", "INFO", "--concurrency", "1")
        for name, queue in (("worker", "assess"), ("deliver", "deliver")):
            self.start(name, *celery, "--queues", queue, "--hostname", f"{queue}@%h")
        until = time.monotonic() + START_S
        while not all(" ready." in (self.folder / f"{name}.log").read_text() for name in ("worker", "deliver")):
            if time.monotonic() > until:
                raise RuntimeError("the workers did not start")
            time.sleep(0.2)

    def start_sweep(self) -> Process:
        return self.start("sweep", sys.executable, "manage.py", "sweep")


def _tool(name: str) -> str:
    return str(Path(sys.executable).with_name(name))


@contextmanager
def ground(*, smtp_port: int) -> Iterator[Ground]:
    """A migrated database that is dropped at the end, whatever happens; ends only what was started here."""
    server = os.environ.get("WARMGATE_DATABASE_URL", f"postgresql://postgres@{HOST}:5432/postgres").rsplit("/", 1)[0]
    broker = os.environ.get("WARMGATE_BROKER_URL", f"redis://{HOST}:6379/14")
    made = Ground(
        server, broker, f"warmgate_bench_{os.getpid()}", Path(tempfile.mkdtemp(prefix="warmgate-bench-")), smtp_port
    )
    with psycopg.connect(f"{server}/postgres", autocommit=True) as admin:
        admin.execute(f'CREATE DATABASE "{made.database}"')
    try:
        yield made
    except Exception:
        for log in sorted(made.folder.glob("*.log")):
            sys.stderr.write(f"--- {log.name}\n{log.read_text(errors='replace')[-3000:]}\n")
        raise
    finally:
        for process in reversed(made.processes):
            process.stop()
        with psycopg.connect(f"{server}/postgres", autocommit=True) as admin:
            admin.execute(f'DROP DATABASE IF EXISTS "{made.database}" WITH (FORCE)')
        shutil.rmtree(made.folder, ignore_errors=True)
