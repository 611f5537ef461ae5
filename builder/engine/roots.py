"""Where a function of one variable is zero, between two values that it has different signs at."""

from __future__ import annotations

import math
from collections.abc import Callable

_MOST_STEPS = 200
_TOLERANCE = 1e-13
"""Of the variable; closer than this the rounding of a long calculation decides on the sign of the function."""


def bracketed_root(function: Callable[[float], float], low: float, high: float, scale: float = 0.0) -> float:
    """Return where a continuous function is zero between ``low`` and ``high``, to 13 digits.

    ``scale`` is the size of what the variable is added to, where it is a small change of something larger.
    Inverse quadratic interpolation where it can be trusted, else bisection, so that the root stays bracketed.
    Raises ValueError where the function has the same sign at both ends or is not a number at one of them.
    Source: T. R. Chandrupatla, Advances in Engineering Software 28 (1997), 145-149.
    """
    b, a = low, high
    fb, fa = function(b), function(a)
    if not (math.isfinite(fa) and math.isfinite(fb)) or fa * fb > 0:
        raise ValueError("the function has the same sign at both ends")
    c, fc = a, fa
    share = 0.5
    for _ in range(_MOST_STEPS):
        best, at_best = (a, fa) if abs(fa) < abs(fb) else (b, fb)
        tolerance = _TOLERANCE * max(abs(best), scale) + 1e-300
        if at_best == 0 or abs(b - a) <= 2 * tolerance:
            return best
        least = tolerance / abs(b - a)
        x = a + min(max(share, least), 1 - least) * (b - a)
        fx = function(x)
        if math.copysign(1.0, fx) == math.copysign(1.0, fa):
            c, fc = a, fa
        else:
            c, fc, b, fb = b, fb, a, fa
        a, fa = x, fx
        share = _next_share((a, fa), (b, fb), (c, fc))
    return a if abs(fa) < abs(fb) else b


def _next_share(a: tuple[float, float], b: tuple[float, float], c: tuple[float, float]) -> float:
    """Return at which share of the way from a to b to look next."""
    if c[0] == b[0] or c[1] == b[1] or c[1] == a[1] or a[1] == b[1]:
        return 0.5
    place = (a[0] - b[0]) / (c[0] - b[0])
    height = (a[1] - b[1]) / (c[1] - b[1])
    if not (height**2 < place and (1 - height) ** 2 < 1 - place):
        return 0.5
    return a[1] / (b[1] - a[1]) * c[1] / (b[1] - c[1]) + (c[0] - a[0]) / (b[0] - a[0]) * a[1] / (c[1] - a[1]) * b[1] / (
        c[1] - b[1]
    )
