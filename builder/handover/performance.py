"""What the engine made: the table of its best pull, the air it was made in, and what the number means."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from builder.figures.core import display_units
from builder.figures.core.display_units import DisplayUnit, System
from builder.figures.core.types import FigureSheet
from builder.figures.dyno.pull import PullResult
from builder.figures.dyno.session import DynoSession
from builder.handover.procedures import ProcedureTexts
from builder.handover.record_rows import LabelledValue, rows_of
from builder.publish.pages.formatting import format_date
from builder.record.models.build import Build
from builder.record.models.shop import Shop
from builder.record.quantities.unit_table import printed_unit

_MOST_ROWS = 22


@dataclass(frozen=True)
class Performance:
    """What it made, and how that was found."""

    pull: str
    standard: str
    corrected: bool
    units: tuple[str, ...]
    step: str
    rows: tuple[tuple[str, ...], ...]
    peaks: tuple[int, int]
    """Row of the table with the most torque, and row with the most power; -1 for none."""
    sentences: tuple[str, ...]
    conditions: tuple[LabelledValue, ...]
    cautions: tuple[str, ...]


def performance_of(build: Build, sheet: FigureSheet, shop: Shop, words: ProcedureTexts) -> Performance | None:
    """The session's best pull in the units of the build, with the other system beside it where the shop wants both."""
    session = sheet.session
    if session is None or session.best is None:
        return None
    best, system = session.best, sheet.system
    systems: tuple[System, ...] = (system,)
    if shop.units == "both":
        systems = (system, "metric" if system == "inch" else "inch")
    step = step_for(float(best.corrected.speed[0]) * 60, float(best.corrected.speed[-1]) * 60)
    speeds = speeds_of(best, step)
    torque = np.array([best.corrected.at(best.corrected.torque, rpm / 60) for rpm in speeds])
    power = np.array([best.corrected.at(best.corrected.power, rpm / 60) for rpm in speeds])
    kinds = [(display_units.TORQUE, torque, each) for each in systems] + [
        (display_units.POWER, power, each) for each in systems
    ]
    rows = tuple(
        (f"{rpm}", *(kind.text(float(values[row]), each, with_unit=False) for kind, values, each in kinds))
        for row, rpm in enumerate(speeds)
    )
    return Performance(
        best.name,
        session.standard.name,
        session.corrected,
        tuple(_unit(kind, each) for kind, _, each in kinds),
        f"{step} rpm",
        rows,
        (int(torque.argmax()), int(power.argmax())) if speeds else (-1, -1),
        tuple(_sentences(session, words, system)),
        tuple(_conditions(build, best)),
        tuple(best.outside) + session.remarks,
    )


def step_for(low: float, high: float) -> int:
    """Every 250 rpm, or 500 where that would not fit on a page; a very long range goes by thousands."""
    return next((step for step in (250, 500) if (high - low) / step <= _MOST_ROWS), 1000)


def speeds_of(pull: PullResult, step: int) -> list[int]:
    """The round speeds [rpm] that the pull covers."""
    low, high = float(pull.corrected.speed[0]) * 60, float(pull.corrected.speed[-1]) * 60
    first = int(-(-(low - 1e-6) // step)) * step
    return list(range(first, int(high + 1e-6) + 1, step))


def _unit(kind: DisplayUnit, system: System) -> str:
    unit = kind.scale(system).unit
    return printed_unit(unit)


def _sentences(session: DynoSession, words: ProcedureTexts, system: System) -> list[str]:
    best = session.best
    assert best is not None
    meaning = words.meaning.get(session.standard.slug) or f"Results are in {session.standard.name}."
    said = [meaning]
    if best.correction is not None and abs(best.correction.factor - 1) > 5e-5:
        observed = display_units.POWER.text(
            best.uncorrected_torque(best.peaks.power.speed) * 2 * np.pi * best.peaks.power.speed, system
        )
        factor = f"{best.correction.factor:.4f}"
        said.append(f"At peak power the factor was {factor}; before it was applied, the brake had {observed}.")
    said.append(words.compare)
    last = session.counted[-1]
    if last is not best:
        said.append(
            f"The table is the pull with the most power, “{best.name}”. The last pull of the session, “{last.name}”, "
            f"peaked at {_peak(display_units.POWER, last, system)} and {_peak(display_units.TORQUE, last, system)}."
        )
    for repeat in session.repeats[:1]:
        said.append(f"How well pulls repeat: {repeat.text}")
    return said


def _peak(kind: DisplayUnit, pull: PullResult, system: System) -> str:
    peak = pull.peaks.power if kind is display_units.POWER else pull.peaks.torque
    return f"{kind.text(peak.value, system)} at {display_units.SPEED.text(peak.speed, system)}"


def _conditions(build: Build, best: PullResult) -> list[LabelledValue]:
    rows = [LabelledValue("Pull", best.name)]
    dyno = build.dyno
    if dyno is not None:
        said = (
            ("Brake", dyno.dyno),
            ("Day", format_date(dyno.date) if dyno.date else None),
            ("Run by", dyno.by),
            ("Fuel in the tank", dyno.fuel),
            ("Oil in the sump", dyno.oil),
            ("Driven and fitted", dyno.ancillaries),
        )
        rows += [LabelledValue(title, text) for title, text in said if text]
        conditions = best.record.conditions or dyno.conditions
        if conditions is not None:
            rows += rows_of(conditions, both=True)
    rows.append(LabelledValue("Standard", best.standard.name if best.correction is not None else "as logged"))
    rows.append(LabelledValue("Readings", "a sweep of speed" if best.kind == "sweep" else "held at each speed"))
    return rows
