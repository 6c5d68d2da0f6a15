"""Counters and `/metrics` in the Prometheus text format.

Each process counts for itself. With several web processes set PROMETHEUS_MULTIPROC_DIR (prometheus_client's
own variable): the processes then share files in that folder and any of them answers for all.
"""

import os
from hmac import compare_digest

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from prometheus_client import CONTENT_TYPE_LATEST, REGISTRY, CollectorRegistry, Counter, Histogram, generate_latest
from prometheus_client.multiprocess import MultiProcessCollector

from fleet.http.problems import problem_response, read_only

REQUEST_SECONDS = Histogram(
    "warmgate_http_request_seconds",
    "Duration of HTTP requests.",
    ["method", "route", "status"],
    buckets=(0.002, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 5, 10),
)
SHED = Counter("warmgate_shed_total", "Requests refused because too many were at work (fleet.http.overload).")
_METHODS = frozenset({"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"})


def observe_request(*, method: str, route: str, status: int, seconds: float) -> None:
    """Count one request. Invented methods share one label, so that a stranger cannot fill the memory."""
    label = method if method in _METHODS else "other"
    REQUEST_SECONDS.labels(label, route, str(status)).observe(seconds)


@read_only
def metrics(request: HttpRequest) -> HttpResponse:
    """All metrics of the process (or of all processes). With METRICS_TOKEN set, only for its bearer."""
    expected = settings.METRICS_TOKEN
    if expected:
        given = request.headers.get("Authorization", "")
        if not compare_digest(given.encode(), f"Bearer {expected}".encode()):
            headers = {"WWW-Authenticate": 'Bearer realm="metrics"'}
            return problem_response(request, "not-authenticated", "Send the metrics token.", headers=headers)
    registry = REGISTRY
    if os.environ.get("PROMETHEUS_MULTIPROC_DIR"):
        registry = CollectorRegistry()
        MultiProcessCollector(registry)
    return HttpResponse(generate_latest(registry), content_type=CONTENT_TYPE_LATEST)
