"""A state of the engine on the dyno: pulls with nothing changed between them, their mean curves and peaks."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from builder.engine import power
from builder.engine.curves import Curve, map_curve, mean_curve, overlap
from builder.engine.peaks import CurvePeak, peak, torque_band
from builder.engine.uncertainty import half_width
from builder.engine.validation import Array
from builder.figures.dyno.comparisons import group_repeats
from builder.figures.dyno.correction import AmbientConditions
from builder.figures.dyno.pull import CorrectedCurves, PullPeaks, PullReadings, PullResult
from builder.figures.dyno.pull_scatter import PullScatter
from builder.record.models.dyno import Setting

_FULL_RANGE = 0.9
"""A pull that shares less of the widest pull's speeds with it gives nothing to the mean curves."""


@dataclass(frozen=True, kw_only=True)
class StatePeak:
    """The highest point of a state's mean curve: torque [N m] or power [W] at a multiple of ``speed_step`` [rev/s].

    ``half_width``: of its 95 % interval, from the scatter between pulls, that of the readings, and what all pulls
    share. ``at_end``: the curve is highest where the pulls begin or end, so the engine's own peak may lie outside the
    speeds that were run.
    """

    value: float
    half_width: float
    speed: float
    speed_step: float
    at_end: bool


@dataclass(frozen=True, eq=False, kw_only=True)
class EngineState:
    """The pulls made with nothing changed between them, the first of which names the state.

    ``scatter``: how far a pull scatters with nothing changed. ``shared``: standard uncertainty of what repeating a
    pull does not show, over the torque [-]: the dyno's calibration and resolution, and the air of the correction, as
    far as they are recorded. ``assumed``: only of the delivered state: the record does not say which one it is.
    """

    pulls: tuple[PullResult, ...]
    scatter: PullScatter
    shared: float = 0.0
    assumed: bool = False

    @property
    def name(self) -> str:
        """Return the name of the state's first pull."""
        return self.pulls[0].name

    @property
    def label(self) -> str:
        """Return the name, with the number of pulls where there are several."""
        return self.name if len(self.pulls) == 1 else f"{self.name}, mean of {len(self.pulls)}"

    @property
    def last(self) -> PullResult:
        """Return the state's last pull."""
        return self.pulls[-1]

    @property
    def conditions(self) -> AmbientConditions:
        """Return the air of the last pull."""
        return self.last.conditions

    @property
    def settings(self) -> tuple[Setting, ...]:
        """Return the level of what was varied over several pulls, as it was in this state."""
        return tuple(dict.fromkeys(pull.record.setting for pull in self.pulls if pull.record.setting is not None))

    @property
    def outside(self) -> tuple[str, ...]:
        """Return what lies outside the range of the standards, a sentence each."""
        return tuple(dict.fromkeys(text for pull in self.pulls for text in pull.outside))

    def mean_of(self, value_of: Callable[[PullResult], float | None]) -> float | None:
        """Return the mean of a value over the pulls for which it is known; None where it is known for none."""
        values = [value for pull in self.pulls if (value := value_of(pull)) is not None and np.isfinite(value)]
        return float(np.mean(values)) if values else None

    def torque_before_factor(self, speed: float) -> float:
        """Return the mean torque at one speed [rev/s] in the standard that the log is in [N m]."""
        pulls = self.averaged_pulls
        return float(np.mean([pull.torque_before_factor(speed) for pull in pulls]))

    @property
    def relative_half_width(self) -> float:
        """Return the half width of the 95 % interval of the state's mean torque, over the torque [-]."""
        between_pulls = self.scatter.relative / len(self.averaged_pulls) ** 0.5
        return half_width((between_pulls, self.scatter.freedom), (self.shared, math.inf))

    @cached_property
    def corrected(self) -> CorrectedCurves:
        """Return the mean curves of the state's pulls, over the speeds that they share; short pulls give nothing."""
        pulls = self.averaged_pulls
        if len(pulls) == 1:
            return pulls[0].corrected
        return _mean_curves([pull.corrected for pull in pulls])

    @cached_property
    def readings(self) -> PullReadings:
        """Return the corrected readings of the pulls behind the mean curves, sorted by speed."""
        pulls = self.averaged_pulls
        speed, torque, watts = (
            np.concatenate([getattr(pull.readings, name) for pull in pulls]) for name in ("speed", "torque", "power")
        )
        order = np.argsort(speed, kind="stable")
        return PullReadings(speed=speed[order], torque=torque[order], power=watts[order])

    @cached_property
    def peaks(self) -> PullPeaks:
        """Return the peaks of the mean curves."""
        if len(self.averaged_pulls) == 1:
            return self.averaged_pulls[0].peaks
        torque = peak(self.corrected.torque_curve)
        return PullPeaks(
            torque=torque,
            power=peak(self.corrected.power_curve),
            torque_band=torque_band(self.corrected.torque_curve) if torque.value > 0 else (),
        )

    @property
    def peak_torque(self) -> StatePeak:
        """Return the peak of the mean torque curve with its 95 % interval."""
        return self._peak(self.peaks.torque)

    @property
    def peak_power(self) -> StatePeak:
        """Return the peak of the mean power curve with its 95 % interval."""
        return self._peak(self.peaks.power)

    def makes_more_power_than(self, other: EngineState) -> bool:
        """Return whether its peak power is above another state's by more than the 95 % interval of the difference.

        What all pulls share is in both peaks, and drops out of the difference.
        """
        top, other_top = self.peaks.power, other.peaks.power
        interval = half_width(*self._own_uncertainty(top), *other._own_uncertainty(other_top))
        return bool(top.value - other_top.value > interval)

    def _own_uncertainty(self, top: CurvePeak) -> tuple[tuple[float, float], ...]:
        """Return the standard uncertainty of a peak from the scatter between pulls and from that of the readings."""
        between_pulls = self.scatter.relative * abs(top.value) / len(self.averaged_pulls) ** 0.5
        return (between_pulls, self.scatter.freedom), (top.deviation, top.freedom)

    def _peak(self, top: CurvePeak) -> StatePeak:
        return StatePeak(
            value=top.value,
            half_width=half_width(*self._own_uncertainty(top), (self.shared * abs(top.value), math.inf)),
            speed=top.speed,
            speed_step=top.speed_step,
            at_end=top.at_end,
        )

    @property
    def averaged_pulls(self) -> list[PullResult]:
        """Return the pulls behind the mean curves: those that cover nearly all the speeds of the widest."""
        widest = max(self.pulls, key=lambda pull: _width(pull.corrected.torque_curve))
        needed = _FULL_RANGE * _width(widest.corrected.torque_curve)
        return [pull for pull in self.pulls if pull is widest or _shared_width(pull, widest) >= needed > 0]


