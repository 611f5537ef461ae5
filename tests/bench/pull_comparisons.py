"""What is said of changes, drift and optima, against simulated sessions whose truth is known.

Every session has its own scatter between pulls, drift, noise along the speed, spacing of the readings and last digit of
the log. Intervals must hold the truth, and nothing may be claimed where nothing is, at the rates of `CRITERIA`.

    python -m tests.bench --only comparisons

`tests/bench/test_pull_comparisons.py` runs a bounded part of it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.signal import lfilter

from builder.engine.comparison import PullGroup, gain
from builder.engine.curves import Curve, curve, mean_over
from builder.engine.pull_scatter import RepeatGroup, Scatter, Variance, drift, scatter_of_repeats
from builder.engine.resolution import last_digit, uncertainty_of_mean
from builder.engine.validation import Array

LOWEST, HIGHEST = 2000.0, 6000.0
READING_NOISE = 0.005
"""Standard deviation of a reading about the curve of its pull, over the torque."""

BLOCKS = ("AB", "AAB", "AABB", "AAABBB")
"""Orders of the pulls before (A) and after (B) a change: 1+1, 2+1, 2+2, 3+3."""
INTERLEAVED = ("ABA", "AABA", "ABAB", "ABABAB")
"""The same with the baseline pulled again after the change."""
SCATTERS = (0.001, 0.002, 0.003, 0.004, 0.005, 0.006)
PRIORS = (0.003, 0.004, 0.005)
PRIOR_FREEDOM = 6.0
DRIFTS = (0.0, 0.001, 0.002)
CORRELATIONS = (0.0, 0.5, 0.9)
SPACINGS = (10.0, 50.0, 100.0, 250.0, 500.0)
DIGITS = (0.1, 1.0, 2.0, 5.0)


@dataclass(frozen=True, kw_only=True)
class Conditions:
    """How the pulls of a session come about; scatter, prior and drift (per pull) over the torque.

    ``scatter`` None: drawn from the prior for every session. ``correlation`` of the noise from reading to reading,
    ``spacing`` of the readings [rpm], ``digit`` that torque is written to [N m].
    """

    order: str = "AB"
    scatter: float | None = None
    prior: float = 0.005
    freedom: float = PRIOR_FREEDOM
    drift: float = 0.0
    correlation: float = 0.5
    spacing: float = 100.0
    digit: float = 0.1


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """One session: whether the interval held the true gain, its half width over the torque, and what was claimed."""

    held: bool
    half_width: float
    claimed: bool
    drift_seen: bool


def torque(rpm: Array) -> Array:
    """Return the torque of the invented engine [N m]."""
    return np.asarray(300 * (1 - 0.3 * ((rpm - 4200) / 2400) ** 2))


def session_scatter(random: np.random.Generator, conditions: Conditions) -> float:
    """Return the scatter of one session: the stated one, or one drawn from the prior."""
    if conditions.scatter is not None:
        return conditions.scatter
    return float(conditions.prior * np.sqrt(conditions.freedom / random.chisquare(conditions.freedom)))


@dataclass(frozen=True, eq=False, kw_only=True)
class SimulatedPull:
    """A pull as it comes out of a log."""

    curve: Curve
    resolution: float
    step: float


def simulated_pull(
    random: np.random.Generator, conditions: Conditions, level: float, change: float = 0.0, tilt: float = 0.0
) -> SimulatedPull:
    """Return a pull of the engine times ``level``; ``change`` and ``tilt`` [N m] along the speed are added."""
    start = LOWEST + random.uniform(0, min(conditions.spacing, 50.0))
    rpm = np.arange(start, HIGHEST + 1e-6, conditions.spacing)
    true = torque(rpm) + change + tilt * (rpm - 4000) / 2000
    noise = random.normal(0, READING_NOISE * np.sqrt(1 - conditions.correlation**2), rpm.size + 100)
    noise = lfilter([1.0], [1.0, -conditions.correlation], noise)[100:]
    written = np.round(true * level * (1 + noise) / conditions.digit) * conditions.digit
    step = last_digit(np.round(written, 6))
    return SimulatedPull(curve=curve(rpm / 60, written), resolution=uncertainty_of_mean(written, step), step=step)


def pull_levels(random: np.random.Generator, conditions: Conditions, pulls: int) -> Array:
    """Return how much higher or lower each pull of a session comes out, over its true torque."""
    scatter = session_scatter(random, conditions)
    return np.asarray(1 + random.normal(0, scatter, pulls) + conditions.drift * np.arange(pulls))


def known_scatter(groups: Sequence[tuple[Sequence[SimulatedPull], Sequence[int]]], conditions: Conditions) -> Scatter:
    """Return what a session shows of the scatter between its pulls, with the prior."""
    repeats = []
    for pulls, positions in groups:
        means = np.array([mean_over(pull.curve) for pull in pulls])
        position = tuple(float(at) for at in positions)
        repeats.append(RepeatGroup(position=position, value=tuple((means / means.mean()).tolist())))
    return scatter_of_repeats(repeats, Variance(value=conditions.prior**2, freedom=conditions.freedom))


def simulate_change(random: np.random.Generator, conditions: Conditions, *, changed: bool = True) -> Outcome:
    """Return what is said of one change, of -2 to 2 % of torque, or of none."""
    levels = pull_levels(random, conditions, len(conditions.order))
    change, tilt = (random.uniform(-6, 6), random.uniform(-4, 4)) if changed else (0.0, 0.0)
    pulls = [
        simulated_pull(random, conditions, level, *((change, tilt) if side == "B" else ()))
        for side, level in zip(conditions.order, levels, strict=True)
    ]
    sides = [[at for at, side in enumerate(conditions.order) if side == name] for name in "AB"]
    groups = [([pulls[at] for at in side], side) for side in sides]
    before, after = (
        PullGroup(
            curves=tuple(pull.curve for pull in group),
            position=tuple(float(at) for at in positions),
            resolution=max(pull.resolution for pull in group),
            step=max(pull.step for pull in group),
        )
        for group, positions in groups
    )
    repeats = [[pull.curve for pull in group] for group, _ in groups if len(group) > 1]
    found = gain(before, after, known_scatter(groups, conditions), repeats=repeats)
    true = change + tilt * (30 * (found.low + found.high) - 4000) / 2000
    return Outcome(
        held=bool(abs(found.mean - true) <= found.half_width),
        half_width=found.half_width / 270,
        claimed=found.measurable,
        drift_seen=any(_drift_seen(group, positions) for group, positions in groups),
    )


def _drift_seen(pulls: Sequence[SimulatedPull], positions: Sequence[int]) -> bool:
    if len(pulls) < 2:
        return False
    group = RepeatGroup(
        position=tuple(float(at) for at in positions), value=tuple(mean_over(pull.curve) for pull in pulls)
    )
    return drift(group, max(pull.resolution for pull in pulls)).verdict == "seen"
