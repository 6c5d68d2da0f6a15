"""What tests share that call the WSGI application itself instead of going through Django's test client."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import pytest
from django.core.signals import request_finished, request_started
from django.db import close_old_connections


@pytest.fixture
def keep_connection(db: None) -> Iterator[Callable[[], None]]:
    """Call it before the first such request.

    A request of its own closes connections that are in a transaction; the one of a test must live, as it does under
    Django's own test client. That client puts the receivers back each time, hence a call and not a fixture alone.
    """
    signals = (request_started, request_finished)

    def keep() -> None:
        for signal in signals:
            signal.disconnect(close_old_connections)

    yield keep
    for signal in signals:
        signal.connect(close_old_connections)
