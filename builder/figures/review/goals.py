"""The customer's goals with a number, each held against what was measured or calculated for the finished engine."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from builder.figures.core import display_units as units
from builder.figures.core.display_units import DisplayUnit
from builder.figures.core.types import FigureSheet, Provenance
from builder.figures.dyno.session import DynoSession
from builder.record.models.build import Build
from builder.record.models.goals import Target

Outcome = Literal["met", "not met", "not in every cylinder", "within the uncertainty", "not measured"]

_UNITS: dict[str, DisplayUnit] = {
    "torque": units.TORQUE,
    "power": units.POWER,
    "compression ratio": units.COMPRESSION,
    "displacement": units.DISPLACEMENT,
    "quench": units.LENGTH,
}


@dataclass(frozen=True, kw_only=True)
class Finding:
    """What the engine has of a wanted quantity, SI, from lowest to highest over the cylinders where it has several.

    ``half_width``: of the 95 % interval; None where no reading says how well it is known. ``basis``: how the values
    behind it are known.
    """

    value: float
    lowest: float
    highest: float
    half_width: float | None
    basis: Provenance | Literal["mixed"]


@dataclass(frozen=True, kw_only=True)
class GoalResult:
    """One goal, what the engine has, and whether that is enough.

    "met" and "not met" hold for the whole interval and for every cylinder, "not in every cylinder" where one of several
    misses it by more than the interval; else the measurement cannot tell.
    """

    target: Target
    display_unit: DisplayUnit
    finding: Finding | None
    outcome: Outcome


def goal_results(build: Build, sheet: FigureSheet) -> Iterator[GoalResult]:
    """Yield each goal with a number, torque and power of the engine as delivered."""
    for target in build.build.goals.read_targets if build.build.goals else ():
        finding = (
            _from_dyno(target, sheet.session) if target.quantity in ("torque", "power") else _figure(target, sheet)
        )
        yield GoalResult(
            target=target, display_unit=_UNITS[target.quantity], finding=finding, outcome=outcome_of(target, finding)
        )


def outcome_of(target: Target, finding: Finding | None) -> Outcome:
    """Return whether a finding is what is wanted, its interval included."""
    if finding is None:
        return "not measured"
    half = finding.half_width or 0.0
    minimum = float("-inf") if target.minimum is None else target.minimum
    maximum = float("inf") if target.maximum is None else target.maximum
    if minimum <= finding.lowest - half and finding.highest + half <= maximum:
        return "met"
    if finding.highest + half < minimum or finding.lowest - half > maximum:
        return "not met"
    if finding.lowest + half < minimum or finding.highest - half > maximum:
        return "not in every cylinder"
    return "within the uncertainty"


def _from_dyno(target: Target, session: DynoSession | None) -> Finding | None:
    """Return torque or power of the engine as delivered; None at a speed that was not run."""
    delivered = session.delivered if session else None
    if delivered is None:
        return None
    if target.speed is None:
        peak = delivered.peak_torque if target.quantity == "torque" else delivered.peak_power
        value, half_width = peak.value, peak.half_width
    else:
        curves, speed = delivered.corrected, target.speed.si
        curve = curves.torque_curve if target.quantity == "torque" else curves.power_curve
        if not curve.lowest - _SAME_SPEED <= speed <= curve.highest + _SAME_SPEED:
            return None
        value = float(curve.at(speed))
        half_width = delivered.relative_half_width * abs(value)
    return Finding(value=value, lowest=value, highest=value, half_width=half_width, basis="measured")


def _figure(target: Target, sheet: FigureSheet) -> Finding | None:
    figure = sheet.get(FIGURE_OF_GOAL[target.quantity])
    if figure is None:
        return None
    values = [figure.value, *(position.value for position in figure.positions)]
    return Finding(
        value=figure.value,
        lowest=min(values),
        highest=max(values),
        half_width=figure.uncertainty,
        basis=figure.basis,
    )


FIGURE_OF_GOAL = {"compression ratio": "compression_ratio", "displacement": "displacement", "quench": "quench"}
"""The figure that each goal without a dyno is about."""
_SAME_SPEED = 1e-6
"""Speeds [rev/s] that differ by less are the same."""
