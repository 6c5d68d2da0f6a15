"""One PostgreSQL, one Redis and one set of processes for all faults; whoever breaks something mends it again."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.faults.ground import Broker, Postgres, folder
from tests.faults.processes import Service
from tests.faults.receivers import Receivers
from tests.faults.stage import Stage


@pytest.fixture(scope="session")
def is_short(pytestconfig: pytest.Config) -> bool:
    """Whether this is the short part: `pytest -m short`."""
    return bool(pytestconfig.getoption("markexpr") == "short")


@pytest.fixture(scope="session")
def often(is_short: bool) -> Callable[[int, int], int]:
    """How often a fault is made: `often(in the short part, in the whole run)`."""
    return lambda short, whole: short if is_short else whole


@pytest.fixture(scope="session")
def place() -> Iterator[Path]:
    with folder() as made:
        yield made


@pytest.fixture(scope="session")
def postgres(place: Path) -> Iterator[Postgres]:
    server = Postgres(place)
    server.start()
    yield server
    if server.running():
        server.stop("immediate")


@pytest.fixture(scope="session")
def broker(place: Path) -> Iterator[Broker]:
    redis = Broker(place)
    redis.start()
    yield redis
    redis.kill()


@pytest.fixture(scope="session")
def receivers(place: Path) -> Iterator[Receivers]:
    with Receivers(place) as both:
        yield both


@pytest.fixture(scope="session")
def whole(place: Path, postgres: Postgres, broker: Broker, receivers: Receivers, is_short: bool) -> Iterator[Stage]:
    """The production service, running. In the short part the sweep looks more often, so that less is waited for."""
    settings = Stage.settings(postgres.make_database("faults"), broker.url, receivers)
    service = Service(place, settings | ({"WARMGATE_SWEEP_INTERVAL_S": "0.5"} if is_short else {}))
    stage = Stage(service, postgres, broker, receivers, database="faults")
    service.migrate()
    service.start_all()
    yield stage
    service.stop()


@pytest.fixture
def stage(whole: Stage, request: pytest.FixtureRequest) -> Iterator[Stage]:
    """The same, with everything well at the beginning and mended at the end."""
    whole.receivers.take_all()
    yield whole
    whole.receivers.take_all()
    whole.mend()


@pytest.hookimpl(hookwrapper=True)
def pytest_runtest_makereport(item: pytest.Item) -> Iterator[None]:
    """After a failure: the end of every process's log."""
    outcome = yield
    report = outcome.get_result()  # type: ignore[attr-defined]
    if report.failed and "place" in getattr(item, "fixturenames", ()):
        for log in sorted(item.funcargs["place"].glob("*.log")):  # type: ignore[attr-defined]
            sys.stderr.write(f"--- {log.name}\n{log.read_text(errors='replace')[-2500:]}\n")
