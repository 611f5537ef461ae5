"""How well a mean over a curve is known when neighbouring readings share their noise.

Readings of one pull are not independent: a gust, a wandering throttle or an oil temperature lasts for some
rows. Taking them as independent makes every change look surer than it is. Here the noise is taken as an even
part and a part whose correlation dies off from row to row (first-order autoregressive). How strong each is
cannot be known exactly from one pull, so the interval is averaged over all strengths, each weighing by how
well it explains the readings (restricted likelihood), instead of trusting the single best one, which is
known to come out too sure.

Sources: JCGM 100 (GUM) 4.2 and annex G; Harville, J. Am. Stat. Assoc. 72 (1977) 320 for the restricted
likelihood; DLMF 8.17 for Student's t.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import exp, lgamma, log, pi, sqrt

import numpy as np
import numpy.typing as npt

from builder.engine.values import Array

#: Fewest readings from which noise can be told at all.
FEWEST = 4
# Strengths of the correlation from one reading to the next, all believed alike beforehand (each stands for
# the stretch around it), and shares of the noise that are even; the readings choose between them. A little
# correlation the other way is allowed for: leaving it out would make independent readings look dependent.
_CORRELATIONS = np.array([-0.45, -0.3, -0.15, 0, 0.15, 0.3, 0.4, 0.5, 0.6, 0.7, 0.77, 0.83, 0.88, 0.92, 0.95, 0.97])
_EVEN_SHARES = np.array([0, 0.3, 0.6, 0.85])
_EVEN_WEIGHTS = np.array([0.85, 0.06, 0.06, 0.03])


@dataclass(frozen=True, slots=True, eq=False)
class MeanNoise:
    """What the readings say about the noise of a weighted mean of theirs.

    ``standard_uncertainty`` of that mean and ``half_width`` of its 95 % interval, in the unit of the readings;
    ``effective_readings``: how many independent readings would make the mean as sure; ``freedom``: degrees of
    freedom; ``covariance``: of one reading with itself, its neighbour, the next but one, ... [unit squared].
    """

    standard_uncertainty: float
    half_width: float
    effective_readings: float
    freedom: float
    covariance: Array


def student_t_tail(t: Array, freedom: float) -> Array:
    """Probability that Student's t exceeds ``t`` on both sides together [-]: P(|T| > t).

    Shape: as ``t``, zero or more. Raises ValueError for degrees of freedom of zero or less.
    Source: DLMF 8.17.22 (continued fraction of the incomplete beta function).
    """
    if freedom <= 0:
        raise ValueError("Student's t needs more than zero degrees of freedom")
    squared = np.square(np.asarray(t, dtype=np.float64))
    near = freedom / (freedom + squared)
    a, b = freedom / 2, 0.5
    swap = near > (a + 1) / (a + b + 2)
    tail = _incomplete_beta(np.where(swap, 0.5, near), a, b)
    centre = _incomplete_beta(np.where(swap, squared / (freedom + squared), 0.5), b, a)
    return np.where(swap, 1 - centre, tail)


def _incomplete_beta(x: Array, a: float, b: float) -> Array:
    """Regularised incomplete beta function I_x(a, b) where its continued fraction converges fast."""
    tiny = 1e-300
    c = np.ones_like(x)
    d = 1 - (a + b) * x / (a + 1)
    d = 1 / np.where(np.abs(d) < tiny, tiny, d)
    fraction = d.copy()
    for m in range(1, 500):
        even = m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m))
        odd = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))
        before = fraction.copy()
        for term in (even, odd):
            d = 1 / (1 + term * d)
            c = 1 + term / c
            fraction = fraction * d * c
        if np.all(np.abs(fraction - before) <= 1e-15 * np.abs(fraction)):
            break
    scale = lgamma(a + b) - lgamma(a) - lgamma(b) - log(a)
    with np.errstate(divide="ignore"):
        front = np.exp(scale + a * np.log(x) + b * np.log1p(-x))
    return np.asarray(front * fraction)


@lru_cache(maxsize=256)
def student_t_quantile(level: float, freedom: float) -> float:
    """The t that holds a share ``level`` of Student's distribution between -t and t: 0.95 for a 95 % interval.

    Raises ValueError unless the level lies between 0 and 1 and there is at least one degree of freedom.
    Range: to twelve figures. Source: DLMF 8.17; inverted by bisection and Newton's method.
    """
    if not 0 < level < 1:
        raise ValueError("the level of an interval must lie between 0 and 1")
    if freedom < 1:
        raise ValueError("an interval needs at least one degree of freedom")
    low, high = 0.0, 2.0
    while float(student_t_tail(np.array(high), freedom)) > 1 - level:
        low, high = high, high * 4
    t = (low + high) / 2
    scale = exp(lgamma((freedom + 1) / 2) - lgamma(freedom / 2)) / sqrt(freedom * pi)
    for _ in range(200):
        excess = float(student_t_tail(np.array(t), freedom)) - (1 - level)
        low, high = (t, high) if excess > 0 else (low, t)
        step = excess / (2 * scale * (1 + t * t / freedom) ** (-(freedom + 1) / 2))
        newton = t + step
        following = newton if low < newton < high else (low + high) / 2
        if abs(following - t) <= 1e-14 * t:
            return following
        t = following
    return t


@dataclass(frozen=True, slots=True, eq=False)
class _Candidates:
    """The kinds of noise the readings choose between, worked out once for a number of readings.

    ``vectors`` (correlations, size, size); for each kind: ``which`` correlation it has, its ``correlation``
    and ``even`` share, ``diagonal`` (kinds, size) of its covariance in those vectors, ``belief`` beforehand.
    """

    vectors: Array
    which: npt.NDArray[np.intp]
    correlation: Array
    even: Array
    diagonal: Array
    belief: Array


@lru_cache(maxsize=16)
def _candidates(size: int) -> _Candidates:
    lag = np.abs(np.subtract.outer(np.arange(size), np.arange(size))).astype(np.float64)
    values, vectors = np.linalg.eigh(np.stack([r**lag for r in _CORRELATIONS]))
    # Uncorrelated noise has no even part apart from itself.
    kinds = [
        (k, e) for k in range(_CORRELATIONS.size) for e in range(_EVEN_SHARES.size) if _CORRELATIONS[k] > 0 or e == 0
    ]
    which, evens = np.array([k for k, _ in kinds]), np.array([e for _, e in kinds])
    even = _EVEN_SHARES[evens]
    diagonal = (1 - even)[:, None] * np.maximum(values[which], 1e-12) + even[:, None]
    belief = np.gradient(_CORRELATIONS)[which] * np.where(_CORRELATIONS[which] > 0, _EVEN_WEIGHTS[evens], 1.0)
    return _Candidates(vectors, which, _CORRELATIONS[which], even, diagonal, belief)


def noise_of_mean(position: Array, reading: Array, weight: Array) -> MeanNoise:
    """Noise of the weighted mean of a row of readings whose true course is a gentle trend.

    The trend is a parabola (forty readings or more), a line (twelve or more) or level; what it leaves is taken
    as noise, so a true course with more bends than that makes the interval wider, never narrower.

    Shapes: ``position`` (readings,) increasing and fairly even, ``reading`` (readings,) in any unit,
    ``weight`` (readings,) adding up to 1. Raises ValueError for fewer than four readings.
    Range: holds what it states (95 % within 2 %) for forty to some hundred readings with a correlation of up
    to 0.8 from one to the next; wider than need be for few readings, too narrow where the correlation reaches
    across a good part of all readings. Source: Harville 1977; JCGM 100.
    """
    size = reading.size
    if size < FEWEST:
        raise ValueError(f"noise cannot be told from fewer than {FEWEST} readings")
    degree = 2 if size >= 40 else 1 if size >= 12 else 0
    across = (position - position.mean()) / max(float(np.ptp(position)) / 2, 1e-300)
    trend = np.stack([across**power for power in range(degree + 1)], axis=1)
    freedom = size - degree - 1
    of = _candidates(size)
    rotated = np.concatenate([reading[:, None], trend, weight[:, None]], axis=1)
    y, x, w = np.split((of.vectors.transpose(0, 2, 1) @ rotated)[of.which], [1, degree + 2], axis=2)
    scaled = x / of.diagonal[:, :, None]
    inner, crossed = x.transpose(0, 2, 1) @ scaled, scaled.transpose(0, 2, 1) @ y
    explained = np.sum(crossed * np.linalg.solve(inner, crossed), axis=(1, 2))
    left = np.maximum(np.sum(y[:, :, 0] ** 2 / of.diagonal, axis=1) - explained, 0.0)
    if left.min() <= 1e-20 * float(reading @ reading):
        # Nothing left but rounding: the readings follow their trend to the last digit.
        return MeanNoise(0.0, 0.0, float(size), float(freedom), np.zeros(size))
    logs = np.log(of.belief) - 0.5 * (
        np.log(of.diagonal).sum(axis=1) + np.linalg.slogdet(inner)[1] + freedom * np.log(left)
    )
    share = np.exp(logs - logs.max())
    share /= share.sum()
    one = left / freedom  # variance of one reading
    mean = one * np.sum(of.diagonal * w[:, :, 0] ** 2, axis=1)
    uncertainty = float(np.sqrt(share @ mean))
    lags = np.arange(size)
    fading = np.power(of.correlation[:, None], lags[None, :])
    covariance = (share * one) @ ((1 - of.even)[:, None] * fading + of.even[:, None] * (lags == 0))
    half = _mixed_half_width(share, np.sqrt(mean), float(freedom))
    return MeanNoise(uncertainty, half, float(covariance[0] / uncertainty**2), float(freedom), covariance)


def _mixed_half_width(share: Array, deviation: Array, freedom: float, level: float = 0.95) -> float:
    """Half width of the interval that holds ``level`` of a mixture of Student's t, each with its deviation."""
    matters = share > 1e-7
    share, deviation = share[matters] / share[matters].sum(), deviation[matters]
    quantile = student_t_quantile(level, freedom)
    low, high = float(deviation.min()) * quantile, float(deviation.max()) * quantile
    scale = exp(lgamma((freedom + 1) / 2) - lgamma(freedom / 2)) / sqrt(freedom * pi)
    half = quantile * float(np.sqrt(share @ deviation**2))
    for _ in range(60):
        t = half / deviation
        excess = float(share @ student_t_tail(t, freedom)) - (1 - level)
        low, high = (half, high) if excess > 0 else (low, half)
        density = 2 * scale * float(share @ ((1 + t * t / freedom) ** (-(freedom + 1) / 2) / deviation))
        newton = half + excess / density
        following = newton if low < newton < high else (low + high) / 2
        if abs(following - half) <= 1e-7 * half:
            return following
        half = following
    return half
