"""The speeds that pulls are compared over: a short pull does not shorten the range of the others."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from builder.engine.curves import Curve, overlap
from builder.figures.dyno.pull import PullResult

FULL_RANGE = 0.9
"""A pull that covers less of a range than this is short: it gives nothing to what is taken over the range."""


def usual_range(pulls: Sequence[PullResult]) -> tuple[float, float] | None:
    """Return the speeds [rev/s] that all pulls but short ones share; None where there are none.

    The usual range runs from the median of the lowest speeds to that of the highest.
    """
    if not pulls:
        return None
    curves = [pull.corrected.torque_curve for pull in pulls]
    low, high = (float(np.median([getattr(curve, end) for curve in curves])) for end in ("lowest", "highest"))
    full = [curve for curve in curves if covers(curve, low, high)]
    return overlap(full) if full else None


def covers(curve: Curve, low: float, high: float) -> bool:
    """Return whether a curve runs over at least nine tenths of a range of speeds [rev/s]."""
    shared = min(high, curve.highest) - max(low, curve.lowest)
    return shared >= FULL_RANGE * (high - low) > 0


def repeats_over(
    group: Sequence[PullResult], low: float = -np.inf, high: float = np.inf
) -> tuple[tuple[PullResult, ...], tuple[float, float]]:
    """Return the repeats of a group that are not short, and the speeds [rev/s] that these share.

    ``low`` and ``high`` narrow the range. No pulls, and a range from zero to zero, where they share no speeds.
    """
    widest = max(group, key=lambda pull: pull.corrected.torque_curve.highest - pull.corrected.torque_curve.lowest)
    wanted = overlap([widest.corrected.torque_curve], low, high)
    if wanted is None:
        return (), (0.0, 0.0)
    pulls = tuple(pull for pull in group if covers(pull.corrected.torque_curve, *wanted))
    shared = overlap([pull.corrected.torque_curve for pull in pulls], *wanted)
    return (pulls, shared) if shared is not None else ((), (0.0, 0.0))
