"""The best of a setting swept over three or more values: spark advance, jet size, lash, tube length.

A parabola is fitted by least squares. Its top is where its slope is zero, so the 95 % interval of the optimum holds all
settings at which the slope may be zero (Fieller's interval, which is the profile of the fit). It is finite only where
the bend differs from zero at 95 %; else no optimum is named.

Sources: least squares; JCGM 100 (GUM) for the noise; Fieller, J. R. Stat. Soc. B 16 (1954) 175.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from builder.engine.autocorrelated_noise import student_t_quantile
from builder.engine.pull_scatter import Variance, updated_variance
from builder.engine.validation import Array

SettingVerdict = Literal["optimum", "still rising", "still falling", "no optimum", "no measurable change"]


@dataclass(frozen=True, slots=True, kw_only=True)
class BestSetting:
    """A parabola through the results of three or more settings, and the optimum it may name.

    value = ``constant`` + ``slope`` x + ``curvature`` x^2, by least squares. ``optimum``, its 95 % ``interval`` and
    ``optimum_value`` only where the verdict is "optimum", else None. ``best_tried`` and ``best_value``: the setting
    that did best, and its (mean) value. ``levels``: the settings tried, in order.
    """

    verdict: SettingVerdict
    constant: float
    slope: float
    curvature: float
    optimum: float | None
    interval: tuple[float, float] | None
    optimum_value: float | None
    best_tried: float
    best_value: float
    levels: tuple[float, ...]

    def at(self, level: float) -> float:
        """Return the parabola at a setting, for a chart."""
        return self.constant + self.slope * level + self.curvature * level**2


def best_setting(
    levels: Sequence[float], values: Sequence[float], variance: Variance, drift_variance: Sequence[float] = ()
) -> BestSetting:
    """Return the setting (spark advance, jet, lash, tube length) that did or would do best.

    An optimum is named only where the parabola's bend differs from zero at 95 %, bends down, its top lies between the
    settings tried or within one step of them (a step is the distance between the two outermost settings at that end),
    and at least one end of its interval lies between them. Else: "still rising" at the highest setting tried or "still
    falling" from the lowest, where that setting did best and the slope differs from zero at 95 %; "no optimum"; or "no
    measurable change". More is never better just because the curve still rises:
    detonation, heat and stress do not show in these numbers.

    Shapes: (trials,) each; a setting may be tried more than once; settings in any unit. ``variance``: of one value,
    with its degrees of freedom; the residuals about the parabola are added to it. ``drift_variance``: standard
    deviation of a common drift in each value, over that of one value. Raises ValueError for values that are not
    finite, lengths that differ, or fewer than three different settings.
    Source: least squares; Fieller 1954; Gelman et al., Bayesian Data Analysis, 3rd ed., 14.
    """
    x, y = np.asarray(levels, dtype=np.float64), np.asarray(values, dtype=np.float64)
    if x.shape != y.shape or x.ndim != 1:
        raise ValueError("each setting needs one value")
    if not (np.isfinite(x).all() and np.isfinite(y).all()):
        raise ValueError("settings and values must be numbers")
    tried = np.unique(x)
    if tried.size < 3:
        raise ValueError("a best setting needs at least three different settings")
    drift = np.asarray(drift_variance, dtype=np.float64) if len(drift_variance) else np.zeros(x.size)
    middle, half = float(tried[0] + tried[-1]) / 2, float(tried[-1] - tried[0]) / 2
    scaled = (x - middle) / half
    covariance = np.eye(x.size) + np.outer(drift, drift)
    fit = _fit(np.stack([np.ones_like(scaled), scaled, scaled**2], axis=1), y, covariance, variance)
    c, b, a = (float(value) for value in fit.coefficients)
    means = np.array([float(y[x == level].mean()) for level in tried])
    best = int(np.argmax(means))
    top = middle - half * b / (2 * a) if a != 0 else float("nan")
    verdict = _verdict(fit, _fit(fit.columns[:, :2], y, covariance, variance), top, tried, best)
    ends = _interval(fit) if verdict == "optimum" else None
    if ends is not None and ends[0] < -1 and ends[1] > 1:
        verdict, ends = "no optimum", None  # it may lie anywhere
    optimum = verdict == "optimum"
    return BestSetting(
        verdict=verdict,
        constant=float(c - b * middle / half + a * middle**2 / half**2),
        slope=float(b / half - 2 * a * middle / half**2),
        curvature=float(a / half**2),
        optimum=float(top) if optimum else None,
        interval=None if ends is None else (middle + half * ends[0], middle + half * ends[1]),
        optimum_value=float(c - b * b / (4 * a)) if optimum else None,
        best_tried=float(tried[best]),
        best_value=float(means[best]),
        levels=tuple(float(level) for level in tried),
    )


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Fit:
    """A fit by generalized least squares: coefficients, their covariance, and the t that 95 % intervals take."""

    columns: Array
    coefficients: Array
    covariance: Array
    t: float

    def differs_from_zero(self, weights: Sequence[float]) -> bool:
        """Return whether a weighted sum of the coefficients differs from zero at 95 %."""
        w = np.asarray(weights, dtype=np.float64)
        return bool(abs(w @ self.coefficients) > self.t * np.sqrt(w @ self.covariance @ w))


def _fit(columns: Array, y: Array, covariance: Array, variance: Variance) -> _Fit:
    precision = np.linalg.inv(covariance)
    inverse = np.linalg.inv(columns.T @ precision @ columns)
    coefficients = inverse @ (columns.T @ precision @ y)
    rest = y - columns @ coefficients
    freedom = y.size - columns.shape[1]
    observed = Variance(value=float(rest @ precision @ rest) / max(freedom, 1), freedom=float(freedom))
    total = updated_variance(variance, observed)
    t = student_t_quantile(0.95, max(1.0, float(np.floor(4 * total.freedom) / 4)))
    return _Fit(columns=columns, coefficients=coefficients, covariance=np.asarray(inverse * total.value), t=t)


def _interval(fit: _Fit) -> tuple[float, float]:
    """Return between which scaled settings the slope b + 2 a x may be zero; the bend must differ from zero."""
    (_, b, a), v, t = fit.coefficients, fit.covariance, fit.t
    # (b + 2 a x)^2 = t^2 (v_bb + 4 x v_ab + 4 x^2 v_aa)
    roots = np.roots([4 * (a * a - t * t * v[2, 2]), 4 * (a * b - t * t * v[1, 2]), b * b - t * t * v[1, 1]])
    low, high = sorted(float(root.real) for root in roots)
    return low, high


def _verdict(parabola: _Fit, line: _Fit, top: float, tried: Array, best: int) -> SettingVerdict:
    """Return the verdict from a parabola and a line over the settings scaled to -1..1."""
    _, b, a = parabola.coefficients
    if parabola.differs_from_zero((0, 0, 1)):
        if a < 0 and tried[0] - (tried[1] - tried[0]) <= top <= tried[-1] + (tried[-1] - tried[-2]):
            return "optimum"
        slope_at_end = (b + 2 * a, b - 2 * a)
        if best == tried.size - 1 and slope_at_end[0] > 0 and parabola.differs_from_zero((0, 1, 2)):
            return "still rising"
        if best == 0 and slope_at_end[1] < 0 and parabola.differs_from_zero((0, 1, -2)):
            return "still falling"
        return "no optimum"
    if not line.differs_from_zero((0, 1)):
        return "no measurable change"
    slope = line.coefficients[1]
    if best == (tried.size - 1 if slope > 0 else 0):
        return "still rising" if slope > 0 else "still falling"
    return "no optimum"
