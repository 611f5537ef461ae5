"""The customer's goals with a number as rows of text."""

from __future__ import annotations

import math
from dataclasses import dataclass

from builder.figures.core.display_units import DisplayUnit, System, join_unit
from builder.figures.core.types import FigureSheet
from builder.figures.core.working_text import number_and_uncertainty
from builder.figures.review.goals import Finding, GoalResult, Outcome
from builder.publish.pages.formatting import group_thousands
from builder.record.quantities.units import Quantity


@dataclass(frozen=True)
class GoalRow:
    """One goal: its name, what was wanted, what the engine has, and whether that is enough."""

    name: str
    wanted: str
    wanted_converted: str
    """What was wanted in the unit of the result, where it was written in another one."""
    result: str
    basis: str
    """Where the result is from, if not from measurements alone."""
    outcome: Outcome


def goal_rows(sheet: FigureSheet) -> tuple[GoalRow, ...]:
    """Return a row for each goal with a number."""
    return tuple(_goal_row(goal, sheet.system) for goal in sheet.goals)


def _goal_row(goal: GoalResult, system: System) -> GoalRow:
    target, unit = goal.target, goal.display_unit
    converted = ""
    if any(_differs(quantity, unit, system) for quantity in target.wanted):
        numbers = [unit.text(quantity.si, system, with_unit=False) for quantity in target.wanted]
        converted = join_unit(" to ".join(numbers), unit.label(system))
    finding = goal.finding
    return GoalRow(
        group_thousands(target.name),
        group_thousands(target.text),
        group_thousands(converted),
        "" if finding is None else group_thousands(_result_text(finding, unit, system)),
        "" if finding is None else _BASIS.get(finding.basis, ""),
        goal.outcome,
    )


def _differs(quantity: Quantity, unit: DisplayUnit, system: System) -> bool:
    """Return whether a value was written in another unit than the one of the result, whatever its name."""
    return not math.isclose(float(quantity.number), unit.number(quantity.si, system), rel_tol=1e-6)


_BASIS = {"listed": "from catalog", "mixed": "partly from catalog", "typical": "from a typical value"}


def _result_text(finding: Finding, unit: DisplayUnit, system: System) -> str:
    """Return the value with its ±, or the range over the cylinders where they differ in what is shown."""
    ends = unit.texts((finding.lowest, finding.highest), system, (0.0, 0.0), with_unit=False)
    if ends[0] != ends[1]:
        return join_unit(" to ".join(ends), unit.label(system))
    return with_half_width(unit, finding.value, finding.half_width or 0.0, system)


def with_half_width(unit: DisplayUnit, value: float, half_width: float, system: System) -> str:
    """Return a value with the ± of its interval [SI] in one system; without one where it is zero."""
    shown = number_and_uncertainty(unit, value, half_width, system)
    number = f"{shown.number} ± {shown.uncertainty_text}" if shown.uncertainty_text else shown.number
    return join_unit(number, unit.label(system))
