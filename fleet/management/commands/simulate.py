"""manage.py simulate: a fleet that never was, for demos, integrators, benchmarks and calibration."""

from __future__ import annotations

import json
from argparse import ArgumentParser
from contextlib import ExitStack
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import IO, Any

from django.core.management.base import BaseCommand, CommandError

from fleet.progress import Watched
from fleet.simulator.connectivity import QUALITIES
from fleet.simulator.errors import SimulatorError
from fleet.simulator.incidents import CODE_BOOK
from fleet.simulator.output import Outflow, answers_text, fingerprint
from fleet.simulator.posting import Bookmark, Progress, Target, post_lines
from fleet.simulator.quantities import Floats
from fleet.simulator.roster import fleet_file
from fleet.simulator.streams import FleetPlan, FleetStream
from fleet.simulator.weather_file import read_weather

TELL_EVERY = 500


class Command(BaseCommand):
    help = "Simulates a fleet: readings and faults as JSON lines or posted to the service, truth in its own file."
    # It needs no database and must also run on an integrator's machine.
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        fleet = parser.add_argument_group("the fleet")
        fleet.add_argument("--units", type=int, default=20)
        fleet.add_argument("--days", type=int, default=1)
        fleet.add_argument("--start", help="RFC 3339 with offset; default: as many days ago as are simulated")
        fleet.add_argument("--seed", type=int, default=1)
        fleet.add_argument("--prefix", default="SIM", help="unit numbers are PREFIX-0001 and so on")
        fleet.add_argument("--numbers", help="file with one existing unit number per line, used instead")
        fleet.add_argument("--cadence", type=int, default=5, help="minutes between readings of a working unit")
        fleet.add_argument("--weather", help="CSV of hourly temperatures; default: a made-up winter")
        fleet.add_argument("--weather-from", type=int, default=0, help="first hour of that file to use")
        fleet.add_argument("--link", choices=sorted(QUALITIES), default="ordinary")
        files = parser.add_argument_group("files")
        files.add_argument("--out", help="write the events here, one JSON object per line")
        files.add_argument("--truth", help="write what was true here, one JSON object per line")
        files.add_argument("--fleet-file", help="write the unit models, units and code book to create first")
        service = parser.add_argument_group("the service")
        service.add_argument("--post", metavar="URL", help="the events endpoint, ending in /api/v1/events/")
        service.add_argument("--token", help="token of an integrator")
        service.add_argument("--token-file", help="file with that token, to keep it out of the list of processes")
        service.add_argument("--rate", type=float, help="events per second; default: as fast as it takes them")
        service.add_argument("--batch", type=int, default=500)
        service.add_argument("--resume", metavar="FILE", help="remember here how far posting got, and go on there")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            self.simulate(options)
        except SimulatorError as error:
            raise CommandError(str(error)) from None
        except OSError as error:
            raise CommandError(f"{error.filename}: {error.strerror}") from None

    def simulate(self, options: dict[str, Any]) -> None:
        """Do what the options ask for; something must come out."""
        if not any(options[name] for name in ("out", "truth", "fleet_file", "post")):
            raise CommandError("nothing to do: give --out, --truth, --fleet-file or --post")
        if options["out"] and options["post"]:
            raise CommandError("--out and --post: one of the two at a time")
        if options["resume"] and not options["start"]:
            raise CommandError("--resume needs --start: otherwise the stream is another one each time")
        plan = plan_of(options, now=datetime.now(UTC))
        target = target_of(options) if options["post"] else None
        stream = FleetStream(plan)
        if options["fleet_file"]:
            facts = fleet_file(stream.roster, start=plan.start, code_book=CODE_BOOK)
            Path(options["fleet_file"]).write_text(json.dumps(facts, indent=1) + "\n", encoding="utf-8")
        if not any(options[name] for name in ("out", "truth", "post")):
            return
        with ExitStack() as files:
            truth = open_or_none(options["truth"], files)
            flow = Outflow(stream, truth=truth)
            if target is not None:
                self.post(flow, target, options["resume"])
            else:
                self.write(flow, open_or_none(options["out"], files))

    def write(self, flow: Outflow, out: IO[str] | None) -> None:
        """Write all lines to a file (or only the truth, without one)."""
        count = 0
        again = "What is written so far is whole lines; the same command makes all of it anew."
        with Watched("events", total=None, go_on=again) as watched:
            for count, line in enumerate(flow.lines(), start=1):
                if out is not None:
                    out.write(line + "\n")
                if count % TELL_EVERY == 0:
                    watched.to(count, share=flow.done)
        self.stdout.write(f"{count} events simulated")

    def post(self, flow: Outflow, target: Target, state_file: str | None) -> None:
        """Post all lines and print the answers by status."""
        bookmark = Bookmark(Path(state_file) if state_file else None, stream=fingerprint(flow.stream.plan))
        go_on = (
            "The same command goes on from there."
            if state_file
            else "Without --resume FILE the next run begins anew; what was sent is answered as duplicates."
        )
        with Watched("events", total=None, go_on=go_on, skipped=bookmark.read().sent) as watched:

            def report(progress: Progress) -> None:
                watched.to(progress.sent, share=flow.done)

            progress = post_lines(flow.lines(), target=target, bookmark=bookmark, report=report)
        self.stdout.write(answers_text(progress))


def plan_of(options: dict[str, Any], *, now: datetime) -> FleetPlan:
    """Return the plan the options describe."""
    days = options["days"]
    numbers = options["numbers"]
    return FleetPlan(
        units=options["units"],
        days=days,
        start=start_of(options["start"], now=now, days=days),
        seed=options["seed"],
        prefix=options["prefix"],
        numbers=tuple(Path(numbers).read_text(encoding="utf-8").split()) if numbers else None,
        cadence_min=options["cadence"],
        weather_c=weather_of(options["weather"], first=options["weather_from"], hours=days * 24),
        quality=QUALITIES[options["link"]],
    )


def start_of(text: str | None, *, now: datetime, days: int) -> datetime:
    """Return when the simulation begins, in UTC; by default it ends at the last full hour."""
    if text is None:
        return now.replace(minute=0, second=0, microsecond=0) - timedelta(days=days)
    try:
        start = datetime.fromisoformat(text)
    except ValueError:
        raise SimulatorError(f"start: {text} is not a time") from None
    if start.utcoffset() is None:
        raise SimulatorError("start: a time with its offset is required")
    return start.astimezone(UTC)


def weather_of(name: str | None, *, first: int, hours: int) -> Floats | None:
    """Return the hourly series of a weather file, None without one."""
    if name is None:
        return None
    with Path(name).open(encoding="utf-8") as lines:
        return read_weather(lines, hours=hours, first=first)


def target_of(options: dict[str, Any]) -> Target:
    """Return where to post, with the token from the option or its file."""
    token = options["token"]
    if options["token_file"]:
        token = Path(options["token_file"]).read_text(encoding="utf-8").strip()
    if not token:
        raise SimulatorError("post: a token is required (--token or --token-file)")
    return Target(url=options["post"], token=token, batch=options["batch"], rate_per_s=options["rate"])


def open_or_none(name: str | None, files: ExitStack) -> IO[str] | None:
    """Return a file opened for writing, None without a name."""
    return files.enter_context(Path(name).open("w", encoding="utf-8")) if name else None
