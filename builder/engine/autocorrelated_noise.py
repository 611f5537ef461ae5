"""How well a mean over a curve is known when neighbouring readings share their noise.

Readings of one pull are not independent: a gust, an unsteady throttle or a change of oil temperature lasts for
some rows. Taking them as independent makes every change look more certain than it is. Here the noise has a white
part and a part whose correlation decays from row to row (first-order autoregressive). How strong each is cannot
be known exactly from one pull, so the interval is averaged over all strengths, weighted by how well each explains
the readings (restricted likelihood); the single best one alone would give too narrow an interval.

Sources: JCGM 100 (GUM) 4.2 and annex G; Harville, J. Am. Stat. Assoc. 72 (1977) 320 for the restricted
likelihood; Whittle, Ark. Mat. 2 (1953) 423 for taking the terms of a transform as independent; DLMF 8.17 for
Student's t.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import exp, lgamma, log, pi, sqrt
from statistics import NormalDist

import numpy as np

from builder.engine.validation import Array, require_positive

#: Fewest readings from which noise can be estimated.
MIN_READINGS = 4
_LEVEL = 0.95  # of the intervals
# Strengths of the correlation from one reading to the next, all equally likely a priori (each represents the
# interval around it), and shares of the noise that are white; the readings choose between them. A little
# negative correlation is allowed for: without it, independent readings would look dependent.
_CORRELATIONS = np.array([-0.45, -0.3, -0.15, 0, 0.15, 0.3, 0.4, 0.5, 0.6, 0.7, 0.77, 0.83, 0.88, 0.92, 0.95, 0.97])
_WHITE_SHARES = np.array([0, 0.3, 0.6, 0.85])
_WHITE_WEIGHTS = np.array([0.85, 0.06, 0.06, 0.03])


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class MeanNoise:
    """The noise of a weighted mean of readings, estimated from those readings.

    ``standard_uncertainty`` of that mean and ``half_width`` of its 95 % interval, in the unit of the readings;
    ``effective_readings``: how many independent readings would make it equally certain; ``freedom``: degrees of
    freedom; ``covariance``: of one reading with itself, its neighbor, the next but one, ... [unit squared].
    """

    standard_uncertainty: float
    half_width: float
    effective_readings: float
    freedom: float
    covariance: Array


def student_t_tail(t: Array, freedom: float) -> Array:
    """Return the probability that Student's t exceeds ``t`` on both sides together [-]: P(|T| > t).

    Shape: as ``t``, zero or more. Raises ValueError for degrees of freedom of zero or less.
    Source: DLMF 8.17.22 (continued fraction of the incomplete beta function).
    """
    if freedom <= 0:
        raise ValueError("Student's t needs more than zero degrees of freedom")
    if np.ndim(t) == 0:
        return np.asarray(student_t_tail(np.atleast_1d(t), freedom)[0])
    squared = np.square(np.asarray(t, dtype=np.float64))
    near = freedom / (freedom + squared)
    a, b = freedom / 2, 0.5
    swap = near > (a + 1) / (a + b + 2)
    tail = np.empty_like(near)
    tail[~swap] = _incomplete_beta(near[~swap], a, b)
    tail[swap] = 1 - _incomplete_beta((squared / (freedom + squared))[swap], b, a)
    return tail


def _incomplete_beta(x: Array, a: float, b: float) -> Array:
    """Return the regularised incomplete beta function I_x(a, b) where its continued fraction converges fast."""
    tiny = 1e-300
    c = np.ones_like(x)
    d = 1 - (a + b) * x / (a + 1)
    d = 1 / np.where(np.abs(d) < tiny, tiny, d)
    fraction = d
    for m in range(1, 500):
        even_term = m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m))
        odd_term = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))
        before = fraction
        for term in (even_term, odd_term):
            d = 1 / (1 + term * d)
            c = 1 + term / c
            fraction = fraction * d * c
        if m % 4 == 0 and np.all(np.abs(fraction - before) <= 1e-14 * np.abs(fraction)):
            break
    scale = lgamma(a + b) - lgamma(a) - lgamma(b) - log(a)
    with np.errstate(divide="ignore"):
        front = np.exp(scale + a * np.log(x) + b * np.log1p(-x))
    return np.asarray(front * fraction)


@lru_cache(maxsize=2048)
def student_t_quantile(level: float, freedom: float) -> float:
    """Return the t that holds a share ``level`` of Student's distribution between -t and t (0.95 for 95 %).

    Raises ValueError unless the level lies between 0 and 1 and there is at least one degree of freedom.
    Range: to ten figures. Source: DLMF 8.17; inverted by bisection and Newton's method.
    """
    if not 0 < level < 1:
        raise ValueError("the level of an interval must lie between 0 and 1")
    if freedom < 1:
        raise ValueError("an interval needs at least one degree of freedom")
    normal = NormalDist().inv_cdf((1 + level) / 2)
    # Two terms of the expansion about the normal distribution (Abramowitz and Stegun 26.7.5) to start from.
    t = (
        normal
        + (normal**3 + normal) / (4 * freedom)
        + (5 * normal**5 + 16 * normal**3 + 3 * normal) / (96 * freedom**2)
    )
    low, high = 0.0, t
    while float(student_t_tail(np.array(high), freedom)) > 1 - level:
        low, high = high, high * 2
    scale = exp(lgamma((freedom + 1) / 2) - lgamma(freedom / 2)) / sqrt(freedom * pi)
    for _ in range(200):
        excess = float(student_t_tail(np.array(t), freedom)) - (1 - level)
        low, high = (t, high) if excess > 0 else (low, t)
        step = excess / (2 * scale * (1 + t * t / freedom) ** (-(freedom + 1) / 2))
        newton = t + step
        following = newton if low < newton < high else (low + high) / 2
        if abs(following - t) <= 1e-13 * t:
            return following
        t = following
    return t


@dataclass(frozen=True, slots=True, eq=False)
class _Candidates:
    """The kinds of noise the readings choose between, computed once for a number of readings.

    ``cosines`` (size, size): the readings' cosine transform, whose terms are very nearly independent for noise of
    every such kind; ``variance`` (kinds, size) of those terms. For each kind its ``correlation`` and ``white``
    share, the ``length`` of the correlation in readings, and the logarithm of its prior probability.
    """

    cosines: Array
    variance: Array
    correlation: Array
    white: Array
    length: Array
    log_prior: Array


@lru_cache(maxsize=64)
def _candidates(size: int) -> _Candidates:
    at = np.arange(size)
    cosines = np.cos(np.pi / size * np.outer(at, at + 0.5)) * np.sqrt(2 / size)
    cosines[0] /= np.sqrt(2)
    lag = np.abs(np.subtract.outer(at, at)).astype(np.float64)
    terms = np.stack([np.sum((cosines @ correlation**lag) * cosines, axis=1) for correlation in _CORRELATIONS])
    # Noise without positive correlation is given no further white part.
    choices = [
        (k, share)
        for k, correlation in enumerate(_CORRELATIONS)
        for share in range(_WHITE_SHARES.size if correlation > 0 else 1)
    ]
    strengths, shares = np.array(choices).T
    white, correlation = _WHITE_SHARES[shares], _CORRELATIONS[strengths]
    prior = np.gradient(_CORRELATIONS)[strengths] * np.where(correlation > 0, _WHITE_WEIGHTS[shares], 1.0)
    return _Candidates(
        cosines,
        (1 - white)[:, None] * terms[strengths] + white[:, None],
        correlation,
        white,
        -1 / np.log(np.clip(correlation, 1e-300, None)),
        np.log(prior),
    )


def noise_of_mean(position: Array, reading: Array, weight: Array, knot_spacing: float) -> MeanNoise:
    """Return the noise of the weighted mean of a series of readings whose true course is smooth.

    The true course is taken as a cubic spline with a knot in every two ``knot_spacing`` or, where the readings
    favour it, in every one: slower changes are the engine, quicker ones are noise. How much of the noise is slow
    as well follows from the correlation of its quick part from reading to reading; correlation over more than two
    ``knot_spacing`` is taken as unlikely, since only a repeat could distinguish it from a true course.

    Shapes: ``position`` (readings,) increasing and fairly even, ``reading`` (readings,) in any unit,
    ``weight`` (readings,) adding up to 1; ``knot_spacing`` in the unit of the position. Raises ValueError for
    fewer than four readings or a spacing of zero or less.
    Range: what it states as 95 % holds 94 to 98 % of the time for forty to some hundred readings whose noise
    lasts for up to half a ``knot_spacing``; too wide for few readings or a true course with sharper bends, too
    narrow for noise that lasts longer. Source: Harville 1977; JCGM 100.
    """
    require_positive(knot_spacing=knot_spacing)
    size = reading.size
    if size < MIN_READINGS:
        raise ValueError(f"noise cannot be estimated from fewer than {MIN_READINGS} readings")
    trend, columns = _spline_basis(position, knot_spacing)
    kinds = _candidates(size)
    log_prior = kinds.log_prior - kinds.length * float(np.ptp(position)) / (size - 1) / (2 * knot_spacing)
    y, x, w = kinds.cosines @ reading, kinds.cosines @ trend, kinds.cosines @ weight
    precision = 1 / kinds.variance
    count = x.shape[1]
    inner = (precision @ (x[:, :, None] * x[:, None, :]).reshape(size, -1)).reshape(-1, count, count)
    crossed = (precision @ (x * y[:, None]))[:, :, None]
    total = precision @ y**2
    log_variance = np.log(kinds.variance).sum(axis=1)
    reading_variances, log_likelihoods = [], []
    for count in columns:
        block, part = inner[:, :count, :count], crossed[:, :count]
        rest = np.maximum(total - np.sum(part * np.linalg.solve(block, part), axis=(1, 2)), 0.0)
        if rest.min() <= 1e-20 * float(reading @ reading):
            # The residual is rounding alone: the readings follow their course to the last digit.
            return MeanNoise(
                standard_uncertainty=0.0,
                half_width=0.0,
                effective_readings=float(size),
                freedom=float(size - count),
                covariance=np.zeros(size),
            )
        reading_variances.append(rest / (size - count))
        volume = np.linalg.slogdet(block)[1]
        log_likelihoods.append(log_prior - 0.5 * (log_variance + volume + (size - columns[0]) * np.log(rest)))
    share = np.exp(np.array(log_likelihoods) - np.max(log_likelihoods))
    share /= share.sum()
    variance = np.array(reading_variances)  # of one reading: (courses, kinds of noise)
    mean_variance = variance * (kinds.variance @ w**2)
    uncertainty = float(np.sqrt(np.sum(share * mean_variance)))
    # Whole degrees of freedom, rounded down, which is the safe side, so that the quantile is looked up only once.
    freedom = max(1.0, float(np.floor(size - share.sum(axis=1) @ np.array(columns))))
    lags = np.arange(size)
    correlated = (1 - kinds.white)[:, None] * np.power(kinds.correlation[:, None], lags)
    covariance = np.sum(share * variance, axis=0) @ (correlated + kinds.white[:, None] * (lags == 0))
    half = _mixed_half_width(share.ravel(), np.sqrt(mean_variance).ravel(), freedom)
    return MeanNoise(
        standard_uncertainty=uncertainty,
        half_width=half,
        effective_readings=float(covariance[0] / uncertainty**2),
        freedom=freedom,
        covariance=covariance,
    )


def _spline_basis(position: Array, knot_spacing: float) -> tuple[Array, list[int]]:
    """Return the orthogonal columns of a cubic spline, mean square 1, and how many make each of two courses.

    The second course has its knots half as far apart as the first. Never more than one column for every four
    readings: few readings cannot distinguish a bend from noise.
    """
    span = float(np.ptp(position))
    scaled = (position - position[0]) / max(span, 1e-300)
    max_columns = max(1, position.size // 4)
    pieces = min(max(1, round(span / (2 * knot_spacing))), max(1, max_columns - 3))
    knots = np.concatenate([np.arange(1, pieces), np.arange(pieces) + 0.5]) / pieces
    powers = scaled[:, None] ** np.arange(4)
    columns = np.concatenate([powers, np.clip(scaled[:, None] - knots, 0, None) ** 3], axis=1)[:, :max_columns]
    return np.linalg.qr(columns)[0] * np.sqrt(position.size), sorted({min(3 + pieces, max_columns), columns.shape[1]})


def _mixed_half_width(share: Array, deviation: Array, freedom: float) -> float:
    """Return the half width of the interval that holds 95 % of a mixture of Student's t distributions."""
    relevant = share > 1e-7
    share, deviation = share[relevant] / share[relevant].sum(), deviation[relevant]
    quantile = student_t_quantile(_LEVEL, freedom)
    low, high = float(deviation.min()) * quantile, float(deviation.max()) * quantile
    scale = exp(lgamma((freedom + 1) / 2) - lgamma(freedom / 2)) / sqrt(freedom * pi)
    half = quantile * float(np.sqrt(share @ deviation**2))
    for _ in range(60):
        t = half / deviation
        excess = float(share @ student_t_tail(t, freedom)) - (1 - _LEVEL)
        low, high = (half, high) if excess > 0 else (low, half)
        density = 2 * scale * float(share @ ((1 + t * t / freedom) ** (-(freedom + 1) / 2) / deviation))
        newton = half + excess / density
        following = newton if low < newton < high else (low + high) / 2
        if abs(following - half) <= 1e-6 * half:
            return following
        half = following
    return half
