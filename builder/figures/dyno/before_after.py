"""The engine as delivered against a pull made before the work: power, torque, mean torque with their intervals."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from builder.engine.comparison import gain
from builder.engine.curves import mean_over, overlap
from builder.engine.peaks import CurvePeak
from builder.engine.uncertainty import half_width
from builder.figures.dyno.comparisons import pull_group
from builder.figures.dyno.engine_state import EngineState


@dataclass(frozen=True, kw_only=True)
class Difference:
    """One result before the work and as delivered, SI; ``half_width``: of the 95 % interval of the difference."""

    before: float
    delivered: float
    half_width: float

    @property
    def value(self) -> float:
        """Return what it is more than before."""
        return self.delivered - self.before


@dataclass(frozen=True, eq=False, kw_only=True)
class BeforeAfter:
    """The delivered state against the one before the work.

    ``mean_torque``: over ``range`` [rev/s], the part of the session's range that both sides cover; None where they
    share no speeds. The intervals cover how far pulls of one session scatter, not another dyno.
    """

    before: EngineState
    delivered: EngineState
    power: Difference
    torque: Difference
    mean_torque: Difference | None
    range: tuple[float, float] | None


def compare_before_after(before: EngineState, delivered: EngineState, low: float, high: float) -> BeforeAfter:
    """Return the delivered state against the one before the work, mean torque between two speeds [rev/s].

    A drift within the session is not taken off: the pull before the work is rarely part of it.
    """
    shared = overlap([before.corrected.torque_curve, delivered.corrected.torque_curve], low, high)
    return BeforeAfter(
        before=before,
        delivered=delivered,
        power=_peak_difference(before, delivered, lambda state: state.peaks.power),
        torque=_peak_difference(before, delivered, lambda state: state.peaks.torque),
        mean_torque=_mean_difference(before, delivered, *shared) if shared else None,
        range=shared,
    )


def _peak_difference(
    before: EngineState, delivered: EngineState, peak_of: Callable[[EngineState], CurvePeak]
) -> Difference:
    peaks = [peak_of(before), peak_of(delivered)]
    scatter = delivered.scatter
    shares = [
        abs(top.value) / len(state.averaged_pulls) ** 0.5 for top, state in zip(peaks, (before, delivered), strict=True)
    ]
    between = scatter.relative * float(np.hypot(*shares))
    readings = [(top.deviation, float(top.freedom)) for top in peaks]
    return Difference(
        before=peaks[0].value, delivered=peaks[1].value, half_width=half_width((between, scatter.freedom), *readings)
    )


def _mean_difference(before: EngineState, delivered: EngineState, low: float, high: float) -> Difference:
    without_drift = replace(delivered.scatter.scatter, drift=0.0)
    earlier_pulls = pull_group(before.averaged_pulls)
    difference = gain(earlier_pulls, pull_group(delivered.averaged_pulls), without_drift, low, high)
    earlier = float(np.mean([mean_over(curve, difference.low, difference.high) for curve in earlier_pulls.curves]))
    return Difference(before=earlier, delivered=earlier + difference.mean, half_width=difference.half_width)