def _width(curve: Curve) -> float:
    return curve.highest - curve.lowest


def _shared_width(first: PullResult, second: PullResult) -> float:
    low, high = overlap([first.corrected.torque_curve, second.corrected.torque_curve]) or (0.0, 0.0)
    return high - low


def engine_states(pulls: Sequence[PullResult], scatter: PullScatter) -> tuple[EngineState, ...]:
    """Return the states of the engine that the counted pulls show, in the order of their first pulls."""
    return tuple(EngineState(pulls=group, scatter=scatter) for group in group_repeats(pulls))


def _mean_curves(curves: Sequence[CorrectedCurves]) -> CorrectedCurves:
    torque_curve = mean_curve([item.torque_curve for item in curves])
    speed, torque = (torque_curve.speed, torque_curve.value) if torque_curve.speed.size else torque_curve.points()
    accelerations = [item.acceleration for item in curves]
    acceleration = None
    if all(item is not None for item in accelerations):
        acceleration = _mean_at(speed, curves, lambda item: item.acceleration)
    return CorrectedCurves(
        torque_curve=torque_curve,
        power_curve=map_curve(torque_curve, lambda speed, value: np.asarray(power.power(value, speed))),
        speed=speed,
        torque=torque,
        power=np.asarray(power.power(torque, speed)),
        observed_torque=_mean_at(speed, curves, lambda item: item.observed_torque),
        acceleration=acceleration,
    )


def _mean_at(
    speed: Array, curves: Sequence[CorrectedCurves], values_of: Callable[[CorrectedCurves], Array | None]
) -> Array:
    """Return the mean of one of the arrays of several pulls at some speeds [rev/s]."""
    rows = [np.interp(speed, item.speed, values) for item in curves if (values := values_of(item)) is not None]
    return np.asarray(np.mean(rows, axis=0))
