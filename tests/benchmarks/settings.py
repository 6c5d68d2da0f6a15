"""The service's own settings, with two more routes: what a benchmark compares with has to be served by the same
processes."""

from fleet.settings import *  # noqa: F403

ROOT_URLCONF = "tests.benchmarks.urls"
