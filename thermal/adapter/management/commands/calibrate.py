"""`manage.py calibrate`: draws worlds, simulates them, and says how far the score can be believed."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser

from fleet.progress import Watched
from thermal.adapter.calibration import Reliability, by_stops, reliability, table
from thermal.adapter.chunks import Chunks

PAGE = "calibration.md"
CHART = "calibration.svg"


class Command(BaseCommand):
    help = "Compares scores with simulated outcomes: reliability table, Brier score, skill, and a diagram in docs/."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--worlds", type=int, default=4000)
        parser.add_argument("--seed", type=int, default=20270112)
        parser.add_argument("--write", action="store_true", help=f"write docs/{PAGE} and docs/{CHART}")

    def handle(self, *args: Any, **options: Any) -> None:
        worlds, seed = options["worlds"], options["seed"]
        if not 100 <= worlds <= 100_000:
            raise CommandError("--worlds must be from 100 to 100000")
        chunks = Chunks(Path(settings.STATE_DIR), seed=seed)
        parts = []
        go_on = "Finished worlds are kept: the same command goes on from there."
        with Watched("worlds", total=worlds, go_on=go_on, skipped=chunks.done(worlds=worlds)) as watched:
            done = 0
            for part in chunks.run(worlds=worlds):
                parts.append(part)
                done += len(part[0])
                watched.to(max(done, watched.skipped))
        chunks.drop()
        said, happened, stops = (np.concatenate(column) for column in zip(*parts, strict=True))
        result = reliability(said, happened)
        doors = by_stops(said, happened, stops)
        self.stdout.write("\n" + "\n\n".join([summary(result), table(result), doors]) + "\n")
        if options["write"]:
            docs = Path(settings.BASE_DIR) / "docs"
            draw(result, docs / CHART)
            (docs / PAGE).write_text(page(result, doors, worlds=worlds, seed=seed))
            self.stdout.write(f"Written: docs/{PAGE}, docs/{CHART}\n")


def summary(result: Reliability) -> str:
    return (
        f"{result.n} worlds: said {100 * result.mean_predicted:.2f} % on average, came true "
        f"{100 * result.base_rate:.2f} % (z = {result.z_total:+.2f}). Brier score {result.brier:.4f} "
        f"(perfectly calibrated chances of these values: {result.brier_expected:.4f}), skill over the base rate "
        f"{result.skill:.3f}, expected calibration error {100 * result.calibration_error:.2f} points."
    )


def page(result: Reliability, doors: str, *, worlds: int, seed: int) -> str:
    """docs/calibration.md: what was run, what came out, and what it does not prove."""
    off = [b for b in result.bins if abs(b.deviation) > 2]
    limits = (
        "No bin is off by more than two standard deviations."
        if not off
        else "Off by more than two standard deviations: "
        + "; ".join(
            f"{100 * b.low:g}–{100 * b.high:g} % (said {100 * b.predicted:.1f}, came true {100 * b.observed:.1f})"
            for b in off
        )
        + f". Of {len(result.bins)} bins about one in twenty is expected to be."
    )
    return "\n".join(
        [
            "# Calibration of the score",
            "",
            f"Made by `uv run manage.py calibrate --worlds {worlds} --seed {seed} --write`. Each world is one drawn",
            "trip; the model says a chance, the simulator (resolved on/off cycles, no code shared with the model) says",
            "what happened once.",
            "",
            summary(result),
            "",
            "![reliability diagram](calibration.svg)",
            "",
            table(result),
            "",
            "## Limits",
            "",
            limits,
            "",
            "The score is a little pessimistic, and more so the more often the doors open: the model holds the air",
            "that a door lets through at the difference between set point and ambient, while in the simulator, as in a",
            "box, the flow falls as the air inside cools. That is the safe side, and it is what the low bins show.",
            "",
            doors,
            "",
            "Model and simulator draw from the same assumed spreads and failure rates. This proves the arithmetic and",
            "the averaging of the score, not that the assumptions are those of a real fleet. A carrier's own outcomes",
            "have to do that.",
            "",
        ]
    )


def draw(result: Reliability, path: Path) -> None:
    """The reliability diagram: said against came true, with the spread that chance alone allows."""
    import matplotlib as mpl

    mpl.use("Agg")
    mpl.rcParams["svg.hashsalt"] = "warmgate"
    import matplotlib.pyplot as plt

    said = np.array([100 * b.predicted for b in result.bins])
    true = np.array([100 * b.observed for b in result.bins])
    spread = np.array([196 * np.sqrt(max(b.predicted * (1 - b.predicted), 1e-9) / b.n) for b in result.bins])
    figure, axes = plt.subplots(figsize=(6.4, 5.6), layout="constrained")
    axes.plot([0, 100], [0, 100], color="0.6", linewidth=1, label="what was said came true")
    axes.errorbar(
        said, true, yerr=spread, fmt="o", markersize=4, capsize=2, color="#1f5673", label="bin, 95 % by chance"
    )
    axes.set(xlabel="said: chance to arrive undamaged [%]", ylabel="came true [%]", xlim=(-2, 102), ylim=(-2, 104))
    axes.set_title(f"{result.n} simulated trips, skill {result.skill:.2f}")
    axes.legend(loc="upper left", frameon=False)
    axes.grid(color="0.9")
    figure.savefig(path, metadata={"Date": None})
    plt.close(figure)
