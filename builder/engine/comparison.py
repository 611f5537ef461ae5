"""Comparison of pulls: repeatability, and the gain of a change with its 95 % interval.

Three things make two pulls differ with nothing changed, and all three count. The whole curve comes out higher or lower
(scatter and drift between pulls, :mod:`builder.engine.pull_scatter`); the readings scatter along the speed
(:mod:`builder.engine.autocorrelated_noise`); and the last digit of the log hides the rest
(:mod:`builder.engine.resolution`).

Curves come from :func:`builder.engine.curves.curve`; speeds [rev/s], values in any one unit. Noise of the readings is
estimated on the readings themselves, not on the smoothed curve, in which neighbors share their noise by construction.

Sources: JCGM 100 (GUM) 4.2, 4.3, annex G (Student's t; G.4.1 for the degrees of freedom of a sum).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from builder.engine.autocorrelated_noise import MIN_READINGS, MeanNoise, noise_of_mean, student_t_quantile
from builder.engine.curves import Curve, mean_over, overlap
from builder.engine.pull_scatter import Scatter
from builder.engine.smoothing import smoother_rows
from builder.engine.uncertainty import effective_freedom
from builder.engine.validation import Array

#: Share of intervals that hold the true mean difference.
CONFIDENCE = 0.95
#: Share of bands that hold the whole curve of difference: mean and curve together claim a false gain in some 5 of 100.
BAND_CONFIDENCE = 0.975

GainVerdict = Literal["gain", "loss", "gain and loss", "no measurable change", "not known"]

#: Most cells on which two pulls are compared reading by reading.
_MAX_CELLS = 90
#: Two pulls were logged at the same speeds if their readings are this near, as a share of the window's width.
_SAME_SPEED = 1 / 64


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Repeatability:
    """How far pulls differ with nothing changed between them, in the unit of the curves; speeds [rev/s].

    ``deviation``: standard deviation at each ``speed``; ``overall``: root mean square of those; ``of_means``:
    standard deviation of the pulls' means over the range ``low`` to ``high``; ``relative``: ``overall`` over
    the mean value; ``freedom``: degrees of freedom, one less than the pulls.
    """

    speed: Array
    deviation: Array
    overall: float
    of_means: float
    relative: float
    low: float
    high: float
    pulls: int
    freedom: int


@dataclass(frozen=True, slots=True)
class SpeedRange:
    """Speeds from ``low`` to ``high`` [rev/s] in which a difference exceeds its noise, and its mean there."""

    low: float
    high: float
    mean: float


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class PullGroup:
    """One pull, or several with nothing changed between them: their curves and their positions in the session.

    ``resolution``: standard uncertainty of the mean of one pull from the last digit of its log; ``step``: that digit.
    Both in the unit of the curves.
    """

    curves: tuple[Curve, ...]
    position: tuple[float, ...]
    resolution: float = 0.0
    step: float = 0.0


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Gain:
    """One pull (or several repeats) against another, over the speeds ``low`` to ``high`` [rev/s] they share.

    ``mean``: mean difference, after less before, less the drift; ``relative``: over the mean before; its
    ``standard_uncertainty`` and ``half_width`` of the 95 % interval (NaN where there are too few readings);
    ``freedom``: degrees of freedom. ``drift``: what was taken off the mean difference as drift. ``speed``,
    ``difference``, ``band``: the curve of difference and the half width of the band that noise alone would stay
    inside, at all speeds together, 97.5 times in 100. ``significant_ranges``: the ranges of speed in which the
    difference leaves that band.
    """

    low: float
    high: float
    mean: float
    relative: float
    standard_uncertainty: float
    half_width: float
    freedom: float
    drift: float
    verdict: GainVerdict
    speed: Array
    difference: Array
    band: Array
    significant_ranges: tuple[SpeedRange, ...]

    @property
    def measurable(self) -> bool:
        """Return whether the mean difference, or the difference in a range of speeds, is more than the noise."""
        return self.verdict in ("gain", "loss", "gain and loss")


def repeatability(pulls: Sequence[Curve], low: float = -np.inf, high: float = np.inf) -> Repeatability:
    """Return the standard deviation between repeat pulls, at each speed of their common grid and overall.

    ``low`` and ``high`` [rev/s] narrow the range. Raises ValueError for fewer than two pulls or pulls that
    share no speeds. Source: JCGM 100, 4.2.
    """
    if len(pulls) < 2:
        raise ValueError("repeatability needs at least two pulls with nothing changed between them")
    low, high = _common_range(pulls, low, high)
    speed = _grid(pulls, low, high)
    values = np.stack([pull.at(speed) for pull in pulls])
    deviation = np.std(values, axis=0, ddof=1)
    overall = float(np.sqrt(np.mean(deviation**2)))
    means = np.array([mean_over(pull, low, high) for pull in pulls])
    level = abs(float(means.mean()))
    return Repeatability(
        speed=speed,
        deviation=deviation,
        overall=overall,
        of_means=float(np.std(means, ddof=1)),
        relative=overall / level if level > 0 else float("nan"),
        low=low,
        high=high,
        pulls=len(pulls),
        freedom=len(pulls) - 1,
    )


def gain(
    before: PullGroup,
    after: PullGroup,
    scatter: Scatter,
    low: float = -np.inf,
    high: float = np.inf,
    *,
    repeats: Sequence[Sequence[Curve]] = (),
) -> Gain:
    """Return what a change was worth: the pulls after it against the pulls before it.

    ``scatter``: of the mean of a pull, over that mean [-], with the session's drift. ``repeats``: all groups of
    repeat pulls of the session, which show how far the shape of a curve scatters. ``low`` and ``high`` [rev/s] narrow
    the range. The verdict says "gain" or "loss" where the 95 % interval of the mean leaves out zero or the curve of
    difference leaves its band.

    Raises ValueError if a side is empty or the pulls share no speeds. Range: see
    :func:`builder.engine.autocorrelated_noise.noise_of_mean`.
    Source: JCGM 100, 4.2, F.2.2.1 and annex G.
    """
    if not before.curves or not after.curves:
        raise ValueError("a gain needs at least one pull before the change and one after it")
    both = [*before.curves, *after.curves]
    low, high = _common_range(both, low, high)
    speed = _grid(both, low, high)
    curves = [np.mean([pull.at(speed) for pull in group.curves], axis=0) for group in (before, after)]
    earlier, later = (
        float(np.mean([mean_over(pull, low, high) for pull in group.curves])) for group in (before, after)
    )
    level = abs(earlier)
    drift = scatter.drift * float(np.mean(after.position) - np.mean(before.position))
    shape = np.abs(curves[0]) / level if level > 0 else np.ones(speed.size)
    difference = curves[1] - curves[0] - drift * level * shape
    mean = later - earlier - drift * level
    noise = _noise(before, after, scatter, level, low, high, speed)
    windows = _windows(both, low, high)
    offset = student_t_quantile(BAND_CONFIDENCE, max(1.0, noise.freedom)) * noise.uncertainty * shape
    band = np.hypot(offset, _shape_band(before, after, repeats, noise, low, high, speed, windows))
    ranges = _ranges(speed, difference, band, both[0].width)
    return Gain(
        low=low,
        high=high,
        mean=mean,
        relative=mean / level if level > 0 else float("nan"),
        standard_uncertainty=noise.uncertainty,
        half_width=noise.half_width,
        freedom=noise.freedom,
        drift=drift * level,
        verdict=_verdict(mean, noise.half_width, ranges),
        speed=speed,
        difference=difference,
        band=band,
        significant_ranges=ranges,
    )


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Noise:
    """Noise of a mean difference, and of the readings behind it (None: too few)."""

    uncertainty: float
    half_width: float
    freedom: float
    readings: MeanNoise | None
    reading_speed: Array


def _verdict(mean: float, half_width: float, ranges: Sequence[SpeedRange]) -> GainVerdict:
    if not np.isfinite(half_width):
        return "not known"
    signs = {bool(part.mean > 0) for part in ranges} | ({mean > 0} if abs(mean) > half_width else set())
    if not signs:
        return "no measurable change"
    return "gain and loss" if len(signs) > 1 else "gain" if signs == {True} else "loss"


def _common_range(pulls: Sequence[Curve], low: float, high: float) -> tuple[float, float]:
    shared = overlap(pulls, low, high)
    if shared is None:
        raise ValueError("the pulls have no range of speeds in common")
    return shared


def _grid(pulls: Sequence[Curve], low: float, high: float) -> Array:
    """Return the grid speeds of the first pull within the range; where none lies there, the ends of the range."""
    inside = pulls[0].speed[(pulls[0].speed >= low) & (pulls[0].speed <= high)]
    return inside if inside.size > 1 else np.array([low, high])


def _windows(pulls: Sequence[Curve], low: float, high: float) -> float:
    """Return how many ranges of the smoothed curves are independent of each other."""
    readings = min(int(np.sum((pull.reading_speed >= low) & (pull.reading_speed <= high))) for pull in pulls)
    return float(max(1.0, min((high - low) / (pulls[0].width / 2), readings)))


def _noise(
    before: PullGroup, after: PullGroup, scatter: Scatter, level: float, low: float, high: float, speed: Array
) -> _Noise:
    """Return the noise of the mean difference: scatter and drift between pulls, readings, and last digits."""
    between = scatter.variance.value * level**2 * scatter.variance_of_difference(before.position, after.position)
    at, reading_noise = readings_noise(before.curves[0], after.curves[0], low, high)
    if reading_noise is None:
        unknown = float("nan")
        return _Noise(uncertainty=unknown, half_width=unknown, freedom=0.0, readings=None, reading_speed=at)
    # The scatter of the session's repeats holds the noise of their readings already; what was known before does not.
    prior_share = 1 - scatter.repeats / scatter.variance.freedom
    pulls_share = (1 / len(before.curves) + 1 / len(after.curves)) / 2
    within = wide_variance(reading_noise) * pulls_share * prior_share
    digits = before.resolution**2 + after.resolution**2
    total = between + within + digits
    freedom = effective_freedom((between, scatter.variance.freedom), (within, reading_noise.freedom), (digits, np.inf))
    uncertainty = float(np.sqrt(total))
    half_width = student_t_quantile(CONFIDENCE, freedom) * uncertainty
    return _Noise(
        uncertainty=uncertainty, half_width=half_width, freedom=freedom, readings=reading_noise, reading_speed=at
    )


def wide_variance(noise: MeanNoise) -> float:
    """Return the variance of a mean of readings that gives its 95 % interval with Student's t."""
    return float((noise.half_width / student_t_quantile(CONFIDENCE, noise.freedom)) ** 2)


