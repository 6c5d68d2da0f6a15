"""docs/learning-proof.md from a proof: tables, what they mean, and two plots."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from thermal.adapter.learning.proof import CLIMATES, TRUE_CHANGES, UPTO_DAYS, Proof, without_doors
from thermal.ranges import Array

INK, SECOND, THIRD = "#1f5673", "#b5542b", "#5b7a3a"


def tables(proof: Proof) -> str:
    """All tables as Markdown."""
    parts = [
        ("K and heat balance after days of ordinary operation", k_table(proof)),
        ("Heat lost in silence", watch_table(proof)),
        ("False alarms of the heat watch", false_table(proof)),
        ("Fuel that no run explains", tank_table(proof)),
        ("Burn", burn_line(proof)),
        ("Changes of box and heater", change_table(proof)),
    ]
    return "\n\n".join(f"## {title}\n\n{body}" for title, body in parts)


def k_table(proof: Proof) -> str:
    lines = [
        "| winter | days | units | heat balance: bias | sd of error | stated sd (rms) | z sd | inside 90 % "
        "| K: sd of error | stated sd | z sd |",
        "|---|---|---|---|---|---|---|---|---|---|---|",
    ]
    for climate in CLIMATES:
        for days in UPTO_DAYS:
            found = np.array(proof.errors.get((climate.name, days), []))
            of = proof.asked.get(climate.name, 0)
            if len(found) < 5:
                lines.append(f"| {climate.name} | {days} | {len(found)} of {of} | – | – | – | – | – | – | – | – |")
                continue
            error, sd, k_error, k_sd = found.T
            z, k_z = error / sd, k_error / k_sd
            lines.append(
                f"| {climate.name} | {days} | {len(found)} of {of} | {_pct(error.mean(), sign=True)} "
                f"| {_pct(error.std())} | {_pct(_rms(sd))} | {_rms(z):.2f} | {_pct(np.mean(np.abs(z) < 1.645), 0)} "
                f"| {_pct(k_error.std())} | {_pct(_rms(k_sd))} | {_rms(k_z):.2f} |"
            )
    return "\n".join(lines)


def watch_table(proof: Proof) -> str:
    lines = [
        "| winter | losses | attend: median, 90 % (min) | stop: median, 90 % (min) | plain rule: median, 90 % (min) "
        "| minutes gained, median | never found: attend, stop, plain |",
        "|---|---|---|---|---|---|---|",
    ]
    for name in sorted(proof.delays):
        attend, stop, plain = np.array(proof.delays[name]).T
        both = np.isfinite(attend) & np.isfinite(plain)
        gained = np.median(plain[both] - attend[both]) if both.any() else math.nan
        never = ", ".join(str(int(np.sum(~np.isfinite(column)))) for column in (attend, stop, plain))
        lines.append(
            f"| {name} | {len(attend)} | {_quantiles(attend)} | {_quantiles(stop)} | {_quantiles(plain)} "
            f"| {gained:.0f} | {never} |"
        )
    return "\n".join(lines)


def false_table(proof: Proof) -> str:
    lines = [
        "| winter | unit-days | alarm | false | per 1 000 unit-days | 95 % interval |",
        "|---|---|---|---|---|---|",
    ]
    for name in sorted(proof.unit_days):
        for kind in ("attend", "stop", "not called"):
            count, days = proof.false.get((name, kind), 0), proof.unit_days[name]
            low, high = (1000 * value / days for value in poisson_interval(count))
            rate = 1000 * count / days
            lines.append(f"| {name} | {days:.0f} | {kind} | {count} | {rate:.1f} | {low:.1f}–{high:.1f} |")
    return "\n".join(lines)


def tank_table(proof: Proof) -> str:
    columns = ("called taken", "called use or fill")
    rows = sorted({row for row, _ in proof.tank})
    lines = [f"| truth | {' | '.join(columns)} |", "|---|---|---|"]
    lines += [f"| {row} | {' | '.join(str(proof.tank.get((row, column), 0)) for column in columns)} |" for row in rows]
    return "\n".join([*lines, "", "The last row of truth counts days without a loss; a called one is a false alarm."])


def burn_line(proof: Proof) -> str:
    error, sd = np.array(proof.burn).T
    return (
        f"{len(error)} units after 14 days: bias {_pct(error.mean(), sign=True)}, sd of error {_pct(error.std())}, "
        f"stated sd {_pct(_rms(sd))}, z sd {_rms(error / sd):.2f}."
    )


def change_table(proof: Proof) -> str:
    lines = [
        "| truth | units | found | days until found: median, 90 % | taken for box / heater / either |",
        "|---|---|---|---|---|",
    ]
    for name, _, _ in TRUE_CHANGES:
        rows = proof.changes.get(name, [])
        days = np.array([delay for delay, _ in rows]) if rows else np.zeros(0)
        taken = " / ".join(str(sum(said == cause for _, said in rows)) for cause in ("box", "heater", "either"))
        found = int(np.sum(np.isfinite(days)))
        lines.append(f"| {name} | {len(rows)} | {found} | {_quantiles(days, 1)} | {taken} |")
    low, high = (1000 * value / proof.quiet_days for value in poisson_interval(proof.false_changes))
    rate = 1000 * proof.false_changes / proof.quiet_days
    text = (
        f"Without a change: {proof.false_changes} found in {proof.quiet_days:.0f} unit-days, {rate:.1f} per 1 000 "
        f"(95 % interval {low:.1f}–{high:.1f})."
    )
    return "\n".join([*lines, "", text])


def poisson_interval(count: int) -> tuple[float, float]:
    """Return a 95 % interval of a Poisson mean after *count* events.

    Notes
    -----
    Wilson-Hilferty approximation of the chi-square limits (Garwood 1936); within 2 % of the exact ones but for the
    lower limit of 1.
    """

    def limit(n: float, z: float) -> float:
        return n * (1 - 1 / (9 * n) + z / (3 * math.sqrt(n))) ** 3 if n > 0 else 0.0

    return limit(count, -1.96), (3.689 if count == 0 else limit(count + 1, 1.96))


def _rms(values: Array) -> float:
    return float(np.sqrt(np.mean(np.square(values))))


def _pct(value: float, digits: int = 1, *, sign: bool = False) -> str:
    return f"{100 * value:+.{digits}f} %" if sign else f"{100 * value:.{digits}f} %"


def _quantiles(values: Array, digits: int = 0) -> str:
    if len(values) == 0:
        return "–"
    found = np.quantile(values, (0.5, 0.9), method="higher")
    return ", ".join("never" if not math.isfinite(value) else f"{value:.{digits}f}" for value in found)


def draw(proof: Proof, folder: Path) -> None:
    """learning-k.svg: error and stated sd over days; learning-delay.svg: how soon a loss is found."""
    import matplotlib as mpl

    mpl.use("Agg")
    mpl.rcParams["svg.hashsalt"] = "warmgate"
    import matplotlib.pyplot as plt

    folder.mkdir(exist_ok=True)
    figure, axes = plt.subplots(figsize=(6.4, 4.4), layout="constrained")
    for climate, colour in zip(CLIMATES, (INK, THIRD, SECOND), strict=True):
        known = [days for days in UPTO_DAYS if len(proof.errors.get((climate.name, days), [])) >= 5]
        found = [np.array(proof.errors[climate.name, days]) for days in known]
        axes.plot(known, [100 * _rms(rows[:, 0]) for rows in found], "o-", color=colour, label=climate.name)
        axes.plot(known, [100 * _rms(rows[:, 1]) for rows in found], "--", color=colour, linewidth=1)
    axes.set(xlabel="days of operation", ylabel="error of the heat balance, rms (%)", ylim=(0, None))
    axes.legend(title="full: error, dashed: stated", frameon=False)
    figure.savefig(folder / "learning-k.svg", metadata={"Date": None})
    plt.close(figure)
    figure, axes = plt.subplots(figsize=(6.4, 4.4), layout="constrained")
    with_doors = _delays(proof, [climate.name for climate in CLIMATES])
    labels = ("attend", "stop", "plain rule")
    for values, colour, label in zip(with_doors, (THIRD, SECOND, "0.5"), labels, strict=True):
        _steps(axes, values, colour, label)
    unseen = _delays(proof, [without_doors(climate) for climate in CLIMATES])
    _steps(axes, unseen[0], THIRD, "attend, no door sensors", style="--")
    axes.set(xlabel="minutes after the heat was lost", ylabel="losses found (%)", xlim=(0, 300), ylim=(0, 100))
    axes.legend(frameon=False)
    figure.savefig(folder / "learning-delay.svg", metadata={"Date": None})
    plt.close(figure)


def _delays(proof: Proof, names: Sequence[str]) -> Array:
    """Attend, stop and plain rule [min], shape (3, losses)."""
    return np.array([row for name in names for row in proof.delays.get(name, [])]).T


def _steps(axes: object, values: Array, colour: str, label: str, *, style: str = "-") -> None:
    ordered = np.sort(values)
    share = 100 * np.arange(1, len(ordered) + 1) / len(ordered)
    finite = np.isfinite(ordered)
    axes.step(ordered[finite], share[finite], where="post", color=colour, label=label, linestyle=style)  # type: ignore[attr-defined]
