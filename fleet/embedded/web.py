"""The web server of the embedded service: waitress in a thread that can be asked to stop."""

from __future__ import annotations

import errno
import threading
from typing import Any

from waitress import wasyncore
from waitress.server import create_server

from fleet.embedded.errors import CannotStart

THREADS = 8
"""More than fleet.http.overload lets batches of events have."""
NEXT_PORTS = 20
"""Without an asked-for port, so many ports after the usual one are tried."""
LOOK_S = 0.2
"""How often the loop looks whether it is to stop; requests do not wait for it."""


class Web:
    """Listens from construction on, serves from `start()` to `stop()`."""

    def __init__(self, application: Any, *, host: str, port: int, take_next: bool) -> None:
        """Binds the port; 0 takes a free one, *take_next* also one of the next. *Raises* CannotStart."""
        self._map: dict[int, Any] = {}
        self._server = self._bind(application, host, _ports(port, take_next=take_next))
        self.host, self.port = host, int(self._server.effective_port)
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="web", daemon=True)

    def _bind(self, application: Any, host: str, ports: range) -> Any:
        for port in ports:
            try:
                return create_server(
                    application,
                    map=self._map,
                    host=host,
                    port=port,
                    threads=THREADS,
                    ident=None,
                    clear_untrusted_proxy_headers=True,
                )
            except OSError as error:
                wasyncore.close_all(self._map)
                if error.errno not in (errno.EADDRINUSE, errno.EACCES):
                    raise CannotStart(f"Cannot listen on {host}:{port}: {error.strerror}.") from error
        tried = f"{ports[0]}" if len(ports) == 1 else f"{ports[0]} to {ports[-1]}"
        raise CannotStart(f"Port {tried} of {host} is taken. Choose another with --port, or --port 0 for a free one.")

    @property
    def url(self) -> str:
        return f"http://{self.host}:{self.port}"

    def start(self) -> None:
        self._thread.start()

    def stop(self, *, timeout_s: float = 10) -> bool:
        """Takes no more requests and lets those at work finish; whether the thread ended in time."""
        self._stopping.set()
        self._thread.join(timeout_s)
        return not self._thread.is_alive()

    def _run(self) -> None:
        while not self._stopping.is_set():
            wasyncore.loop(timeout=LOOK_S, map=self._map, count=1)
        self._server.task_dispatcher.shutdown(cancel_pending=True, timeout=5)
        wasyncore.close_all(self._map)


def _ports(port: int, *, take_next: bool) -> range:
    return range(port, min(port + NEXT_PORTS, 65536)) if take_next and port else range(port, port + 1)