def readings_noise(before: Curve, after: Curve, low: float, high: float) -> tuple[Array, MeanNoise | None]:
    """Return the noise of the difference of two pulls from how their readings scatter about each other.

    With it the speeds [rev/s] of the readings that were compared; None where there are too few.
    """
    at, difference = reading_differences(before, after, low, high)
    if at.size < MIN_READINGS:
        return at, None
    edges = np.concatenate([[low], (at[1:] + at[:-1]) / 2, [high]])
    return at, noise_of_mean(at, difference, np.diff(edges) / (high - low), before.width)


def smoothed_variance(at: Array, noise: MeanNoise, speed: Array, width: float) -> Array:
    """Return the variance of the smoothed difference at each speed, from the noise of its readings at ``at``."""
    rows = smoother_rows(at, np.clip(speed, at[0], at[-1]), width)[0]
    lag = np.abs(np.subtract.outer(np.arange(at.size), np.arange(at.size)))
    return np.asarray(np.maximum(np.sum((rows @ noise.covariance[lag]) * rows, axis=1), 0.0))


def _shape_band(
    before: PullGroup,
    after: PullGroup,
    repeats: Sequence[Sequence[Curve]],
    noise: _Noise,
    low: float,
    high: float,
    speed: Array,
    windows: float,
) -> Array:
    """Return the half width of the band for what differs from speed to speed, at all speeds together."""
    if noise.readings is None:
        return np.full(speed.size, np.nan)
    pulls_share = 1 / len(before.curves) + 1 / len(after.curves)
    width = before.curves[0].width
    level = 1 - (1 - BAND_CONFIDENCE) / windows
    variance = smoothed_variance(noise.reading_speed, noise.readings, speed, width) * pulls_share / 2
    # A smoothed value holds so many digits that were rounded independently.
    rounded = max(1.0, noise.reading_speed.size / windows)
    variance = variance + (before.step**2 + after.step**2) / 12 / rounded
    half_width = student_t_quantile(level, noise.readings.freedom) * np.sqrt(variance)
    shapes, freedom = _shape_variance(repeats, speed, low, high)
    if freedom:
        quantile = student_t_quantile(level, max(1.0, freedom * max(windows - 1, 1.0)))
        half_width = np.maximum(half_width, quantile * float(np.sqrt(shapes * pulls_share)))
    return np.asarray(half_width)


