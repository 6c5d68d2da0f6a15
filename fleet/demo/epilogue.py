"""What stands at the end: the trips, the addresses, names and passwords, the tokens, and calls to try."""

from __future__ import annotations

from pathlib import Path

from fleet.demo.stage import Stage, first_reason


def tell_epilogue(stage: Stage, *, url: str, shell_file: Path | None) -> None:
    """Prints the closing tables."""
    rows = []
    for trip in reversed(stage.cast.dispatcher.get("trips/")["items"]):
        answer = stage.readiness(trip["reference"])
        reason = first_reason(answer)
        words = "every check passes" if reason is None else reason["message"]
        rows.append((trip["reference"], answer["unit"], trip["state"].replace("_", " "), answer["verdict"], words))
    stage.teller.table("Trips now", ("trip", "unit", "state", "verdict", "first reason"), rows)
    addresses = [
        ("pages for people", f"{url}/"),
        ("API, with every field explained", f"{url}/api/docs/"),
        ("schema (OpenAPI 3.1)", f"{url}/api/schema/"),
        ("counters (Prometheus)", f"{url}/metrics"),
    ]
    stage.teller.table("Look around", ("what", "where"), addresses)
    people = [(role, *stage.cast.people[role]) for role in sorted(stage.cast.people)]
    stage.teller.table("Sign in to the pages", ("role", "name", "password"), people)
    if shell_file is not None:
        _tell_calls(stage, shell_file)
    else:
        stage.teller.table("Tokens", ("role", "token"), list(stage.cast.tokens.items()))


def _tell_calls(stage: Stage, shell_file: Path) -> None:
    """Calls that work when pasted into another terminal."""
    bearer = '-H "Authorization: Bearer $DISPATCHER"'
    calls = [
        ("once per terminal: $URL, and $DISPATCHER, $INSPECTOR, $MANAGER, $INTEGRATOR hold tokens", f". {shell_file}"),
        ("why is T-404 so?", f'curl -s {bearer} "$URL/api/v1/trips/T-404/readiness/"'),
        ("which unit is best for it?", f"curl -s {bearer} --json '{{}}' \"$URL/api/v1/trips/T-404/candidates/\""),
        ("what was held, and why?", f'curl -s {bearer} "$URL/api/v1/holds/"'),
    ]
    stage.teller.commands("Try it in another terminal", calls)
