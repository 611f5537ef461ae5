"""The engine before the work and as delivered as rows of text: power, torque, mean torque, each with its difference."""

from __future__ import annotations

import math
from dataclasses import dataclass

from builder.engine.comparison import CONFIDENCE
from builder.figures.core import display_units as units
from builder.figures.core.display_units import DisplayUnit, System
from builder.figures.dyno.before_after import BeforeAfter, Difference
from builder.publish.pages.build.goals_section import with_half_width
from builder.publish.pages.formatting import group_thousands


@dataclass(frozen=True)
class BeforeAfterRow:
    """One result before the work, as delivered, and the difference with its interval."""

    title: str
    before: str
    delivered: str
    difference: str


@dataclass(frozen=True)
class BeforeAfterTable:
    """The engine before the work and as delivered; ``note``: remarks on the pull before the work."""

    pull: str
    rows: tuple[BeforeAfterRow, ...]
    confidence: str
    note: str


def before_after_table(results: BeforeAfter, system: System) -> BeforeAfterTable:
    """Return power, torque and mean torque before the work, as delivered, and the difference with its interval."""
    rows = [
        _before_after_row("Peak power", units.POWER, results.power, system),
        _before_after_row("Peak torque", units.TORQUE, results.torque, system),
    ]
    if results.mean_torque is not None and results.range is not None:
        low, high = (units.SPEED.text(end, system, with_unit=False) for end in results.range)
        title = group_thousands(f"Mean torque, {low} to {high} rpm")
        rows.append(_before_after_row(title, units.TORQUE, results.mean_torque, system))
    pull = results.before.pulls[0]
    return BeforeAfterTable(results.before.label, tuple(rows), f"{100 * CONFIDENCE:.0f} %", pull.record.note or "")


def _before_after_row(title: str, unit: DisplayUnit, difference: Difference, system: System) -> BeforeAfterRow:
    """Return a row; a difference without an interval, from too few readings, is not stated."""
    rounding = difference.half_width
    if not math.isfinite(rounding):
        before, delivered = unit.texts((difference.before, difference.delivered), system, (0.0, 0.0))
        return BeforeAfterRow(title, before, delivered, "not known: too few readings")
    step = unit.rounding_step(rounding, system)
    before, delivered = unit.texts((difference.before, difference.delivered), system, (step, step))
    text = with_half_width(unit, difference.value, rounding, system)
    sign = "" if text.startswith("−") or unit.rounds_to_zero(difference.value, system, step) else "+"
    return BeforeAfterRow(title, *map(group_thousands, (before, delivered, f"{sign}{text}")))
