"""How well a mean over a curve is known when neighbouring readings share their noise.

Readings of one pull are not independent: a gust, a wandering throttle or an oil temperature lasts for some
rows. Taking them as independent makes every change look surer than it is. Here the noise is taken as an even
part and a part whose correlation dies off from row to row (first-order autoregressive). How strong each is
cannot be known exactly from one pull, so the interval is averaged over all strengths, each weighing by how
well it explains the readings (restricted likelihood), instead of trusting the single best one, which is
known to come out too sure.

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
# Strengths of the correlation from one reading to the next, all equally likely beforehand (each stands for
# the stretch around it), and shares of the noise that are even; the readings choose between them. A little
# correlation the other way is allowed for: leaving it out would make independent readings look dependent.
_CORRELATIONS = np.array([-0.45, -0.3, -0.15, 0, 0.15, 0.3, 0.4, 0.5, 0.6, 0.7, 0.77, 0.83, 0.88, 0.92, 0.95, 0.97])
_EVEN_SHARES = np.array([0, 0.3, 0.6, 0.85])
_EVEN_WEIGHTS = np.array([0.85, 0.06, 0.06, 0.03])


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
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


@lru_cache(maxsize=256)
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
    """The kinds of noise the readings choose between, worked out once for a number of readings.

    ``cosines`` (size, size): the readings' cosine transform, in which noise of every such kind very nearly falls
    apart into independent terms; ``variance`` (kinds, size) of those terms. For each kind its ``correlation``
    and ``even`` share, the ``length`` of the correlation in readings, the logarithm of the ``belief`` in it
    beforehand.
    """

    cosines: Array
    variance: Array
    correlation: Array
    even: Array
    length: Array
    log_prior: Array


@lru_cache(maxsize=64)
def _candidates(size: int) -> _Candidates:
    at = np.arange(size)
    cosines = np.cos(np.pi / size * np.outer(at, at + 0.5)) * np.sqrt(2 / size)
    cosines[0] /= np.sqrt(2)
    lag = np.abs(np.subtract.outer(at, at)).astype(np.float64)
    terms = np.stack([np.sum((cosines @ correlation**lag) * cosines, axis=1) for correlation in _CORRELATIONS])
    # Uncorrelated noise has no even part apart from itself.
    shares = [range(_EVEN_SHARES.size) if correlation > 0 else range(1) for correlation in _CORRELATIONS]
    which = np.array([k for k, few in enumerate(shares) for _ in few])
    evens = np.array([e for few in shares for e in few])
    even, correlation = _EVEN_SHARES[evens], _CORRELATIONS[which]
    belief = np.gradient(_CORRELATIONS)[which] * np.where(correlation > 0, _EVEN_WEIGHTS[evens], 1.0)
    return _Candidates(
        cosines,
        (1 - even)[:, None] * terms[which] + even[:, None],
        correlation,
        even,
        -1 / np.log(np.clip(correlation, 1e-300, None)),
        np.log(belief),
    )


def noise_of_mean(position: Array, reading: Array, weight: Array, knot_spacing: float) -> MeanNoise:
    """Return the noise of the weighted mean of a series of readings whose true course is smooth.

    The true course is taken as a cubic spline that can bend once in every two ``bend`` or, where the readings
    speak for it, once in every one: what is slower than that is the engine, what is quicker is noise. How much
    of the noise is slow as well is told by how its quick part hangs together from reading to reading; noise
    that hangs together over more than two ``knot_spacing`` is thought unlikely, as it could not be told from a true
    course by any pull but a repeat.

    Shapes: ``position`` (readings,) increasing and fairly even, ``reading`` (readings,) in any unit,
    ``weight`` (readings,) adding up to 1; ``bend`` in the unit of the position. Raises ValueError for fewer
    than four readings or a bend of zero or less.
    Range: what it states as 95 % holds 94 to 98 % of the time for forty to some hundred readings whose noise
    lasts for up to half a bend; wider than need be for few readings or a true course with sharper bends, too
    narrow for noise that lasts longer. Source: Harville 1977; JCGM 100.
    """
    require_positive(bend=knot_spacing)
    size = reading.size
    if size < MIN_READINGS:
        raise ValueError(f"noise cannot be told from fewer than {MIN_READINGS} readings")
    trend, columns = _spline_basis(position, knot_spacing)
    of = _candidates(size)
    belief = of.log_prior - of.length * float(np.ptp(position)) / (size - 1) / (2 * knot_spacing)
    y, x, w = of.cosines @ reading, of.cosines @ trend, of.cosines @ weight
    sure = 1 / of.variance
    count = x.shape[1]
    inner = (sure @ (x[:, :, None] * x[:, None, :]).reshape(size, -1)).reshape(-1, count, count)
    crossed = (sure @ (x * y[:, None]))[:, :, None]
    whole = sure @ y**2
    spread = np.log(of.variance).sum(axis=1)
    left, logs = [], []
    for count in columns:
        block, part = inner[:, :count, :count], crossed[:, :count]
        rest = np.maximum(whole - np.sum(part * np.linalg.solve(block, part), axis=(1, 2)), 0.0)
        if rest.min() <= 1e-20 * float(reading @ reading):
            # Nothing left but rounding: the readings follow their course to the last digit.
            return MeanNoise(
                standard_uncertainty=0.0,
                half_width=0.0,
                effective_readings=float(size),
                freedom=float(size - count),
                covariance=np.zeros(size),
            )
        left.append(rest / (size - count))
        volume = np.linalg.slogdet(block)[1]
        logs.append(belief - 0.5 * (spread + volume + (size - columns[0]) * np.log(rest)))
    share = np.exp(np.array(logs) - np.max(logs))
    share /= share.sum()
    one = np.array(left)  # variance of one reading: (courses, kinds of noise)
    mean = one * (of.variance @ w**2)
    uncertainty = float(np.sqrt(np.sum(share * mean)))
    # Whole degrees of freedom, rounded down, which is the safe side, so that the quantile is looked up only once.
    freedom = max(1.0, float(np.floor(size - share.sum(axis=1) @ np.array(columns))))
    lags = np.arange(size)
    kinds = (1 - of.even)[:, None] * np.power(of.correlation[:, None], lags) + of.even[:, None] * (lags == 0)
    covariance = np.sum(share * one, axis=0) @ kinds
    half = _mixed_half_width(share.ravel(), np.sqrt(mean).ravel(), freedom)
    return MeanNoise(
        standard_uncertainty=uncertainty,
        half_width=half,
        effective_readings=float(covariance[0] / uncertainty**2),
        freedom=freedom,
        covariance=covariance,
    )


def _spline_basis(position: Array, knot_spacing: float) -> tuple[Array, list[int]]:
    """Return the orthogonal columns of a cubic spline, mean square 1, and how many make up each smoothness.

    Also how many of them make the calm course and the livelier one, whose knots lie half as far apart. Never
    more than one column for every four readings: few readings cannot tell a bend from noise.
    """
    span = float(np.ptp(position))
    across = (position - position[0]) / max(span, 1e-300)
    most = max(1, position.size // 4)
    pieces = min(max(1, round(span / (2 * knot_spacing))), max(1, most - 3))
    knots = np.concatenate([np.arange(1, pieces), np.arange(pieces) + 0.5]) / pieces
    powers = across[:, None] ** np.arange(4)
    columns = np.concatenate([powers, np.clip(across[:, None] - knots, 0, None) ** 3], axis=1)[:, :most]
    return np.linalg.qr(columns)[0] * np.sqrt(position.size), sorted({min(3 + pieces, most), columns.shape[1]})


def _mixed_half_width(share: Array, deviation: Array, freedom: float, level: float = 0.95) -> float:
    """Return the half width of the interval that holds ``level`` of a mixture of Student's t distributions."""
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
        if abs(following - half) <= 1e-6 * half:
            return following
        half = following
    return half
