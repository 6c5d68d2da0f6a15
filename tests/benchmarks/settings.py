"""The service's own settings, with two more routes: what a benchmark compares with has to be served by the same
processes."""

from fleet.settings import *  # noqa: F403

ROOT_URLCONF = "tests.benchmarks.urls"

# A benchmark asks as fast as it can: what refuses floods is not what it measures. Its senders wait for their turn.
RATE_CALLS_PER_MIN = RATE_EVENTS_PER_MIN = RATE_ACTS_PER_MIN = 1_000_000_000
INGEST_WAITING, INGEST_PATIENCE_S = 100, 60.0
