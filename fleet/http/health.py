"""`/livez`: the process answers. `/readyz`: the database answers and has the schema this code expects.

The broker is not asked: without it everything still works, later (the sweep does what the bell would have).
"""

import logging
import time

from django.db import DatabaseError, InterfaceError, connection
from django.db.migrations.executor import MigrationExecutor
from django.http import HttpRequest, HttpResponse, JsonResponse

from fleet.http.problems import problem_response, read_only

logger = logging.getLogger("warmgate.health")

MIGRATIONS_ASKED_EVERY_S = 60.0
_migrated_until = 0.0  # monotonic time until which "all migrations are applied" is believed


@read_only
def livez(request: HttpRequest) -> HttpResponse:
    """Touches nothing: a restart helps only if this does not answer."""
    return JsonResponse({"status": "live"})


@read_only
def readyz(request: HttpRequest) -> HttpResponse:
    """503 while the database is away or behind."""
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
            cursor.fetchone()
        missing = unapplied_migrations()
    except (DatabaseError, InterfaceError) as error:
        logger.warning("not ready: %s", type(error).__name__)
        return _not_ready(request, "The database does not answer.")
    if missing:
        return _not_ready(request, f"{missing} migrations are not applied to the database.")
    return JsonResponse({"status": "ready"})


def _not_ready(request: HttpRequest, detail: str) -> HttpResponse:
    return problem_response(request, "unavailable", detail, headers={"Retry-After": "5"})


def unapplied_migrations() -> int:
    """How many migrations the database lacks. A zero is believed for a minute; anything else is asked
    again."""
    global _migrated_until  # noqa: PLW0603 - one flag per process is the whole cache
    if time.monotonic() < _migrated_until:
        return 0
    executor = MigrationExecutor(connection)
    missing = len(executor.migration_plan(executor.loader.graph.leaf_nodes()))
    if missing == 0:
        _migrated_until = time.monotonic() + MIGRATIONS_ASKED_EVERY_S
    return missing
