"""Smoothing readings at uneven speeds, setting isolated spikes aside, and merging readings at nearly the same speed.

The smoother is a local quadratic: at each speed a parabola is fitted by least squares to the readings within
a window of stated width, near readings weighing more (tricube), and its value there is taken. It is
Savitzky-Golay's filter for uneven speeds. A parabola follows a peak, where a moving average would cut it off.
Towards either end the window is moved inwards instead of being cut, so that it always spans its full width.

Sources: Savitzky and Golay, Analytical Chemistry 36 (1964) 1627; Cleveland, J. Am. Stat. Assoc. 74 (1979) 829
for the weights; Davies and Gather, J. Am. Stat. Assoc. 88 (1993) 782 for setting spikes aside by the median.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import numpy.typing as npt

from builder.engine.validation import Array, require_positive

Mask = npt.NDArray[np.bool_]

# A spike is this many robust standard deviations off what its neighbors say, and at least this share of
# the middle value: real curves bend, and an instrument's last digit is not a spike.
_SPIKE_DEVIATIONS = 7.0
_SPIKE_SHARE = 0.012
_MIN_READINGS_FOR_SPIKES = 9
_MAD_TO_DEVIATION = 1.482602218505602


def local_fit(
    speed: Array, value: Array, at: Array, width: float, weight: Array | None = None, *, tapered: bool = True
) -> tuple[Array, Array]:
    """Return the value and the slope (per unit of speed) of the local quadratic at each point."""
    value_rows, slope_rows = smoother_rows(speed, at, width, weight, tapered=tapered)
    return value_rows @ value, slope_rows @ value


def smoother_rows(
    speed: Array, at: Array, width: float, weight: Array | None = None, *, tapered: bool = True, beyond: float = 0.0
) -> tuple[Array, Array]:
    """Return the smoother as two matrices (points, rows): times the readings they give value and slope.

    A smoothed value is a weighted sum of readings, so these rows also carry the readings' noise to the curve.
    Shapes: ``speed`` (rows,), ``at`` (points,), ``weight`` (rows,); ``width`` in the unit of the speed. Raises
    ValueError without a reading, or for a width of zero or less. ``beyond``: how far past the first and last
    reading a result is given (a reading that is the mean of some rows lies inside their first and last speed).
    """
    require_positive(width=width)
    if speed.size == 0:
        raise ValueError("a curve needs at least one reading")
    beyond = max(beyond, 1e-9 * width)
    low, high = float(speed[0]), float(speed[-1])
    inside = (at >= low - beyond) & (at <= high + beyond)
    offset = speed[None, :] - at[:, None]
    half = _half_widths(speed, at, width)
    scaled = offset / half[:, None]
    size = np.abs(scaled)
    shape = np.clip(1 - size**3, 0, None) ** 3 if tapered else (size <= 1 + 1e-9).astype(np.float64)
    weights = shape if weight is None else shape * weight[None, :]
    return _solve(scaled, weights, half, inside, min(2, speed.size - 1))


def _half_widths(speed: Array, at: Array, width: float) -> Array:
    """Return half the window at each point: moved inwards near an end, widened where readings are sparse."""
    half = np.maximum(width / 2, width - np.minimum(at - speed[0], speed[-1] - at))
    rows = speed.size
    if rows < 4:
        return np.asarray(np.maximum(half, 1.5 * float(np.ptp(speed)) if rows > 1 else width))
    # At each reading the window reaches the second one on either side, which then just gets no weight: far
    # apart, readings are passed through. Between readings its width changes evenly, so nothing jumps.
    below, above = speed - np.roll(speed, 2), np.roll(speed, -2) - speed
    below[:2] = speed[3] - speed[0], 1.5 * (speed[1] - speed[0])
    above[-2:] = 1.5 * (speed[-1] - speed[-2]), speed[-1] - speed[-4]
    return np.asarray(np.maximum(half, np.interp(at, speed, np.maximum(below, above))))


def _solve(scaled: Array, weights: Array, half: Array, inside: Mask, degree: int) -> tuple[Array, Array]:
    """Return the rows of value and slope of the weighted least-squares polynomial at every point, from its moments."""
    if degree == 0:
        level = np.where(inside[:, None], weights / weights.sum(axis=1, keepdims=True), np.nan)
        return level, np.zeros_like(level)
    columns = [weights]
    for _ in range(degree):
        columns.append(columns[-1] * scaled)
    moments = [column.sum(axis=1) for column in columns]
    for _ in range(degree):
        columns.append(columns[-1] * scaled)
        moments.append(columns[-1].sum(axis=1))
    if degree == 1:
        moments = [*moments[:3]]
        normal = np.stack([np.stack(moments[:2], -1), np.stack(moments[1:3], -1)], -2)
    else:
        normal = np.stack([np.stack(moments[k : k + 3], -1) for k in range(3)], -2)
    # A small ridge keeps a window whose readings nearly coincide from dividing by zero.
    normal = normal + (1e-13 * moments[0])[:, None, None] * np.eye(degree + 1)
    inverse = np.linalg.inv(normal)

    def rows(degree_of_row: int) -> Array:
        mixed = sum(inverse[:, degree_of_row, k, None] * columns[k] for k in range(degree + 1))
        return np.where(inside[:, None], mixed, np.nan)

    return rows(0), rows(1) / half[:, None]


def merge_duplicates(speed: Array, value: Array, cell: float = 0.0, same: float = 0.0) -> tuple[Array, Array, Array]:
    """Return readings sorted by speed, those at one speed merged: mean speed, mean value, number of rows.

    Shapes: (rows,) each. With a ``cell`` above zero, all rows in one cell of that width are one reading; the
    cells lie at whole multiples, so that all pulls share them. Neighbors not further apart than ``same`` are
    one as well. Units of both: that of the speed.
    """
    if cell > 0:
        first = np.floor(float(speed.min()) / cell)
        cells = float(speed.max()) / cell - first + 1
        if cells <= 4 * speed.size + 1000:  # else a stray speed lies far away: most cells would be empty
            index = (speed * (1 / cell) - first).astype(np.int64)
            rows = np.bincount(index).astype(np.float64)
            filled = rows > 0
            c = rows[filled]
            x = np.bincount(index, weights=speed)[filled] / c
            y = np.bincount(index, weights=value)[filled] / c
            # Rows at one speed may straddle the edge of a cell.
            return _merge_groups(x, y, c, _group_starts(x, cell / 4))
    order = np.argsort(speed, kind="stable")
    x, y, c = speed[order], value[order], np.ones(speed.size)
    if cell > 0:
        return _merge_groups(x, y, c, np.diff(np.floor(x / cell)) > 0)
    x, y, c = _merge_groups(x, y, c, np.diff(x) > 0)
    return _merge_groups(x, y, c, _group_starts(x, same)) if same > 0 else (x, y, c)


def _group_starts(x: Array, same: float) -> Mask:
    """Return which gaps between sorted readings separate groups; no group is wider than ``same``."""
    separate = np.diff(x) > same
    start = float(x[0])
    for gap in np.flatnonzero(~separate):
        if gap == 0 or separate[gap - 1]:
            start = float(x[gap])
        if x[gap + 1] - start > same:
            separate[gap] = True
    return separate


def _merge_groups(x: Array, y: Array, c: Array, separate: Mask) -> tuple[Array, Array, Array]:
    """Return each group of readings merged into one, each row weighing alike."""
    if separate.all():
        return x, y, c
    starts = np.concatenate([[0], np.flatnonzero(separate) + 1])
    rows = np.add.reduceat(c, starts)
    return np.add.reduceat(x * c, starts) / rows, np.add.reduceat(y * c, starts) / rows, rows


def spikes(value: Array) -> Mask:
    """Return the spikes of a long log: one or two rows far off the median of the five around them.

    Shape: (rows,) in the order logged. Source: Davies and Gather 1993 (Hampel's rule).
    """
    if value.size < _MIN_READINGS_FOR_SPIKES:
        return np.zeros(value.size, dtype=bool)
    padded = np.concatenate([value[2:0:-1], value, value[-2:-4:-1]])
    off = np.abs(value - _median_of_five(*(padded[k : k + value.size] for k in range(5))))
    every = max(1, value.size // 20_000)
    deviation = _MAD_TO_DEVIATION * float(np.median(off[::every]))
    level = float(np.median(np.abs(value[::every])))
    far = off > max(_SPIKE_DEVIATIONS * 1.5 * deviation, _SPIKE_SHARE * level)
    return far & _in_short_runs(far)


def _median_of_five(a: Array, b: Array, c: Array, d: Array, e: Array) -> Array:
    """Return the median of five arrays, by comparisons only: much faster than sorting."""
    a, b = np.minimum(a, b), np.maximum(a, b)
    c, d = np.minimum(c, d), np.maximum(c, d)
    low, high = np.maximum(a, c), np.minimum(b, d)  # the least and the most of the four are out
    low, high = np.minimum(low, high), np.maximum(low, high)
    return np.asarray(np.maximum(low, np.minimum(high, e)))


def lone_readings(x: Array, y: Array, width: float) -> Mask:
    """Return the isolated readings of a curve: far off the parabola through their neighbors.

    Each reading is compared with the local quadratic fitted without it; the worst is set aside and the rest
    compared again, so that a spike does not make its neighbors look wrong. At most one reading in twenty
    goes, and never three in a row: that would be the engine.

    Shapes: (readings,) sorted by speed; ``width`` in the unit of the speed.
    """
    is_used = np.ones(x.size, dtype=bool)
    if x.size < _MIN_READINGS_FOR_SPIKES:
        return ~is_used
    level = float(np.median(np.abs(y)))
    for _ in range(max(1, x.size // 20)):
        index = np.flatnonzero(is_used)
        off = np.abs(_leave_one_out_residuals(x[index], y[index], width))
        deviation = _MAD_TO_DEVIATION * float(np.median(off))
        worst = int(np.argmax(off))
        if not off[worst] > max(_SPIKE_DEVIATIONS * deviation, _SPIKE_SHARE * level):
            break
        is_used[index[worst]] = False
    return ~is_used & _in_short_runs(~is_used)


def _leave_one_out_residuals(x: Array, y: Array, width: float) -> Array:
    """Return each reading less the fit without it, over the noise that this difference carries."""
    left_out, noise = _leave_one_out_rows(x.tobytes(), width)
    return np.asarray((y - left_out @ y) / noise)


@lru_cache(maxsize=8)
def _leave_one_out_rows(speeds: bytes, width: float) -> tuple[Array, Array]:
    """Return the fit at each reading without it, as a matrix; cached, as all channels of a pull share it."""
    x = np.frombuffer(speeds)
    distance = np.abs(x[:, None] - x[None, :])
    wide = max(width, 2.01 * float(np.median(np.partition(distance, 6, axis=1)[:, 6])))
    left_out = smoother_rows(x, x, wide)[0]
    left_out /= (1 - np.minimum(np.diag(left_out), 1 - 1e-6))[:, None]
    np.fill_diagonal(left_out, 0.0)
    return left_out, np.sqrt(1 + np.sum(left_out**2, axis=1))


def _in_short_runs(flag: Mask) -> Mask:
    """Return where the flag is set for no more than two in a row."""
    padded = np.concatenate([[False], flag, [False]])
    change = np.flatnonzero(padded[1:] != padded[:-1])
    short = np.zeros(flag.size, dtype=bool)
    for start, stop in zip(change[::2], change[1::2], strict=True):
        short[start:stop] = stop - start <= 2
    return short
