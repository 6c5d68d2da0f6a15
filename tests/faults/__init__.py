"""Breaks what the service stands on while it works, and counts what went in and what came out.

    uv run python -m tests.faults            everything, and docs/reliability.md written anew from what it found
    uv run pytest -m short tests/faults     the part that CI runs

PostgreSQL and Redis are started by the tests on ports and in folders of their own. What has arrived is counted from the
files of the receivers, never from the service's tables.
"""