def _shape_variance(groups: Sequence[Sequence[Curve]], speed: Array, low: float, high: float) -> tuple[float, int]:
    """Return the mean variance of repeats about each other once their means are taken off, and its repeats."""
    squares, freedom = 0.0, 0
    for group in groups:
        covering = [pull for pull in group if pull.lowest <= low + 1e-9 and pull.highest >= high - 1e-9]
        if len(covering) < 2:
            continue
        curves = np.stack([pull.at(speed) - mean_over(pull, low, high) for pull in covering])
        squares += float(np.mean(np.sum((curves - curves.mean(axis=0)) ** 2, axis=0)))
        freedom += len(covering) - 1
    return (squares / freedom if freedom else 0.0), freedom


def reading_differences(before: Curve, after: Curve, low: float, high: float) -> tuple[Array, Array]:
    """Return the readings of one pull less those of another, unsmoothed: speeds and differences.

    Where the two were logged at the same speeds, reading by reading; else as means over cells that hold
    readings of both. A reading that lies a little off the common speed is moved there along its smoothed
    curve, which adds no noise worth speaking of. Shapes: (cells,), at most ninety and some. Speeds [rev/s].
    """
    first, second = _within(before, low, high), _within(after, low, high)
    if first.size == 0 or second.size == 0:
        return np.empty(0), np.empty(0)
    cell = (high - low) / _MAX_CELLS
    if first.size > 1 and second.size > 1:
        spacing = max(float(np.median(np.diff(first))), float(np.median(np.diff(second))))
        nearest = np.clip(np.searchsorted(second, first), 1, second.size - 1)
        nearest = nearest - (first - second[nearest - 1] < second[nearest] - first)
        gap = np.abs(second[nearest] - first)
        matched = gap <= min(before.width * _SAME_SPEED, spacing / 4)
        if matched.mean() > 0.9 and spacing >= 0.8 * cell:
            at = first[matched]
            return at, _shifted(after, second[nearest][matched], at) - _shifted(before, at, at)
        # Wide enough that hardly a cell goes empty where the two were logged at other speeds.
        cell = max(cell, 1.5 * spacing)
    cells = max(1, int((high - low) / cell))
    edges = np.linspace(low, high, cells + 1)
    middle = (edges[1:] + edges[:-1]) / 2
    sides = []
    for pull, speeds in ((before, first), (after, second)):
        index = np.clip(np.searchsorted(edges, speeds, side="right") - 1, 0, cells - 1)
        rows = np.bincount(index, minlength=cells)
        level = np.bincount(index, weights=_shifted(pull, speeds, middle[index]), minlength=cells)
        sides.append(np.where(rows > 0, level / np.maximum(rows, 1), np.nan))
    difference = sides[1] - sides[0]
    known = np.isfinite(difference)
    return middle[known], difference[known]


