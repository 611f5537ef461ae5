"""The uncertainty budget of the delivered result as a table and a sentence."""

from __future__ import annotations

import math
from dataclasses import dataclass

from builder.figures.core.types import FigureSheet
from builder.figures.dyno.uncertainty_budget import Origin, ResultBudget, result_budget
from builder.publish.pages.build.record_tables import Cell, Table
from builder.record.models.build import Build
from builder.record.models.shop import Shop

_ORIGINS: dict[Origin, str] = {
    "certificate": "instrument's certificate",
    "calibration": "error found at calibration",
    "instrument": "instrument's resolution",
    "written": "last digit recorded",
    "log": "last digit of the log",
    "repeats": "repeat pulls",
    "readings": "readings about the curve",
}


@dataclass(frozen=True)
class UncertaintySection:
    """The budget of torque and power: a row for each influence, and what they come to together."""

    table: Table
    summary: str


def uncertainty_section(build: Build, shop: Shop, sheet: FigureSheet) -> UncertaintySection | None:
    """Return the budget of the delivered result; None where no pull counts."""
    delivered = sheet.session.delivered if sheet.session else None
    if delivered is None or delivered.peak_torque.value <= 0:
        return None
    result = result_budget(build, shop, delivered)
    rows = tuple(
        (
            Cell(row.influence.name),
            Cell(f"{row.influence.contribution:.2%}", number=True),
            Cell("∞" if math.isinf(row.influence.freedom) else f"{row.influence.freedom:.0f}", number=True),
            Cell(", ".join(_origin(origin, delivered.scatter.source) for origin in row.origins)),
        )
        for row in result.rows
    )
    head = ("Influence", "Part of the result, 1 SD", "Degrees of freedom", "From")
    return UncertaintySection(Table("Uncertainty of torque and power", head, rows), uncertainty_sentence(result))


def uncertainty_sentence(result: ResultBudget) -> str:
    """Return the combined and expanded uncertainty, and what is not in them."""
    budget = result.budget
    missing = f" Not included, not recorded: {', '.join(result.missing)}." if result.missing else ""
    return (
        f"Torque and power: combined uncertainty {budget.combined:.2%}, expanded ±{budget.expanded():.1%} "
        f"(95 %, k = {budget.coverage():.2f}, JCGM 100).{missing}"
    )


def _origin(origin: Origin, scatter: str) -> str:
    return "common practice, no repeat pulls" if origin == "repeats" and scatter == "assumed" else _ORIGINS[origin]
