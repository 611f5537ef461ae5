"""What a build's dyno session adds to the history of its engine: the curves of a state, and two states compared."""

from __future__ import annotations

import math
from dataclasses import dataclass

import msgspec
import numpy as np

from builder.engine.uncertainty import half_width
from builder.engine.validation import Array


class DynoState(msgspec.Struct, frozen=True, array_like=True):
    """A state of the engine on the dyno: mean corrected torque [N m] on an even grid of speeds [rev/s].

    ``scatter`` is the standard deviation of a pull's mean torque over that torque [-], known with ``freedom`` degrees
    of freedom; ``pulls`` went into the mean. ``shared`` is the standard uncertainty of what all pulls of a session
    share over the torque [-]: calibration, resolution and air, as far as they are recorded.
    """

    name: str
    standard: str
    start: float
    step: float
    torque: tuple[float, ...]
    peak_torque: float
    peak_torque_speed: float
    peak_power: float
    peak_power_speed: float
    scatter: float
    freedom: float
    pulls: int
    date: str | None = None
    shared: float = 0.0

    @property
    def speeds(self) -> Array:
        """The speeds of the grid [rev/s]."""
        return np.asarray(self.start + self.step * np.arange(len(self.torque)), dtype=np.float64)

    @property
    def power(self) -> Array:
        """The power at each speed of the grid [W]."""
        return np.asarray(2 * np.pi * self.speeds * np.asarray(self.torque), dtype=np.float64)


@dataclass(frozen=True, slots=True)
class StateDifference:
    """The mean torque [N m] of two states over the speeds they share [rev/s].

    ``half_width``: of the 95 % interval of the difference, from how far the pulls of each session scatter and, between
    sessions, from what the pulls of either share. What is not recorded of a dyno is not in it.
    """

    before: float
    after: float
    low: float
    high: float
    half_width: float

    @property
    def value(self) -> float:
        """Return how much more the later state made [N m]."""
        return self.after - self.before


def compare_states(before: DynoState, after: DynoState) -> StateDifference | None:
    """Return the mean torque of two states compared.

    States with the same date are of one session. Between sessions calibration and air are taken as independent, which
    is the cautious side. None where they are corrected to different standards, or share no speeds. Source of the
    interval: JCGM 100, G.4.1.
    """
    low = max(before.speeds[0], after.speeds[0])
    high = min(before.speeds[-1], after.speeds[-1])
    if before.standard != after.standard or not low < high:
        return None
    means = [_mean_over(state, float(low), float(high)) for state in (before, after)]
    shares = [
        (state.scatter * mean / state.pulls**0.5, state.freedom)
        for state, mean in zip((before, after), means, strict=True)
    ]
    if before.date is None or before.date != after.date:
        shares += [(state.shared * mean, math.inf) for state, mean in zip((before, after), means, strict=True)]
    return StateDifference(means[0], means[1], float(low), float(high), half_width(*shares))


def _mean_over(state: DynoState, low: float, high: float) -> float:
    """Return the mean torque between two speeds [rev/s] by the trapezoid rule [N m]."""
    inside = state.speeds[(state.speeds > low) & (state.speeds < high)]
    along = np.concatenate([[low], inside, [high]])
    torque = np.interp(along, state.speeds, state.torque)
    return float(np.sum((torque[1:] + torque[:-1]) / 2 * np.diff(along)) / (high - low))
