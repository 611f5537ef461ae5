"""The best level of one setting swept over three or more: spark advance, jet size, lash, tube length.

Source: least squares; JCGM 100 (GUM) for the noise.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from builder.engine.validation import Array

SettingVerdict = Literal["optimum", "still rising", "still falling", "no optimum"]


@dataclass(frozen=True, slots=True, kw_only=True)
class BestSetting:
    """A parabola through the results of three or more levels of one setting, and the optimum it may name.

    value = ``constant`` + ``slope`` x + ``bend`` x^2, by least squares. ``optimum`` and ``optimum_value`` only
    where the verdict is "optimum", else None. ``best_tried`` and ``best_value``: the level that did best, and
    its (mean) value. ``residual``: standard deviation about the parabola, None where it passes through all
    points. ``within_noise``: whether all levels differ by no more than the stated noise, None if none was
    stated. ``levels``: the levels tried, in order.
    """

    verdict: SettingVerdict
    constant: float
    slope: float
    curvature: float
    optimum: float | None
    optimum_value: float | None
    best_tried: float
    best_value: float
    residual: float | None
    within_noise: bool | None
    levels: tuple[float, ...]

    def at(self, level: float) -> float:
        """Return the parabola at a level, for a chart."""
        return self.constant + self.slope * level + self.curvature * level**2


def best_setting(levels: Sequence[float], values: Sequence[float], noise: float | None = None) -> BestSetting:
    """Return the level at which a setting (spark advance, jet, lash, tube length) did or would do best.

    A parabola is fitted by least squares. An optimum is named only where it bends down and its top lies
    between the levels tried or within one step of them (a step is the distance between the two outermost
    levels at that end). Else: "still rising" at the highest level tried, "still falling" from the lowest, or
    "no optimum". More is never better just because the curve still rises: detonation, heat and stress do not
    show in these numbers.

    Shapes: (trials,) each; a level may be tried more than once; levels in any unit. ``noise``: standard
    uncertainty of one value, if known. Raises ValueError for values that are not finite, lengths that differ,
    or fewer than three different levels. Source: least squares; JCGM 100.
    """
    x, y = np.asarray(levels, dtype=np.float64), np.asarray(values, dtype=np.float64)
    if x.shape != y.shape or x.ndim != 1:
        raise ValueError("each level needs one value")
    if not (np.isfinite(x).all() and np.isfinite(y).all()):
        raise ValueError("levels and values must be numbers")
    tried = np.unique(x)
    if tried.size < 3:
        raise ValueError("a best setting needs at least three different levels")
    middle, half = float(tried[0] + tried[-1]) / 2, float(tried[-1] - tried[0]) / 2
    scaled = (x - middle) / half
    columns = np.stack([np.ones_like(scaled), scaled, scaled**2], axis=1)
    (c, b, a), *_ = np.linalg.lstsq(columns, y, rcond=None)
    left = y - columns @ np.array([c, b, a])
    means = np.array([float(y[x == level].mean()) for level in tried])
    best = int(np.argmax(means))
    # A bend that rounding alone could make is none.
    rounding = 1e-9 * float(np.ptp(y)) + 1e-12 * float(np.abs(y).max())
    straight = abs(a) <= rounding
    top = middle - half * b / (2 * a) if not straight else float("nan")
    verdict = _setting_verdict(0.0 if straight else float(a), float(b) if abs(b) > rounding else 0.0, top, tried, best)
    optimum = verdict == "optimum"
    spread = float(np.ptp(means))
    return BestSetting(
        verdict=verdict,
        constant=float(c - b * middle / half + a * middle**2 / half**2),
        slope=float(b / half - 2 * a * middle / half**2),
        curvature=float(a / half**2),
        optimum=float(top) if optimum else None,
        optimum_value=float(c - b * b / (4 * a)) if optimum else None,
        best_tried=float(tried[best]),
        best_value=float(means[best]),
        residual=float(np.sqrt(left @ left / (x.size - 3))) if x.size > 3 else None,
        within_noise=None if noise is None else bool(spread <= 2 * np.sqrt(2) * noise),
        levels=tuple(float(level) for level in tried),
    )


def _setting_verdict(bend: float, slope: float, top: float, tried: Array, best: int) -> SettingVerdict:
    """Return the verdict from slope and curvature of the parabola over the levels scaled to -1..1."""
    if bend < 0:
        if tried[0] - (tried[1] - tried[0]) <= top <= tried[-1] + (tried[-1] - tried[-2]):
            return "optimum"
        return "still rising" if slope > 0 else "still falling"
    if best == tried.size - 1 and slope + 2 * bend > 0:
        return "still rising"
    if best == 0 and slope - 2 * bend < 0:
        return "still falling"
    return "no optimum"
