"""The service's own processes, as docker-compose.yml starts them, each in a process group that can be killed whole."""

from __future__ import annotations

import contextlib
import http.client
import json
import os
import signal
import subprocess
import sys
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from fleet.embedded.receivers import HOST, free_port
from tests.waiting import wait_for

ROOT = Path(__file__).resolve().parents[2]
START_S = 60.0


def _tool(name: str) -> str:
    return str(Path(sys.executable).with_name(name))


@dataclass(slots=True)
class Service:
    """Web, workers and sweep on one database and broker; nothing of the environment's own WARMGATE_* counts."""

    folder: Path
    settings: dict[str, str]
    web_port: int = field(default_factory=free_port)
    running: dict[str, subprocess.Popen[bytes]] = field(default_factory=dict)
    _founder: subprocess.Popen[str] | None = None

    def environment(self, **more: str) -> dict[str, str]:
        clean = {name: value for name, value in os.environ.items() if not name.startswith(("WARMGATE_", "DJANGO_"))}
        own = {
            "DJANGO_SETTINGS_MODULE": "fleet.settings",
            "PYTHONPATH": str(ROOT),
            "PYTHONUNBUFFERED": "1",
            "PYTHONDONTWRITEBYTECODE": "",  # processes are started many times: compile once
            "WARMGATE_STATE_DIR": str(self.folder / "state"),
            "WARMGATE_SECRET_KEY": "faults-only-" + "0123456789abcdef" * 4,
            "WARMGATE_ALLOWED_HOSTS": HOST,
            "WARMGATE_TLS": "0",
            "WARMGATE_SMTP_TLS": "0",
            "WARMGATE_LOG_LEVEL": "INFO",
        }
        return clean | own | self.settings | more

    def run(self, *words: str, **more: str) -> str:
        """`python WORDS` to its end; what it printed."""
        done = subprocess.run(
            [sys.executable, *words], cwd=ROOT, env=self.environment(**more), capture_output=True, text=True,
            check=False, timeout=120,
        )  # fmt: skip
        if done.returncode:
            raise RuntimeError(f"{' '.join(words)} failed:\n{done.stdout[-1500:]}{done.stderr[-3000:]}")
        return done.stdout

    def migrate(self) -> None:
        self.run("manage.py", "migrate", "--noinput", "--verbosity", "0")

    def found(self, **wanted: Any) -> list[dict[str, Any]]:
        """Fleets with units and trips, ready to be told of events; the process that makes them (found.py) stays."""
        if self._founder is None:
            with (self.folder / "found.log").open("ab") as log:
                self._founder = subprocess.Popen(
                    [sys.executable, "-m", "tests.faults.found"], cwd=ROOT, env=self.environment(), text=True,
                    stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=log, start_new_session=True,
                )  # fmt: skip
        assert self._founder.stdin is not None
        assert self._founder.stdout is not None
        self._founder.stdin.write(json.dumps(wanted) + "\n")
        self._founder.stdin.flush()
        made: list[dict[str, Any]] = json.loads(self._founder.stdout.readline() or "[]")
        if not made:
            raise RuntimeError(f"no fleets were made:\n{self.logged('found')[-3000:]}")
        return made

    def start(self, name: str, *command: str, **more: str) -> None:
        with (self.folder / f"{name}.log").open("ab") as log:
            self.running[name] = subprocess.Popen(
                command, cwd=ROOT, env=self.environment(**more), stdout=log, stderr=log, start_new_session=True
            )

    def start_web(self, *, workers: int = 2, wait: bool = True, **more: str) -> None:
        self.start(
            "web", _tool("granian"), "--interface", "wsgi", "--host", HOST, "--port", str(self.web_port),
            "--workers", str(workers), "--blocking-threads", "8", "--blocking-threads-idle-timeout", "600",
            "--no-access-log", "fleet.wsgi:application", **more,
        )  # fmt: skip
        if wait:
            wait_for("the web processes", lambda: self.ask("/readyz")[0] == 200, within_s=START_S)

    def start_worker(
        self, queue: str, *, wait: bool = True, concurrency: int = 2, wrap: str | None = None, **more: str
    ) -> None:
        """*wrap* names a module that runs the worker's program instead of the interpreter."""
        name = f"worker-{queue}"
        log = self.folder / f"{name}.log"
        before = log.stat().st_size if log.exists() else 0
        wrapped = (sys.executable, "-m", wrap) if wrap else ()
        self.start(
            name, *wrapped, _tool("celery"), "--app", "fleet.celery", "worker", "--queues", queue, "--concurrency",
            str(concurrency), "--loglevel", "INFO", "--hostname", f"{queue}@%h", **more,
        )  # fmt: skip
        if wait:
            wait_for(name, lambda: b" ready." in log.read_bytes()[before:], within_s=START_S)

    def start_sweep(self, name: str = "sweep", **more: str) -> None:
        self.start(name, sys.executable, "manage.py", "sweep", **more)

    def start_all(self) -> None:
        self.start_web(wait=False)
        self.start_worker("assess", wait=False)
        self.start_worker("deliver", wait=False)
        self.start_sweep()
        wait_for("the web processes", lambda: self.ask("/readyz")[0] == 200, within_s=START_S)
        for queue in ("assess", "deliver"):
            log = self.folder / f"worker-{queue}.log"
            wait_for(queue, lambda log=log: b" ready." in log.read_bytes(), within_s=START_S)

    def kill(self, *names: str) -> None:
        """SIGKILL to the whole group, as a machine that loses its power."""
        for name in names:
            process = self.running.pop(name)
            with contextlib.suppress(ProcessLookupError):
                os.killpg(process.pid, signal.SIGKILL)
            process.wait(10)

    def stop(self) -> None:
        """Nothing of it runs any more. What it was at is thrown away with its folder."""
        self.kill(*self.running)
        if self._founder is not None:
            self._founder.kill()
            self._founder.communicate()
            self._founder = None

    def alive(self) -> list[str]:
        return sorted(name for name, process in self.running.items() if process.poll() is None)

    def logged(self, name: str) -> str:
        return (self.folder / f"{name}.log").read_text(errors="replace")

    def ask(self, path: str, *, timeout_s: float = 5.0) -> tuple[int, dict[str, str], bytes]:
        """A GET; status 0 where nobody answers."""
        connection = http.client.HTTPConnection(HOST, self.web_port, timeout=timeout_s)
        try:
            connection.request("GET", path)
            answer = connection.getresponse()
            return answer.status, dict(answer.headers), answer.read()
        except (OSError, http.client.HTTPException):
            return 0, {}, b""
        finally:
            connection.close()
