"""The dyno session as a page shows it: every pull in a row, what each change was worth, what was assumed."""

from __future__ import annotations

from dataclasses import dataclass

from builder.figures import shown as units
from builder.figures.pulls import PullResult
from builder.figures.session import DynoSession
from builder.figures.shown import Shown, System
from builder.publish.record_view import Cell, Table


@dataclass(frozen=True)
class Verdict:
    """What one change was worth, in words."""

    title: str
    against: str
    verdict: str
    mean: str
    noise: str


@dataclass(frozen=True)
class Told:
    """What was read, skipped and assumed in one pull's log."""

    name: str
    sentences: tuple[str, ...]


@dataclass(frozen=True)
class DynoView:
    """The session, ready to be set."""

    standard: str
    corrected: bool
    range: str
    pulls: Table
    verdicts: tuple[Verdict, ...]
    repeats: tuple[str, ...]
    cautions: tuple[str, ...]
    settings: tuple[tuple[str, str, str], ...]
    told: tuple[Told, ...]
    best: str | None


def dyno_view(session: DynoSession, system: System) -> DynoView:
    """The session of a build in words and tables."""
    low, high = session.range or (0.0, 0.0)
    span = (
        f"{units.SPEED.text(low, system, with_unit=False)} to {units.SPEED.text(high, system)}, {session.range_from}"
        if session.range
        else ""
    )
    outside = [f"{pull.name}: {reason}" for pull in session.pulls for reason in pull.outside]
    not_counted = [f"{pull.name} does not count: {pull.why_not}" for pull in session.pulls if not pull.counted]
    return DynoView(
        session.standard.name,
        session.corrected,
        span,
        _table(session, system),
        tuple(
            Verdict(change.changed or change.name, change.since, change.verdict, change.mean, change.noise)
            for change in session.changes
        ),
        tuple(repeat.words for repeat in session.repeats),
        (*session.remarks, *outside, *not_counted, *(breach.words for breach in session.health)),
        tuple((sweep.name, fit.verdict, sweep.caution) for sweep in session.settings for fit in sweep.fits),
        tuple(Told(pull.name, (*pull.told, *(f"needs {need}" for need in pull.needs))) for pull in session.pulls),
        session.best.name if session.best else None,
    )


def _table(session: DynoSession, system: System) -> Table:
    torque, power = units.TORQUE, units.POWER
    head = ("Pull", "Changed", "Peak torque", "at", "Peak power", "at", "Mean torque", "Factor", "Air")
    return Table("Pulls", head, tuple(_row(pull, torque, power, system) for pull in session.pulls))


def _row(pull: PullResult, torque: Shown, power: Shown, system: System) -> tuple[Cell, ...]:
    def number(shown: Shown, value: float | None) -> Cell:
        return Cell("" if value is None else shown.text(value, system), number=True)

    since = f" (since {pull.pull.since})" if pull.pull.since else ""
    changed = f"{pull.pull.changed}{since}" if pull.pull.changed else ""
    if pull.pull.repeat_of:
        changed = f"repeats {pull.pull.repeat_of}"
    factor = "" if pull.correction is None else f"{pull.correction.factor:.4f}"
    return (
        Cell(pull.name),
        Cell(changed),
        number(torque, pull.peak_torque.value),
        number(units.SPEED, pull.peak_torque.speed),
        number(power, pull.peak_power.value),
        number(units.SPEED, pull.peak_power.speed),
        number(torque, pull.mean_torque),
        Cell(factor, number=True),
        Cell(", ".join(pull.day.texts.values())),
    )
