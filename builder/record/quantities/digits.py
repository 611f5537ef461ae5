"""The digits of a number: rounding to them, and comparing with a limit at the resolution that was written.

A written 0.035 in is a decimal; in binary it is not, and 0.0130 in + 0.022 in is not quite the same number. Whether
a value lies within its limit must not depend on that.
"""

from __future__ import annotations

import math
from decimal import ROUND_HALF_UP, Context, Decimal

_BINARY_ERROR = 1e-12
"""Relative error that arithmetic in binary may leave on a decimal: far below any digit that is written."""
_STEP_SHARE = 1e-3
"""A difference below this share of the last digit is an error of binary arithmetic, not a difference."""
_CONTEXT = Context(prec=400)


def rounded(number: float, decimals: int) -> str:
    """Return a number with so many decimals, a half away from zero; below zero decimals tens and hundreds are rounded.

    Source: ISO 80000-1, annex B, rule B for positive numbers, as the trade rounds.
    """
    if not math.isfinite(number):
        return str(number)
    size = math.floor(math.log10(abs(number))) + 1 if number else 1
    exact = Decimal(f"{number:.{min(17, max(12, size + decimals + 3))}g}")
    return f"{exact.quantize(Decimal(1).scaleb(-decimals), ROUND_HALF_UP, _CONTEXT):f}"


def is_below(value: float, limit: float, step: float) -> bool:
    """Return whether a value written to ``step`` lies below a limit; all three in one unit. Equal is not below."""
    return limit - value > _slack(value, limit, step)


def is_above(value: float, limit: float, step: float) -> bool:
    """Return whether a value written to ``step`` lies above a limit; all three in one unit. Equal is not above."""
    return value - limit > _slack(value, limit, step)


def _slack(value: float, limit: float, step: float) -> float:
    return max(_STEP_SHARE * abs(step), _BINARY_ERROR * max(abs(value), abs(limit)))
