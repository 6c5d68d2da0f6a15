"""`manage.py prove_learning`: learning against simulated fleets whose truth is known."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser

from thermal.adapter.learning.proof import Proof, steps
from thermal.adapter.learning.report import draw, tables

PAGE = "learning-proof.md"
HEAD = """# Learning, held against truth

Made by `uv run manage.py prove_learning --units {units} --write`; seeds are fixed. Simulated fleets whose truth is
known (`fleet/simulator/histories.py`, no code shared with the model): people, doors, loads, sensors with offsets,
drift and stuck spells. Tuning used seeds below 100, made-up winters and the Northway winter of 2019; these tables use
seeds from 7100 on, typical winters and a made-up mild one, and boxes whose films, lining, contact and motion differ
half as much again from the defaults. What learning does and where it fails is in [learning.md](learning.md).

"Heat balance" is heat lost over heat given (UA/Q) relative to truth; "z sd" is the rms of error over stated sd: 1 is
honest, below is cautious. The plain rule is air 4 K below the set point for 30 minutes, unit on, doors shut where
they report.

![error over days](plots/learning-k.svg)

![how soon a loss of heat is found](plots/learning-delay.svg)

"""


class Command(BaseCommand):
    help = "Learns from simulated fleets and compares with the truth: tables, and plots in docs/."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--units", type=int, default=60, help="units in each fleet (8 to 400)")
        parser.add_argument("--write", action="store_true", help=f"write docs/{PAGE} and docs/plots/")

    def handle(self, *args: Any, **options: Any) -> None:
        units = options["units"]
        if not 8 <= units <= 400:
            raise CommandError("--units must be from 8 to 400")
        proof, base = Proof(), Path(settings.BASE_DIR)
        parts = list(steps(base / "fixtures" / "weather", units=units))
        started = time.monotonic()
        for done, (name, run) in enumerate(parts, start=1):
            run(proof)
            passed = time.monotonic() - started
            left = passed / done * (len(parts) - done)
            self.stderr.write(f"{done}/{len(parts)} {name}: {passed:.0f} s, about {left:.0f} s left")
        text = tables(proof)
        self.stdout.write(text)
        if options["write"]:
            draw(proof, base / "docs" / "plots")
            (base / "docs" / PAGE).write_text(HEAD.format(units=units) + text + "\n")
            self.stdout.write(f"\nWritten: docs/{PAGE}, docs/plots/")
