"""The dyno session as a page shows it: every pull in a row, what each change was worth, what was assumed."""

from __future__ import annotations

from dataclasses import dataclass

from builder.engine.curves import Peak
from builder.figures.core import display_units as units
from builder.figures.core.display_units import DisplayUnit, System
from builder.figures.dyno.comparisons import SettingSweep
from builder.figures.dyno.pull import PullResult
from builder.figures.dyno.session import DynoSession
from builder.publish.pages.build.record_tables import Cell, Table
from builder.publish.pages.formatting import group_thousands


@dataclass(frozen=True)
class ChangeRow:
    """What one change was worth, in words, and the name of its drawing (empty: none)."""

    title: str
    against: str
    verdict: str
    mean: str
    chart: str


@dataclass(frozen=True)
class SettingResult:
    """A setting tried at several levels: a verdict with its drawing for each result."""

    title: str
    verdicts: tuple[tuple[str, str], ...]
    caution: str


@dataclass(frozen=True)
class LogNotes:
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
    changes: tuple[ChangeRow, ...]
    repeats: tuple[str, ...]
    remarks: tuple[str, ...]
    """What was decided about the session as a whole; cautions are gathered elsewhere."""
    settings: tuple[SettingResult, ...]
    noise_sources: tuple[str, ...]
    """Where the noise comes from that gains are held against, each said once."""
    log_notes: tuple[LogNotes, ...]
    best: str | None


def dyno_section(session: DynoSession, system: System) -> DynoView:
    """The session of a build in words and tables."""
    low, high = session.range or (0.0, 0.0)
    span = (
        group_thousands(f"{units.SPEED.text(low, system, with_unit=False)} to {units.SPEED.text(high, system)}")
        + (f" ({session.range_from})" if session.range_from else "")
        if session.range
        else ""
    )
    not_counted = [f"{pull.name} does not count: {pull.exclusion_reason}" for pull in session.pulls if not pull.counted]
    return DynoView(
        session.standard.name,
        session.corrected,
        span,
        _table(session, system),
        tuple(
            ChangeRow(
                _sentence(change.changed or change.name, ""),
                change.since,
                _sentence(change.verdict),
                _sentence(change.mean_text) if change.mean_text else "",
                "" if change.gain is None else f"gain_{number}",
            )
            for number, change in enumerate(session.changes, 1)
        ),
        tuple(repeat.text for repeat in session.repeats),
        (*session.remarks, *not_counted),
        tuple(_setting(sweep, number) for number, sweep in enumerate(session.settings, 1)),
        tuple(dict.fromkeys(_sentence(change.noise_text) for change in session.changes if change.noise_text)),
        tuple(
            LogNotes(pull.name, (*pull.notes, *(f"needs {need}" for need in pull.applied.needs)))
            for pull in session.pulls
        ),
        session.best.name if session.best else None,
    )


def _setting(sweep: SettingSweep, number: int) -> SettingResult:
    verdicts = ((_sentence(fit.verdict), f"setting_{number}_{which}") for which, fit in enumerate(sweep.fits, 1))
    return SettingResult(_sentence(sweep.name, ""), tuple(verdicts), sweep.caution)


def _sentence(words: str, end: str = ".") -> str:
    text = words[:1].upper() + words[1:]
    return text if text.endswith((".", "!", "?")) else f"{text}{end}"


def _table(session: DynoSession, system: System) -> Table:
    torque, power = units.TORQUE, units.POWER
    head = ("Pull", "Changed", "Peak torque", "Peak power", "Mean torque", "Factor", "Air")
    return Table("Pulls", head, tuple(_row(pull, torque, power, system) for pull in session.pulls))


def _row(pull: PullResult, torque: DisplayUnit, power: DisplayUnit, system: System) -> tuple[Cell, ...]:
    def number(shown: DisplayUnit, value: float | None) -> Cell:
        return Cell("" if value is None else group_thousands(shown.text(value, system)), number=True)

    def peak(shown: DisplayUnit, of: Peak) -> Cell:
        return Cell(
            shown.text(of.value, system), group_thousands(f"at {units.SPEED.text(of.speed, system)}"), number=True
        )

    since = f" (since {pull.record.since})" if pull.record.since else ""
    changed = f"{pull.record.changed}{since}" if pull.record.changed else ""
    if pull.record.repeat_of:
        changed = f"repeats {pull.record.repeat_of}"
    factor = "" if pull.correction is None else f"{pull.correction.factor:.4f}"
    return (
        Cell(pull.name),
        Cell(changed),
        peak(torque, pull.peaks.torque),
        peak(power, pull.peaks.power),
        number(torque, pull.mean_torque),
        Cell(factor, number=True),
        Cell(", ".join(pull.conditions.texts.values()), nowrap=True),
    )
