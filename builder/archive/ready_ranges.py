"""Ready choices of a number for the finder: ranges in which the archive's own builds lie close together.

The values are divided into up to six classes by natural breaks: of all divisions into so many classes, the one with the
least sum of squared differences from the mean of each class (Fisher, "On grouping for maximum homogeneity", Journal of
the American Statistical Association 53, 1958). The ends of each class are rounded outward to what is said at a counter.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from builder.archive.fields import Field, System

MAX_CLASSES = 6
_MIN_VALUES = 4
_MAX_STEPS = 200
"""Steps that the archive's range is divided into: values within one step count as the same."""
_ROUNDING = 0.0125
_ROUNDING_OF_RATIO = 0.03
"""The ends are rounded to the largest 1, 2 or 5 times a power of ten that is no more than this share of the end, by
whether the field's values differ by difference or by proportion."""

Floats = npt.NDArray[np.float64]


def ready_ranges(values: Sequence[float], field: Field, system: System) -> list[list[float]]:
    """Return ranges [lowest, highest] in the unit of a system, in which values [SI] lie close together, lowest first.

    Empty with fewer than four different values.
    """
    factor = field.unit(system).factor
    shown = np.array(sorted(value * factor for value in values if math.isfinite(value) and value > 0.0))
    if shown.size == 0:
        return []
    scale = np.log(shown) if field.ratio else shown
    width = (scale[-1] - scale[0]) / _MAX_STEPS or 1.0
    _, starts, counts = np.unique(np.floor((scale - scale[0]) / width), return_index=True, return_counts=True)
    if starts.size < _MIN_VALUES:
        return []
    classes = max(2, min(MAX_CLASSES, starts.size // 3))
    breaks = _natural_breaks(scale[starts], counts.astype(float), classes)
    ranges: list[list[float]] = []
    for first, end in zip(breaks, [*breaks[1:], starts.size], strict=True):
        last = starts[end] - 1 if end < starts.size else shown.size - 1
        share = _ROUNDING_OF_RATIO if field.ratio else _ROUNDING
        low, high = float(shown[starts[first]]), float(shown[last])
        rounded = [_rounded(low, share, up=False), _rounded(high, share, up=True)]
        if rounded not in ranges:
            ranges.append(rounded)
    return ranges


def _natural_breaks(values: Floats, counts: Floats, classes: int) -> list[int]:
    """Return where each class begins, for values in rising order that occur so many times."""
    size = values.size
    weight = np.concatenate([[0.0], np.cumsum(counts)])
    first = np.concatenate([[0.0], np.cumsum(counts * values)])
    second = np.concatenate([[0.0], np.cumsum(counts * values**2)])

    def spread(start: npt.NDArray[np.int64], end: int) -> Floats:
        total = weight[end] - weight[start]
        result: Floats = second[end] - second[start] - (first[end] - first[start]) ** 2 / total
        return result

    best = np.array([math.inf, *(spread(np.array([0]), end)[0] for end in range(1, size + 1))])
    begins = np.zeros((classes, size + 1), dtype=np.int64)
    for number in range(1, classes):
        previous, best = best, np.full(size + 1, math.inf)
        for end in range(number + 1, size + 1):
            start = np.arange(number, end)
            cost = previous[start] + spread(start, end)
            index = int(np.argmin(cost))
            best[end], begins[number, end] = cost[index], start[index]
    breaks, end = [], size
    for number in reversed(range(classes)):
        end = int(begins[number, end])
        breaks.append(end)
    return breaks[::-1]


def _rounded(value: float, share: float, *, up: bool) -> float:
    """Return a value rounded up or down to a step of about so large a share of it."""
    power = 10.0 ** math.floor(math.log10(value * share))
    step = next(multiple for multiple in (5.0, 2.0, 1.0) if multiple * power <= value * share * (1 + 1e-9)) * power
    # A nudge, so that 350 is not rounded down to 340 because the archive stores it as 349.9997 (``Field.quantum``).
    steps = math.ceil(value / step - 1e-3) if up else math.floor(value / step + 1e-3)
    return float(f"{steps * step:.10g}")
