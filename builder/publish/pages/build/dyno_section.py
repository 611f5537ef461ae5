"""The dyno session as texts and tables: every pull in a row, what each change was worth, what was assumed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from builder.engine.peaks import CurvePeak
from builder.figures.core import display_units as units
from builder.figures.core.display_units import DisplayUnit, System, written_text
from builder.figures.dyno.comparisons import ComparisonResult, SettingTrials, scatter_text
from builder.figures.dyno.guideline_traces import summarize_violations
from builder.figures.dyno.pull import PullResult
from builder.figures.dyno.session import DynoSession
from builder.publish.pages.build.record_tables import Cell, Table
from builder.publish.pages.formatting import group_thousands, sentence

_DELIVERED = "as delivered"
"""Remark on the pulls of the delivered state."""


@dataclass(frozen=True)
class ChangeRow:
    """What one change was worth, and the name of its chart (empty: none)."""

    title: str
    against: str
    changes: int | None
    """How many things were changed at once; None where the record leaves that open."""
    verdict: str
    mean: str
    drift: str
    chart: str


@dataclass(frozen=True)
class SettingResult:
    """A swept setting: the result with the name of its chart for each quantity."""

    title: str
    verdicts: tuple[tuple[str, str], ...]
    caution: str


@dataclass(frozen=True)
class LogNotes:
    """What was read, skipped and assumed in one pull's log."""

    name: str
    sentences: tuple[str, ...]


@dataclass(frozen=True)
class DynoSection:
    """The session as texts and tables."""

    standard: str
    corrected: bool
    range: str
    """The speed range of the means; empty for none."""
    pulls: Table
    changes: tuple[ChangeRow, ...]
    repeats: tuple[str, ...]
    remarks: tuple[str, ...]
    """Remarks about the session; cautions have a section of their own."""
    settings: tuple[SettingResult, ...]
    scatter: str
    """How far a pull is taken to scatter, and where that comes from."""
    log_notes: tuple[LogNotes, ...]


def dyno_section(session: DynoSession, system: System) -> DynoSection:
    """Return the dyno section of a build's page."""
    not_counted = [f"{pull.name} does not count: {pull.exclusion_reason}" for pull in session.pulls if not pull.counted]
    changes = (
        ChangeRow(
            sentence(change.changed or change.name, ""),
            change.since,
            change.changes,
            sentence(change.text),
            sentence(change.mean_text) if _needs_mean(change) else "",
            sentence(change.drift_text) if change.drift_text else "",
            "" if change.gain is None else f"gain_{number}",
        )
        for number, change in enumerate(session.changes, 1)
    )
    return DynoSection(
        standard=session.standard.name,
        corrected=session.is_corrected,
        range=_range_text(session, system),
        pulls=_pulls_table(session, system),
        changes=tuple(changes),
        repeats=tuple(repeat.text for repeat in session.repeats),
        remarks=(*session.remarks, *not_counted, *_earlier_notes(session)),
        settings=tuple(_setting(sweep, number) for number, sweep in enumerate(session.settings, 1)),
        scatter=scatter_text(session.scatter),
        log_notes=tuple(
            LogNotes(pull.name, (*pull.notes, *(f"needs {need}" for need in pull.applied.needs)))
            for pull in session.pulls
        ),
    )


def _earlier_notes(session: DynoSession) -> Iterator[str]:
    """Yield what was outside a guideline or a standard's range before the engine was as delivered."""
    for text, _ in summarize_violations(session.earlier_violations):
        yield f"not as delivered: {text}"
    for state in session.states:
        if state is not session.delivered:
            known = session.delivered.outside if session.delivered else ()
            yield from (f"{state.name}: {text}" for text in state.outside if text not in known)


def _needs_mean(change: ComparisonResult) -> bool:
    """Return whether the mean is to be stated next to the text: not where the text is about the mean itself."""
    gain = change.gain
    return gain is not None and not (gain.measurable and not gain.significant_ranges)


def _range_text(session: DynoSession, system: System) -> str:
    if not session.range:
        return ""
    low, high = session.range
    return group_thousands(f"{units.SPEED.text(low, system, with_unit=False)} to {units.SPEED.text(high, system)}")


def _setting(sweep: SettingTrials, number: int) -> SettingResult:
    verdicts = ((sentence(fit.text), f"setting_{number}_{index}") for index, fit in enumerate(sweep.fits, 1))
    return SettingResult(sentence(sweep.name, ""), tuple(verdicts), sweep.caution)


def _pulls_table(session: DynoSession, system: System) -> Table:
    head = ("Pull", "Changed", "Timing", "Peak torque", "Peak power", "Mean torque", "Factor", "Air", "Knock")
    rows = tuple(_pull_row(session, pull, system) for pull in session.pulls)
    return Table("Pulls", head, rows).without_empty_columns()


def _pull_row(session: DynoSession, pull: PullResult, system: System) -> tuple[Cell, ...]:
    def peak(unit: DisplayUnit, value: CurvePeak) -> Cell:
        speed = group_thousands(f"at {units.SPEED.text(value.speed, system)}")
        return Cell(unit.text(value.value, system), speed, number=True)

    timing = pull.record.total_timing
    mean_torque = "" if pull.mean_torque is None else group_thousands(units.TORQUE.text(pull.mean_torque, system))
    return (
        Cell(pull.name, _DELIVERED if session.is_delivered(pull) else None),
        Cell(_change_text(pull)),
        Cell(f"{written_text(timing)} BTDC" if timing else "", nowrap=True),
        peak(units.TORQUE, pull.peaks.torque),
        peak(units.POWER, pull.peaks.power),
        Cell(mean_torque, number=True),
        Cell("" if pull.correction is None else f"{pull.correction.factor:.4f}", number=True),
        Cell(", ".join(pull.conditions.texts.values()), nowrap=True),
        Cell(pull.record.knock or ""),
    )


def _change_text(pull: PullResult) -> str:
    record = pull.record
    if record.repeat_of:
        return f"repeats {record.repeat_of}"
    if record.changed and record.since:
        return f"{record.changed_text} (since {record.since})"
    return record.changed_text
