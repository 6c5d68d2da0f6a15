"""Celery workers of the embedded service: one thread per queue, woken through the in-process broker.

`WorkController` is the worker without signal handlers; the solo pool runs tasks in the worker's own thread. Delivery
has a thread of its own, so that a receiver that hangs never keeps an assessment waiting.
"""

from __future__ import annotations

import logging
import threading
import time
from typing import Any

from celery.exceptions import WorkerShutdown
from celery.worker import WorkController, state

from fleet.celery import app

QUEUES = ("assess", "deliver")
START_S = 20.0


class Workers:
    """One worker thread per queue, from `start()` to `stop()`."""

    def __init__(self) -> None:
        self._ready = {queue: threading.Event() for queue in QUEUES}
        self._threads = [
            threading.Thread(target=self._run, args=(queue,), name=f"worker-{queue}", daemon=True) for queue in QUEUES
        ]

    def start(self) -> bool:
        """Starts the threads, one after the other; whether every worker took its queue in time.

        Celery keeps the queues to consume on the application: a worker reads them while it gets ready, so the next
        one may choose its own only after that.
        """
        state.should_stop = None
        # The in-process broker has no host; kombu's warning that it takes "localhost" instead says nothing.
        logging.getLogger("kombu.connection").setLevel(logging.ERROR)
        give_up_at = time.monotonic() + START_S
        for queue, thread in zip(QUEUES, self._threads, strict=True):
            thread.start()
            if not self._ready[queue].wait(max(give_up_at - time.monotonic(), 0)):
                return False
        return True

    def stop(self, *, timeout_s: float = 30) -> bool:
        """Lets each worker finish its task; whether all of them ended in time. An idle one takes up to 2 s."""
        state.should_stop = 0
        give_up_at = time.monotonic() + timeout_s
        for thread in self._threads:
            thread.join(max(give_up_at - time.monotonic(), 0))
        return not any(thread.is_alive() for thread in self._threads)

    def _run(self, queue: str) -> None:
        worker = _controller(queue, ready=self._ready[queue])
        try:
            worker.start()
        except (WorkerShutdown, SystemExit):
            pass
        finally:
            self._ready[queue].set()


def _controller(queue: str, *, ready: threading.Event) -> Any:
    return WorkController(
        app=app,
        hostname=f"{queue}@embedded",
        pool_cls="solo",
        concurrency=1,
        queues=[queue],
        without_mingle=True,
        without_gossip=True,
        without_heartbeat=True,
        loglevel="WARNING",
        ready_callback=lambda _: ready.set(),
    )
