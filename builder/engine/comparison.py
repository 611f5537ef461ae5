"""Comparison of pulls: repeatability, drift, and the gain of a change, each with its noise.

Noise is taken from repeat pulls where there are any: the same engine pulled again, nothing changed, does not
give the same curve, and that difference is the true noise of a pull. Without repeats it is taken from how
the readings of the two pulls scatter about each other along the speed; what a repeat would have shown is then
not known, and the result says which noise it used (``basis``).

Curves come from :func:`builder.engine.curves.curve`; speeds [rev/s], values in any one unit. Noise is estimated
on the readings themselves, not on the smoothed curve, in which neighbors share their noise by construction.

Sources: JCGM 100 (GUM) 4.2, 4.3, annex G and H.3.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from builder.engine.autocorrelated_noise import MIN_READINGS, MeanNoise, noise_of_mean, student_t_quantile
from builder.engine.curves import Curve, mean_over, overlap
from builder.engine.smoothing import smoother_rows
from builder.engine.validation import Array

Basis = Literal["repeats", "readings", "not known"]
GainVerdict = Literal[
    "gained more than the noise", "lost more than the noise", "no more than the noise", "noise not known"
]

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
class Gain:
    """One pull (or several repeats) against another, over the speeds ``low`` to ``high`` [rev/s] they share.

    ``mean``: mean difference, after less before; ``relative``: over the mean before; its
    ``standard_uncertainty`` and ``half_width`` of the 95 % interval (NaN where the noise is not known);
    ``effective_readings``: how many independent readings it rests on; ``freedom``: degrees of freedom.
    ``speed``, ``difference``, ``band``: the curve of difference and the half width of the band that noise
    alone would stay inside, at all speeds together, 95 times in 100. ``significant_ranges``: the ranges of
    speed in which the difference leaves that band.
    """

    low: float
    high: float
    mean: float
    relative: float
    standard_uncertainty: float
    half_width: float
    effective_readings: float
    freedom: float
    basis: Basis
    verdict: GainVerdict
    speed: Array
    difference: Array
    band: Array
    significant_ranges: tuple[SpeedRange, ...]

    @property
    def beyond_noise(self) -> bool:
        """Return whether the mean difference is more than the noise, up or down."""
        return self.verdict in ("gained more than the noise", "lost more than the noise")


@dataclass(frozen=True, slots=True, kw_only=True)
class Drift:
    """How the last of some repeats differs from the first, in the unit of the curves.

    ``change``: last less first, with the ``half_width`` of its 95 % interval from the noise within the pulls;
    ``relative``: over the first; ``per_pull``: slope of the pulls' means in their order, by least squares;
    ``beyond_noise``: whether the change is more than readings within a pull scatter.
    """

    first_mean: float
    last_mean: float
    change: float
    relative: float
    per_pull: float
    half_width: float
    beyond_noise: bool
    low: float
    high: float
    pulls: int


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


def drift(pulls: Sequence[Curve], low: float = -np.inf, high: float = np.inf) -> Drift:
    """Return the whether repeats crept up or down: the last against the first, in the order they were made.

    ``low`` and ``high`` [rev/s] narrow the range. Raises ValueError for fewer than two pulls or pulls that
    share no speeds. Source: JCGM 100, H.3 (slope by least squares).
    """
    if len(pulls) < 2:
        raise ValueError("drift needs a first and a last pull with nothing changed between them")
    low, high = _common_range(pulls, low, high)
    means = np.array([mean_over(pull, low, high) for pull in pulls])
    order = np.arange(means.size) - (means.size - 1) / 2
    change = gain([pulls[0]], [pulls[-1]], low, high)
    return Drift(
        first_mean=float(means[0]),
        last_mean=float(means[-1]),
        change=change.mean,
        relative=change.relative,
        per_pull=float(order @ means / (order @ order)),
        half_width=change.half_width,
        beyond_noise=change.beyond_noise,
        low=low,
        high=high,
        pulls=means.size,
    )


def gain(
    before: Sequence[Curve],
    after: Sequence[Curve],
    low: float = -np.inf,
    high: float = np.inf,
    *,
    repeats: Sequence[Sequence[Curve]] = (),
) -> Gain:
    """Return what a change was worth: the pulls after it against the pulls before it.

    Each side holds one pull or several with nothing changed between them. ``repeats``: further groups of
    repeat pulls of the same session, whose scatter also shows the noise of a pull. With at least one repeat
    anywhere the noise is the scatter between repeats, pooled; else that of the readings. ``low`` and ``high``
    [rev/s] narrow the range. The verdict is "more than the noise" where the 95 % interval leaves out zero.

    Raises ValueError if a side is empty or the pulls share no speeds. Range: see
    :func:`builder.engine.autocorrelated_noise.noise_of_mean`; one repeat is enough for an interval, but a wide one.
    Source: JCGM 100, 4.2.4 (pooled variance), annex G (Student's t).
    """
    if not before or not after:
        raise ValueError("a gain needs at least one pull before the change and one after it")
    both = [*before, *after]
    low, high = _common_range(both, low, high)
    speed = _grid(both, low, high)
    earlier = float(np.mean([mean_over(pull, low, high) for pull in before]))
    later = float(np.mean([mean_over(pull, low, high) for pull in after]))
    difference = np.mean([pull.at(speed) for pull in after], axis=0) - np.mean(
        [pull.at(speed) for pull in before], axis=0
    )
    windows = _windows(both, low, high)
    pulls_share = 1 / len(before) + 1 / len(after)
    noise = _noise_of_repeats([before, after, *repeats], speed, low, high, pulls_share, windows)
    if noise is None:
        noise = _noise_of_readings(before[0], after[0], speed, low, high, windows)
    mean = later - earlier
    return Gain(
        low=low,
        high=high,
        mean=mean,
        relative=mean / abs(earlier) if earlier != 0 else float("nan"),
        standard_uncertainty=noise.uncertainty,
        half_width=noise.half_width,
        effective_readings=noise.effective,
        freedom=noise.freedom,
        basis=noise.basis,
        verdict=_verdict(mean, noise.half_width),
        speed=speed,
        difference=difference,
        band=noise.band,
        significant_ranges=_ranges(speed, difference, noise.band, both[0].width),
    )


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Noise:
    """Noise of a mean difference and of the curve of difference."""

    basis: Basis
    uncertainty: float
    half_width: float
    effective: float
    freedom: float
    band: Array


def _verdict(mean: float, half_width: float) -> GainVerdict:
    if not np.isfinite(half_width):
        return "noise not known"
    if abs(mean) <= half_width:
        return "no more than the noise"
    return "gained more than the noise" if mean > 0 else "lost more than the noise"


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


def _noise_of_repeats(
    groups: Sequence[Sequence[Curve]], speed: Array, low: float, high: float, share: float, windows: float
) -> _Noise | None:
    """Return the noise from pulls with nothing changed between them, pooled over the groups; None without any.

    A pull differs from its repeat by an offset (the whole curve higher or lower) and by its shape. The offset
    is one draw for the whole curve; the shape has a new chance at every stretch of it.
    """
    offsets, shapes, freedom = 0.0, 0.0, 0
    for group in groups:
        covering = [pull for pull in group if pull.lowest <= low + 1e-9 and pull.highest >= high - 1e-9]
        if len(covering) < 2:
            continue
        means = np.array([mean_over(pull, low, high) for pull in covering])
        curves = np.stack([pull.at(speed) for pull in covering]) - means[:, None]
        offsets += float(np.sum((means - means.mean()) ** 2))
        shapes += float(np.mean(np.sum((curves - curves.mean(axis=0)) ** 2, axis=0)))
        freedom += len(covering) - 1
    if freedom == 0 or offsets == 0:
        return None
    uncertainty = float(np.sqrt(offsets / freedom * share))
    half = student_t_quantile(0.95, freedom) * uncertainty
    stretches = max(windows - 1, 1.0)
    wobble = float(np.sqrt(shapes / freedom * share)) * student_t_quantile(
        1 - 0.05 / windows, max(1.0, freedom * stretches)
    )
    band = np.full(speed.size, float(np.hypot(half, wobble)))
    return _Noise(
        basis="repeats",
        uncertainty=uncertainty,
        half_width=half,
        effective=freedom + 1.0,
        freedom=float(freedom),
        band=band,
    )


def _noise_of_readings(before: Curve, after: Curve, speed: Array, low: float, high: float, windows: float) -> _Noise:
    """Return the noise from how the readings of two pulls scatter about each other along the speed."""
    at, difference = reading_differences(before, after, low, high)
    if at.size < MIN_READINGS:
        unknown = float("nan")
        return _Noise(
            basis="not known",
            uncertainty=unknown,
            half_width=unknown,
            effective=float(at.size),
            freedom=0.0,
            band=np.full(speed.size, unknown),
        )
    edges = np.concatenate([[low], (at[1:] + at[:-1]) / 2, [high]])
    noise = noise_of_mean(at, difference, np.diff(edges) / (high - low), before.width)
    band = _band_of_readings(at, noise, speed, before.width, windows)
    return _Noise(
        basis="readings",
        uncertainty=noise.standard_uncertainty,
        half_width=noise.half_width,
        effective=noise.effective_readings,
        freedom=noise.freedom,
        band=band,
    )


def _band_of_readings(at: Array, noise: MeanNoise, speed: Array, width: float, windows: float) -> Array:
    """Return the half width of the band that the smoothed noise of the readings stays inside."""
    rows = smoother_rows(at, np.clip(speed, at[0], at[-1]), width)[0]
    lag = np.abs(np.subtract.outer(np.arange(at.size), np.arange(at.size)))
    variance = np.sum((rows @ noise.covariance[lag]) * rows, axis=1)
    factor = student_t_quantile(1 - 0.05 / windows, noise.freedom)
    return np.asarray(factor * np.sqrt(np.maximum(variance, 0.0)))


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
