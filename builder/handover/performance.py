"""The dyno result: the table of the best pull, its conditions, and what the numbers mean."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from builder.figures.core import display_units
from builder.figures.core.display_units import DisplayUnit, System
from builder.figures.core.types import FigureSheet
from builder.figures.dyno.pull import PullResult
from builder.figures.dyno.session import DynoSession
from builder.handover.procedures import ProcedureTexts
from builder.publish.pages.formatting import format_date
from builder.publish.sheets.record_rows import LabelledValue, labelled, rows_of
from builder.record.models.build import Build
from builder.record.models.shop import Shop
from builder.record.quantities.unit_table import printed_unit

_MAX_ROWS = 22


@dataclass(frozen=True)
class Performance:
    """The table of the best pull, with remarks, conditions and cautions."""

    pull: str
    standard: str
    corrected: bool
    units: tuple[str, ...]
    step: str
    rows: tuple[tuple[str, ...], ...]
    peak_rows: tuple[int, int]
    """The rows of the table with the highest torque and the highest power; -1 for none."""
    remarks: tuple[str, ...]
    conditions: tuple[LabelledValue, ...]
    cautions: tuple[str, ...]


def performance_of(build: Build, sheet: FigureSheet, shop: Shop, texts: ProcedureTexts) -> Performance | None:
    """Return the session's best pull in the units of the build, and in both systems where the shop uses both."""
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
    columns = [(display_units.TORQUE, torque, column_system) for column_system in systems]
    columns += [(display_units.POWER, power, column_system) for column_system in systems]
    rows = tuple(
        (f"{rpm}", *(unit.text(float(values[row]), shown_in, with_unit=False) for unit, values, shown_in in columns))
        for row, rpm in enumerate(speeds)
    )
    return Performance(
        best.name,
        session.standard.name,
        session.corrected,
        tuple(printed_unit(unit.scale(shown_in).unit) for unit, _, shown_in in columns),
        f"{step} rpm",
        rows,
        (int(torque.argmax()), int(power.argmax())) if speeds else (-1, -1),
        tuple(_remarks(session, texts, system)),
        _conditions(build, best),
        tuple(best.outside) + session.remarks,
    )


def step_for(low: float, high: float) -> int:
    """Return the step of the table [rpm]: 250, or 500 or 1000 where that would not fit on a page."""
    return next((step for step in (250, 500) if (high - low) / step <= _MAX_ROWS), 1000)


def speeds_of(pull: PullResult, step: int) -> list[int]:
    """Return the multiples of the step [rpm] that the pull covers."""
    low, high = float(pull.corrected.speed[0]) * 60, float(pull.corrected.speed[-1]) * 60
    first = int(-(-(low - 1e-6) // step)) * step
    return list(range(first, int(high + 1e-6) + 1, step))


def _remarks(session: DynoSession, texts: ProcedureTexts, system: System) -> list[str]:
    best = session.best
    assert best is not None
    meaning = texts.standards.get(session.standard.slug) or f"Results are in {session.standard.name}."
    remarks = [meaning]
    if best.correction is not None and abs(best.correction.factor - 1) > 5e-5:
        observed = display_units.POWER.text(
            best.uncorrected_torque(best.peaks.power.speed) * 2 * np.pi * best.peaks.power.speed, system
        )
        factor = f"{best.correction.factor:.4f}"
        remarks.append(f"At peak power the factor was {factor}; before it was applied, the brake had {observed}.")
    remarks.append(texts.comparison)
    last = session.counted[-1]
    if last is not best:
        remarks.append(
            f"The table is the pull with the most power, “{best.name}”. The last pull of the session, “{last.name}”, "
            f"peaked at {_peak(display_units.POWER, last, system)} and {_peak(display_units.TORQUE, last, system)}."
        )
    for repeat in session.repeats[:1]:
        remarks.append(f"How well pulls repeat: {repeat.text}")
    return remarks


def _peak(kind: DisplayUnit, pull: PullResult, system: System) -> str:
    peak = pull.peaks.power if kind is display_units.POWER else pull.peaks.torque
    return f"{kind.text(peak.value, system)} at {display_units.SPEED.text(peak.speed, system)}"


def _conditions(build: Build, best: PullResult) -> tuple[LabelledValue, ...]:
    dyno = build.dyno
    conditions = best.record.conditions or (dyno.conditions if dyno else None)
    recorded: tuple[LabelledValue, ...] = ()
    if dyno is not None:
        recorded = labelled(
            ("Brake", dyno.dyno),
            ("Day", format_date(dyno.date) if dyno.date else None),
            ("Run by", dyno.by),
            ("Fuel in the tank", dyno.fuel),
            ("Oil in the sump", dyno.oil),
            ("Driven and fitted", dyno.ancillaries),
        )
    return (
        *labelled(("Pull", best.name)),
        *recorded,
        *(rows_of(conditions, both=True) if conditions else ()),
        *labelled(
            ("Standard", best.standard.name if best.correction is not None else "as logged"),
            ("Readings", "a sweep of speed" if best.kind == "sweep" else "held at each speed"),
        ),
    )
