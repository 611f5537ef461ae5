"""A pull becomes a curve: readings at uneven speeds, smoothed onto a grid that all pulls share.

How it is smoothed: see :mod:`builder.engine.smoothing`. Beyond the logged speeds there is no curve.
Speeds are in [rev/s] and widths too; the defaults are written here in rev/min. Values are in any unit.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from builder.engine.constants import REV_PER_MINUTE
from builder.engine.smoothing import local_fit, lone_readings, merge_duplicates, smoother_rows, spikes
from builder.engine.validation import Array, require_positive

#: Full width of the smoother's window: 500 rev/min.
WIDTH = 500 * REV_PER_MINUTE
#: Spacing of the common grid: 25 rev/min, its points at whole multiples.
STEP = 25 * REV_PER_MINUTE
#: Readings crowded closer than a twentieth of the width become means over a sixteenth of it.
CROWDED = 1 / 20
CELL = 1 / 16
#: Rows nearer than this share of the width were meant to be at one speed.
_SAME_SPEED = 1 / 64
#: Up to this many rows, each row can be weighed against its neighbours one by one.
_FEW_ROWS = 250


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Curve:
    """One channel of one pull: the smoothed curve on the common grid, and the readings behind it.

    ``speed`` and ``value``: the grid's points within the logged speeds, smoothed. ``ends``: speed and smoothed
    value at the first and last logged speed, which the grid may miss. ``reading_speed``, ``reading_value``:
    the readings that were smoothed, sorted, those at one speed made one, spikes left out; ``reading_rows``:
    how many rows each stands for. ``spike_speed``, ``spike_value``: what was set aside. ``raw_peak_speed``,
    ``raw_peak``: the highest single row that was not set aside. ``width``: of the window. ``rows``: logged
    rows with a finite speed and value. All speeds, the width and the step [rev/s].
    """

    speed: Array
    value: Array
    ends: tuple[tuple[float, float], tuple[float, float]]
    reading_speed: Array
    reading_value: Array
    reading_rows: Array
    spike_speed: Array
    spike_value: Array
    raw_peak_speed: float
    raw_peak: float
    width: float
    step: float
    rows: int

    @property
    def lowest(self) -> float:
        """Return the lowest logged speed [rev/s]."""
        return self.ends[0][0]

    @property
    def highest(self) -> float:
        """Return the highest logged speed [rev/s]."""
        return self.ends[1][0]

    def points(self) -> tuple[Array, Array]:
        """Return the smoothed curve with both ends: increasing speeds [rev/s] and values."""
        inner = (self.speed > self.lowest) & (self.speed < self.highest)
        low, high = self.ends
        tail = [high] if high[0] > low[0] else []
        speed = np.concatenate([[low[0]], self.speed[inner], [end[0] for end in tail]])
        return speed, np.concatenate([[low[1]], self.value[inner], [end[1] for end in tail]])

    def at(self, speed: npt.ArrayLike) -> Array:
        """Return the smoothed curve at any speeds [rev/s], between points by a straight line; NaN outside."""
        known_speed, value = self.points()
        target = np.asarray(speed, dtype=np.float64)
        rounding = 1e-9 * max(self.highest, 1.0)
        inside = (target >= self.lowest - rounding) & (target <= self.highest + rounding)
        return np.where(inside, np.interp(target, known_speed, value), np.nan)


def curve(speed: npt.ArrayLike, value: npt.ArrayLike, *, width: float = WIDTH, step: float = STEP) -> Curve:
    """Return one channel of a pull as a curve on the common grid.

    Rows are sorted by speed; rows at one speed become their mean (in a crowded log, rows within a sixteenth of
    the width); isolated spikes of one or two rows are set aside; the rest is smoothed with a local quadratic
    in a window of ``width``. Fewer than nine readings are never searched for spikes: nothing shows which is one.

    Shapes: ``speed`` [rev/s] and ``value`` (rows,), in any order; rows with a NaN or infinity in either do not
    count. ``width`` and ``step`` [rev/s]. Raises ValueError if no row is left, if the two differ in length, or
    for a width or step of zero or less. Range: any number of rows from one to some millions.
    Source: Savitzky and Golay 1964; Cleveland 1979; see :mod:`builder.engine.smoothing`.
    """
    require_positive(width=width, step=step)
    speeds = np.asarray(speed, dtype=np.float64).ravel()
    values = np.asarray(value, dtype=np.float64).ravel()
    if speeds.size != values.size:
        raise ValueError(f"{speeds.size} speeds do not go with {values.size} values")
    finite = np.isfinite(speeds) & np.isfinite(values)
    if not finite.all():
        speeds, values = speeds[finite], values[finite]
    if speeds.size == 0:
        raise ValueError("no row has both a speed and a value")
    spike = _spikes(speeds, values, width)
    used_speed, used_value = (speeds[~spike], values[~spike]) if spike.any() else (speeds, values)
    x, y, count = merge_duplicates(used_speed, used_value, _same_speed_distance(used_speed, width), width * _SAME_SPEED)
    lone = lone_readings(x, y, width) if speeds.size > _FEW_ROWS else np.zeros(x.size, dtype=bool)
    spike_speed = np.concatenate([speeds[spike], x[lone]])
    spike_value = np.concatenate([values[spike], y[lone]])
    x, y, count = x[~lone], y[~lone], count[~lone]
    highest = int(np.argmax(used_value))
    # Readings set aside at an end take the curve's end with them: beyond the last reading used there is no curve.
    low = max(float(used_speed.min()), float(x[0]) - width * CELL)
    high = min(float(used_speed.max()), float(x[-1]) + width * CELL)
    grid = common_grid(low, high, step)
    where = np.concatenate([[low], grid, [high]])
    smoothed = _shared_rows(x.tobytes(), count.tobytes(), where.tobytes(), width) @ y
    ends = ((low, float(smoothed[0])), (high, float(smoothed[-1])))
    return Curve(
        speed=grid,
        value=smoothed[1:-1],
        ends=ends,
        reading_speed=x,
        reading_value=y,
        reading_rows=count,
        spike_speed=spike_speed,
        spike_value=spike_value,
        raw_peak_speed=float(used_speed[highest]),
        raw_peak=float(used_value[highest]),
        width=width,
        step=step,
        rows=speeds.size,
    )


@lru_cache(maxsize=8)
def _shared_rows(speeds: bytes, counts: bytes, where: bytes, width: float) -> Array:
    """Return the smoother as a matrix; cached, because all channels of a pull share it."""
    weight = reading_weight(np.frombuffer(counts))
    return smoother_rows(np.frombuffer(speeds), np.frombuffer(where), width, weight, beyond=width * CELL)[0]


def _spikes(speeds: Array, values: Array, width: float) -> npt.NDArray[np.bool_]:
    """Return the isolated rows, compared with the curve through their neighbours (in a long log with rows around)."""
    if speeds.size > _FEW_ROWS:
        return spikes(values)
    x, y, _ = merge_duplicates(speeds, values)
    return np.isin(speeds, x[lone_readings(x, y, width)])


def _same_speed_distance(speeds: Array, width: float) -> float:
    """Return the width of the cells whose rows become one reading: zero where the rows are far enough apart."""
    if speeds.size < 2 or speeds.size > 20 * _FEW_ROWS:
        return width * CELL if speeds.size > 1 else 0.0
    return width * CELL if float(np.median(np.diff(np.sort(speeds)))) < width * CROWDED else 0.0


def reading_weight(count: Array) -> Array:
    """Return the weight of each reading in the smoother: a mean of many rows more than one of few, levelling off.

    A long hold at one speed must not rule its neighbours. Shape: (readings,), rows each stands for.
    """
    return np.asarray(count / (count + np.median(count)))


def common_grid(lowest: float, highest: float, step: float = STEP) -> Array:
    """Return the whole multiples of the step from the lowest to the highest speed: the same points for every pull.

    Shape: (points,), empty where no multiple lies between; speeds and step [rev/s]. Raises ValueError for a
    step of zero or less.
    """
    require_positive(step=step)
    first, last = int(np.ceil(lowest / step - 1e-9)), int(np.floor(highest / step + 1e-9))
    return np.arange(first, last + 1, dtype=np.float64) * step


def map_curve(source: Curve, function: Callable[[Array, Array], Array]) -> Curve:
    """Return the same pull with every value changed by ``function(speed [rev/s], value)``.

    The smoothed curve is changed, not smoothed again: power is made from torque by 2 pi n T, a corrected curve
    by a factor. The highest row is looked up again among the readings, because another may now be it.
    """
    ends = function(np.array([source.lowest, source.highest]), np.array([source.ends[0][1], source.ends[1][1]]))
    readings = function(source.reading_speed, source.reading_value)
    raw_speed = source.raw_peak_speed
    raw = float(function(np.array([raw_speed]), np.array([source.raw_peak]))[0])
    best = int(np.argmax(readings))
    if readings[best] > raw:
        raw_speed, raw = float(source.reading_speed[best]), float(readings[best])
    return replace(
        source,
        value=function(source.speed, source.value),
        ends=((source.lowest, float(ends[0])), (source.highest, float(ends[1]))),
        reading_value=readings,
        spike_value=function(source.spike_speed, source.spike_value),
        raw_peak_speed=raw_speed,
        raw_peak=raw,
    )


def mean_curve(sources: Sequence[Curve]) -> Curve:
    """Return the mean of several pulls of one engine, over the speeds that all of them share.

    Its readings are those of all the pulls within these speeds. The pulls must have been smoothed with the same
    width and step. Raises ValueError without a pull, or for pulls that share no speeds.
    """
    shared = overlap(sources)
    if not sources or shared is None:
        raise ValueError("a mean curve needs pulls with a range of speeds in common")
    low, high = shared
    grid = common_grid(low, high, sources[0].step)
    where = np.concatenate([[low], grid, [high]])
    smoothed = np.mean([source.at(where) for source in sources], axis=0)
    speed = np.concatenate([source.reading_speed for source in sources])
    value = np.concatenate([source.reading_value for source in sources])
    rows = np.concatenate([source.reading_rows for source in sources])
    order = np.argsort(speed, kind="stable")
    order = order[(speed[order] >= low) & (speed[order] <= high)]
    highest = max(sources, key=lambda source: source.raw_peak)
    return replace(
        highest,
        speed=grid,
        value=smoothed[1:-1],
        ends=((low, float(smoothed[0])), (high, float(smoothed[-1]))),
        reading_speed=speed[order],
        reading_value=value[order],
        reading_rows=rows[order],
        spike_speed=np.concatenate([source.spike_speed for source in sources]),
        spike_value=np.concatenate([source.spike_value for source in sources]),
        rows=sum(source.rows for source in sources),
    )


def overlap(curves: Iterable[Curve], low: float = -np.inf, high: float = np.inf) -> tuple[float, float] | None:
    """Return the speeds [rev/s] that all the curves and the stated range have in common, or None if there are none."""
    pulls = list(curves)
    low = max([low, *(pull.lowest for pull in pulls)])
    high = min([high, *(pull.highest for pull in pulls)])
    return (low, high) if low < high else None


def area_under(source: Curve, low: float | None = None, high: float | None = None) -> float:
    """Return the area under the smoothed curve over a range of speeds, in the curve's unit times [rev/s].

    ``low`` and ``high`` [rev/s] default to the logged ends. By the trapezoid rule between the points of the
    curve. NaN where the range leaves the logged speeds: nothing is extrapolated. Raises ValueError if the range
    is empty. Source: trapezoid rule.
    """
    low = source.lowest if low is None else low
    high = source.highest if high is None else high
    if not low < high:
        raise ValueError("the range of speeds must run from a lower to a higher speed")
    speed, _ = source.points()
    inner = speed[(speed > low) & (speed < high)]
    x = np.concatenate([[low], inner, [high]])
    return float(np.trapezoid(source.at(x), x))


def mean_over(source: Curve, low: float | None = None, high: float | None = None) -> float:
    """Return the mean of the smoothed curve over a range of speeds, in the curve's unit: area over width.

    Arguments, NaN and errors as :func:`area_under`.
    """
    low = source.lowest if low is None else low
    high = source.highest if high is None else high
    return area_under(source, low, high) / (high - low)


def rate_of_change(time: npt.ArrayLike, speed: npt.ArrayLike, width: float) -> Array:
    """Return how fast the speed changes at each row [rev/s2]: the slope of the local quadratic over time.

    Shapes: ``time`` [s] and ``speed`` [rev/s] (rows,), ``width`` of the window [s], wide enough to hold some
    rows and short against the sweep. NaN where the time or speed is. Raises ValueError if fewer than two rows
    are finite, or for a width of zero or less. Source: Savitzky and Golay 1964.
    """
    times = np.asarray(time, dtype=np.float64).ravel()
    speeds = np.asarray(speed, dtype=np.float64).ravel()
    finite = np.isfinite(times) & np.isfinite(speeds)
    if int(finite.sum()) < 2:
        raise ValueError("a rate of change needs at least two rows with a time and a speed")
    x, y, count = merge_duplicates(times[finite], speeds[finite], width / 16)
    slope = np.concatenate(
        [local_fit(x, y, part, width, reading_weight(count))[1] for part in np.array_split(x, x.size // 200 + 1)]
    )
    return np.where(finite, np.interp(times, x, slope), np.nan)
