"""The dyno result: the table of the engine as delivered, its conditions, and what the numbers mean."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from builder.figures.core import display_units
from builder.figures.core.display_units import System
from builder.figures.core.types import FigureSheet
from builder.figures.dyno.engine_state import EngineState
from builder.figures.dyno.pull import CorrectedCurves
from builder.figures.dyno.session import DynoSession
from builder.handover.procedures import ProcedureTexts
from builder.publish.pages.build.headline import assumption_sentence, best_sentence
from builder.publish.pages.formatting import format_date
from builder.publish.sheets.record_rows import LabelledValue, labelled, rows_of
from builder.record.models.build import Build
from builder.record.models.shop import Shop
from builder.record.quantities.unit_table import printed_unit

_MAX_ROWS = 22


@dataclass(frozen=True)
class Performance:
    """The table of the engine as delivered, with remarks, conditions and cautions."""

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
    """Return the delivered state in the units of the build, and in both systems where the shop uses both."""
    session = sheet.session
    if session is None or session.delivered is None:
        return None
    delivered, system = session.delivered, sheet.system
    systems: tuple[System, ...] = (system,)
    if shop.units == "both":
        systems = (system, "metric" if system == "inch" else "inch")
    step = step_for(float(delivered.corrected.speed[0]) * 60, float(delivered.corrected.speed[-1]) * 60)
    speeds = speeds_of(delivered.corrected, step)
    torque = np.array([delivered.corrected.at(delivered.corrected.torque, rpm / 60) for rpm in speeds])
    power = np.array([delivered.corrected.at(delivered.corrected.power, rpm / 60) for rpm in speeds])
    columns = [(display_units.TORQUE, torque, column_system) for column_system in systems]
    columns += [(display_units.POWER, power, column_system) for column_system in systems]
    rows = tuple(
        (f"{rpm}", *(unit.text(float(values[row]), shown_in, with_unit=False) for unit, values, shown_in in columns))
        for row, rpm in enumerate(speeds)
    )
    return Performance(
        delivered.label,
        session.standard.name,
        session.corrected,
        tuple(printed_unit(unit.scale(shown_in).unit) for unit, _, shown_in in columns),
        f"{step} rpm",
        rows,
        (int(torque.argmax()), int(power.argmax())) if speeds else (-1, -1),
        tuple(_remarks(sheet, session, delivered, texts)),
        _conditions(build, delivered),
        delivered.outside + session.remarks,
    )


def step_for(low: float, high: float) -> int:
    """Return the step of the table [rpm]: 250, or 500 or 1000 where that would not fit on a page."""
    return next((step for step in (250, 500) if (high - low) / step <= _MAX_ROWS), 1000)


def speeds_of(curves: CorrectedCurves, step: int) -> list[int]:
    """Return the multiples of the step [rpm] that the curves cover."""
    low, high = float(curves.speed[0]) * 60, float(curves.speed[-1]) * 60
    first = int(-(-(low - 1e-6) // step)) * step
    return list(range(first, int(high + 1e-6) + 1, step))


def _remarks(sheet: FigureSheet, session: DynoSession, delivered: EngineState, texts: ProcedureTexts) -> list[str]:
    remarks = [text for text in (assumption_sentence(sheet), best_sentence(sheet)) if text]
    remarks.append(texts.standards.get(session.standard.slug) or f"Results are in {session.standard.name}.")
    speed = delivered.peak_power.speed
    uncorrected = delivered.uncorrected_torque(speed)
    factor = float(delivered.corrected.torque_curve.at(speed)) / uncorrected if uncorrected else 1.0
    if delivered.last.correction is not None and abs(factor - 1) > 5e-5:
        observed = display_units.POWER.text(
            uncorrected * 2 * np.pi * speed, sheet.system, delivered.peak_power.half_width
        )
        remarks.append(f"Correction factor {factor:.4f} at peak power; uncorrected {observed}.")
    remarks.append(texts.comparison)
    for repeat in session.repeats[:1]:
        remarks.append(f"How well pulls repeat: {repeat.text}")
    return remarks


def _conditions(build: Build, delivered: EngineState) -> tuple[LabelledValue, ...]:
    dyno = build.dyno
    pull = delivered.last
    conditions = pull.record.conditions or (dyno.conditions if dyno else None)
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
        *labelled(("Pull", pull.name)),
        *labelled(*((setting.name, setting.level.text) for setting in delivered.settings)),
        *recorded,
        *(rows_of(conditions, both=True) if conditions else ()),
        *labelled(
            ("Standard", pull.standard.name if pull.correction is not None else "as logged"),
            ("Readings", "a sweep of speed" if pull.kind == "sweep" else "held at each speed"),
        ),
    )