def _within(curve: Curve, low: float, high: float) -> Array:
    rounding = 1e-9 * high
    return curve.reading_speed[(curve.reading_speed >= low - rounding) & (curve.reading_speed <= high + rounding)]


def _shifted(curve: Curve, speeds: Array, to: Array) -> Array:
    """Return the readings of the curve at their speeds, moved to nearby speeds along the smoothed curve."""
    reading = curve.reading_value[np.searchsorted(curve.reading_speed, speeds)]
    inside = np.clip(to, curve.lowest, curve.highest)
    return np.asarray(reading + curve.at(inside) - curve.at(np.clip(speeds, curve.lowest, curve.highest)))


def _ranges(speed: Array, difference: Array, band: Array, width: float) -> tuple[SpeedRange, ...]:
    """Return the ranges in which the difference stays outside its band on one side, a quarter window or longer."""
    side = np.where(np.abs(difference) > band, np.sign(difference), 0.0)
    ranges = []
    start = 0
    for k in range(1, speed.size + 1):
        if k < speed.size and side[k] == side[start]:
            continue
        low, high = float(speed[start]), float(speed[k - 1])
        if side[start] != 0 and high - low >= width / 4 * (1 - 1e-9):
            mean = float(np.trapezoid(difference[start:k], speed[start:k])) / (high - low)
            ranges.append(SpeedRange(low, high, mean))
        start = k
    return tuple(ranges)
