"""Finding the loaded, rising part of a log, and telling a step test from a sweep.

A dyno that logs against time also logs what is not the pull: the run-up to the starting speed, the wait with
the throttle open while the brake holds, the coast-down. They must not be smoothed into the curve. What is
left out is listed as text.

Speed is in [rev/s], torque [N m] and time [s]; time may be missing, then rows stand for it. Source: common
practice, no source; the thresholds are named below.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from builder.engine.validation import Array

PullKind = Literal["sweep", "steps", "rows per speed"]
Part = Literal["run-up", "steady hold", "idle", "between steps", "coast-down", "another rising part", "not a number"]

#: Loaded: at least this share of the torque that the best tenth of the rows reach.
LOADED = 0.35
#: Rising (falling): faster than this share of the typical rate at which the loaded engine gains speed.
RISING = 0.25
#: Rows of a step test that lie at steady speeds, and how many steady speeds make one.
STEADY_SHARE = 0.6
FEWEST_STEPS = 3
#: Without time, rows further apart than this share of all speeds are readings, not a log.
JUMP = 0.04
#: A stretch that covers less than this share of all speeds, and is shorter than its neighbor, joins it.
SHORT_RUN = 0.08
#: Long logs are looked at in this many blocks of rows.
_BLOCKS = 20_000

Labels = npt.NDArray[np.int8]
_IDLE, _RUN_UP, _HOLD, _RISE, _FALL = range(5)


@dataclass(frozen=True, slots=True, kw_only=True)
class ExcludedRows:
    """A stretch of rows that is not part of the pull: what it is, which rows (from 0, last not included).

    ``from_speed`` and ``to_speed`` [rev/s]; ``seconds`` it duration, None where the log has no time.
    """

    part: Part
    start: int
    stop: int
    from_speed: float
    to_speed: float
    seconds: float | None

    @property
    def text(self) -> str:
        """Return the stretch in plain words, speeds in rev/min."""
        rows = self.stop - self.start
        duration = f"{rows} row{'s' if rows != 1 else ''}"
        if self.seconds is not None:
            duration += f", {self.seconds:.1f} s"
        low, high = 60 * self.from_speed, 60 * self.to_speed
        if self.part == "not a number":
            return f"{duration} without a speed or torque"
        if self.part in ("steady hold", "idle", "between steps"):
            return f"{self.part} near {(low + high) / 2:.0f} rev/min ({duration})"
        return f"{self.part} from {low:.0f} to {high:.0f} rev/min ({duration})"


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Segment:
    """Which rows of a log are the pull.

    ``mask`` (rows,) is true for them. For a sweep they are one stretch, ``start`` to ``stop`` (not included).
    ``kind`` says how the log was made; ``excluded`` lists the other rows, in the order logged.
    """

    kind: PullKind
    mask: npt.NDArray[np.bool_]
    start: int
    stop: int
    excluded: tuple[ExcludedRows, ...]

    @property
    def excluded_texts(self) -> tuple[str, ...]:
        """Return what was left out, one plain phrase for each stretch."""
        return tuple(rows.text for rows in self.excluded)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Trace:
    """The log in blocks of rows: center time, speed, torque (or None), and each block's first row."""

    time: Array
    speed: Array
    torque: Array | None
    first: npt.NDArray[np.intp]
    rows: int
    seconds: bool


def loaded_part(
    speed: npt.ArrayLike, torque: npt.ArrayLike | None = None, time: npt.ArrayLike | None = None
) -> Segment:
    """Return the rows in which the loaded engine gains speed (a sweep) or holds its speeds (a step test).

    Of several rising parts the one that spans most speed under load is the pull. A log without time whose
    speed is never constant is taken as rows per speed, each row a reading, and used in full, but for rows in which
    the dyno drives the engine where the speed rises and falls. Rows without a speed or torque are left out. If nothing
    rises under load, every finite row is used and nothing is guessed.

    Shapes: ``speed`` [rev/s], ``torque`` [N m] or None, ``time`` [s] or None, (rows,) in the order logged.
    Raises ValueError if the lengths differ or no row has a speed. Range: from one row to some millions.
    Source: common practice, no source.
    """
    speeds = np.asarray(speed, dtype=np.float64).ravel()
    torques = None if torque is None else np.asarray(torque, dtype=np.float64).ravel()
    times = None if time is None else np.asarray(time, dtype=np.float64).ravel()
    for name, column in (("torque", torques), ("time", times)):
        if column is not None and column.size != speeds.size:
            raise ValueError(f"the {name} has {column.size} rows, the speed {speeds.size}")
    finite = np.isfinite(speeds)
    if torques is not None:
        finite &= np.isfinite(torques)
    if not finite.any():
        raise ValueError("no row has a speed")
    if times is not None and not _runs_forward(times[finite]):
        times = None
    if _rows_per_speed(speeds[finite], times):
        return _all_rows("rows per speed", finite, speeds, torques)
    index = np.flatnonzero(finite)
    trace = _blocks(speeds[index], None if torques is None else torques[index], None if times is None else times[index])
    labels = _labels(trace)
    kind, chosen = _choose(trace, labels)
    if not chosen.any():
        return _all_rows("rows per speed" if times is None else "sweep", finite, speeds, torques)
    mask = np.zeros(speeds.size, dtype=bool)
    lengths = np.diff(np.append(trace.first, trace.rows))
    mask[index] = np.repeat(chosen, lengths)
    rows = np.flatnonzero(mask)
    excluded = _excluded_rows(trace, labels, chosen, kind, index)
    return Segment(
        kind=kind,
        mask=mask,
        start=int(rows[0]),
        stop=int(rows[-1]) + 1,
        excluded=excluded + _excluded_not_finite(finite),
    )


def _runs_forward(times: Array) -> bool:
    """Return whether the times never decrease, and do increase over the log."""
    return times.size > 1 and bool(np.isfinite(times).all() and (np.diff(times) >= 0).all() and times[-1] > times[0])


def _rows_per_speed(speeds: Array, times: Array | None) -> bool:
    """Return whether rows are single readings: few rows; or no time, and a speed that is monotone or jumps."""
    if speeds.size < 8:
        return True
    if times is not None:
        return False
    step = np.diff(speeds)
    one_way = bool(np.all(step >= 0) or np.all(step <= 0))
    return one_way or float(np.median(np.abs(step))) > JUMP * float(np.ptp(speeds))


def _all_rows(kind: PullKind, finite: npt.NDArray[np.bool_], speeds: Array, torques: Array | None) -> Segment:
    """Return every row but those of a coast-down, which would halve the mean of a pull at each speed."""
    driven = _driven_rows(finite, speeds, torques)
    mask = finite & ~driven
    rows = np.flatnonzero(mask)
    places = np.flatnonzero(driven)
    runs = np.split(places, np.flatnonzero(np.diff(places) > 1) + 1) if places.size else []
    coasting = tuple(
        ExcludedRows(
            part="coast-down",
            start=int(run[0]),
            stop=int(run[-1]) + 1,
            from_speed=float(speeds[run[0]]),
            to_speed=float(speeds[run[-1]]),
            seconds=None,
        )
        for run in runs
    )
    excluded = coasting + _excluded_not_finite(finite)
    return Segment(kind=kind, mask=mask, start=int(rows[0]), stop=int(rows[-1]) + 1, excluded=excluded)


def _driven_rows(finite: npt.NDArray[np.bool_], speeds: Array, torques: Array | None) -> npt.NDArray[np.bool_]:
    """Return the rows with a torque below zero, in a log whose speed rises and falls and that has torque above zero."""
    none = np.zeros(finite.shape, dtype=bool)
    steps = np.diff(speeds[finite])
    if torques is None or not ((steps > 0).any() and (steps < 0).any() and (torques[finite] > 0).any()):
        return none
    return finite & (np.where(finite, torques, 0.0) < 0)


def _blocks(speeds: Array, torques: Array | None, times: Array | None) -> _Trace:
    """Return the means over blocks of rows, so that a million rows need not be examined one by one."""
    rows = speeds.size
    size = max(1, rows // _BLOCKS)
    first = np.arange(0, rows, size)
    count = np.diff(np.append(first, rows))

    def mean(values: Array) -> Array:
        return np.asarray(np.add.reduceat(values, first) / count)

    clock = np.arange(rows, dtype=np.float64) if times is None else times
    return _Trace(
        time=mean(clock),
        speed=mean(speeds),
        torque=None if torques is None else mean(torques),
        first=first,
        rows=rows,
        seconds=times is not None,
    )


def _labels(trace: _Trace) -> Labels:
    """Return what the engine did in each block: idle, run up, hold, rise under load, fall."""
    window = _window(trace)
    speed = _moving_mean(trace.speed, window)
    rate = _rate(trace.time, speed, window)
    if trace.torque is None:
        loaded = np.ones(speed.size, dtype=bool)
    else:
        torque = _moving_mean(trace.torque, max(1, window // 2))
        strong = float(np.quantile(torque, 0.9))
        loaded = torque >= LOADED * strong if strong > 0 else np.zeros(speed.size, dtype=bool)
    threshold = RISING * _typical_rate(trace.time, speed, rate, loaded)
    labels = np.full(speed.size, _IDLE, dtype=np.int8)
    steady = np.abs(rate) <= threshold
    labels[steady & loaded] = _HOLD
    labels[(rate > threshold) & loaded] = _RISE
    labels[(rate > threshold) & ~loaded] = _RUN_UP
    labels[rate < -threshold] = _FALL
    return _without_short_runs(labels, window)


def _window(trace: _Trace) -> int:
    """Return the half width in blocks over which speed is smoothed and its rate taken.

    The rate's noise is the speed's over the window; the window grows until that is small against the largest
    sustained rate, but never beyond a hundredth of the log (three blocks in a short one).
    """
    jitter = float(np.median(np.abs(np.diff(trace.speed, 2)))) if trace.speed.size > 3 else 0.0
    longest = max(2, trace.speed.size // 100)
    window = 2
    while window < longest:
        moved = np.abs(trace.speed[2 * window :] - trace.speed[: -2 * window])
        if float(np.quantile(moved, 0.9)) > 12 * jitter / np.sqrt(window):
            break
        window = min(longest, window * 2)
    return int(window)


def _moving_mean(values: Array, half: int) -> Array:
    """Return the mean over ``half`` blocks on either side, at the ends over fewer."""
    total = np.concatenate([[0.0], np.cumsum(values)])
    at = np.arange(values.size)
    low, high = np.maximum(at - half, 0), np.minimum(at + half + 1, values.size)
    return np.asarray((total[high] - total[low]) / (high - low))


def _rate(time: Array, speed: Array, half: int) -> Array:
    """Return the change of speed over time across the window [rev/s2, or per row]."""
    at = np.arange(speed.size)
    low, high = np.maximum(at - half, 0), np.minimum(at + half, speed.size - 1)
    span = time[high] - time[low]
    return np.asarray((speed[high] - speed[low]) / np.where(span > 0, span, np.inf))


def _typical_rate(time: Array, speed: Array, rate: Array, loaded: npt.NDArray[np.bool_]) -> float:
    """Return the rate below which the loaded engine gained half of all its gains in speed."""
    gains = np.where(loaded & (rate > 0), rate, 0.0) * np.gradient(time)
    if gains.sum() <= 0:
        return float(np.max(np.abs(rate)))
    order = np.argsort(rate)
    reached = np.cumsum(gains[order])
    return float(rate[order][np.searchsorted(reached, reached[-1] / 2)])


def _without_short_runs(labels: Labels, window: int) -> Labels:
    """Return the labels with runs shorter than half the window joined to the longer neighbor."""
    smooth = labels.copy()
    for _ in range(3):
        starts, stops = _runs(smooth)
        lengths = stops - starts
        short = np.flatnonzero(lengths <= max(1, window // 2))
        if not short.size or starts.size == 1:
            break
        for k in short[np.argsort(lengths[short], kind="stable")]:
            before = lengths[k - 1] if k > 0 else -1
            after = lengths[k + 1] if k + 1 < lengths.size else -1
            if max(before, after) <= lengths[k]:
                continue
            smooth[starts[k] : stops[k]] = smooth[starts[k] - 1] if before >= after else smooth[stops[k]]
    return smooth


def _runs(labels: Labels) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]:
    """Return the starts and stops of the runs of one label."""
    change = np.flatnonzero(np.diff(labels)) + 1
    return np.concatenate([[0], change]), np.append(change, labels.size)


def _choose(trace: _Trace, labels: Labels) -> tuple[PullKind, npt.NDArray[np.bool_]]:
    """Return kind and chosen blocks: the holds of a step test (three speeds or more), else the widest rise."""
    chosen = np.zeros(labels.size, dtype=bool)
    starts, stops = _runs(labels)
    held = [(a, b) for a, b in zip(starts, stops, strict=True) if labels[a] == _HOLD]
    span = float(np.ptp(trace.speed))
    levels: list[float] = []
    for a, b in held:
        level = float(np.median(trace.speed[a:b]))
        if all(abs(level - other) > 0.02 * span for other in levels):
            levels.append(level)
    rows = np.diff(np.append(trace.first, trace.rows))
    loaded = np.isin(labels, [_HOLD, _RISE])
    steady = sum(int(rows[a:b].sum()) for a, b in held)
    if len(levels) >= FEWEST_STEPS and steady >= STEADY_SHARE * max(int(rows[loaded].sum()), 1):
        for a, b in held:
            chosen[a:b] = True
        return "steps", chosen
    best, widest = 0.0, None
    for a, b in zip(starts, stops, strict=True):
        if labels[a] != _RISE or b - a < 2:
            continue
        # The top is the last block before the engine falls off, wherever the smoothed rate put the edge.
        reach = float(trace.speed[a:b].max() - trace.speed[a:b].min())
        load = 1.0 if trace.torque is None else max(float(trace.torque[a:b].mean()), 0.0)
        if reach * load > best:
            best, widest = reach * load, (a, b)
    if widest is not None:
        a, b = _trimmed(trace, *widest)
        chosen[a:b] = True
    return "sweep", chosen


def _trimmed(trace: _Trace, start: int, stop: int) -> tuple[int, int]:
    """Return the rising part cut where speed or load breaks off, which the window blurs."""
    speed = trace.speed[start:stop]
    stop = start + int(np.argmax(speed)) + 1
    speed = trace.speed[start:stop]
    start += int(np.argmin(speed)) if speed.size else 0
    if trace.torque is not None and stop - start > 4:
        torque = trace.torque[start:stop]
        weak = torque < 0.5 * float(np.median(torque))
        quarter = max(1, weak.size // 4)
        head, tail = np.flatnonzero(weak[:quarter]), np.flatnonzero(weak[-quarter:])
        if tail.size:
            stop -= quarter - int(tail[0])
        if head.size:
            start += int(head[-1]) + 1
    return start, stop


def _excluded_rows(
    trace: _Trace, labels: Labels, chosen: npt.NDArray[np.bool_], kind: PullKind, index: npt.NDArray[np.intp]
) -> tuple[ExcludedRows, ...]:
    """Return the parts that were not chosen, in the order logged, short runs joined to their neighbors."""
    taken = np.flatnonzero(chosen)
    edges = np.append(trace.first, trace.rows)
    short_span = SHORT_RUN * float(np.ptp(trace.speed))
    excluded_rows: list[ExcludedRows] = []
    for a, b in _gaps(chosen):
        after, begun = a > taken[-1], a > taken[0]
        for start, stop, label in _subdivide(trace, labels, a, b):
            first, last = int(index[edges[start]]), int(index[edges[stop] - 1]) + 1
            duration = float(trace.time[stop - 1] - trace.time[start]) if trace.seconds else None
            part = _name(label, kind, after, begun, float(np.ptp(trace.speed[start:stop])) < short_span)
            from_speed, to_speed = float(trace.speed[start]), float(trace.speed[stop - 1])
            if excluded_rows and excluded_rows[-1].part == part and excluded_rows[-1].stop == first:
                earlier = excluded_rows.pop()
                first, from_speed = earlier.start, earlier.from_speed
                duration = None if duration is None or earlier.seconds is None else duration + earlier.seconds
            excluded_rows.append(
                ExcludedRows(
                    part=part, start=first, stop=last, from_speed=from_speed, to_speed=to_speed, seconds=duration
                )
            )
    return tuple(excluded_rows)


def _gaps(chosen: npt.NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Return starts and stops of the blocks that were not chosen."""
    starts, stops = _runs(chosen.astype(np.int8))
    return [(int(a), int(b)) for a, b in zip(starts, stops, strict=True) if not chosen[a]]


def _subdivide(trace: _Trace, labels: Labels, a: int, b: int) -> list[tuple[int, int, int]]:
    """Return start, stop and label of the parts between two blocks, the shortest joined to a neighbor."""
    starts, stops = _runs(labels[a:b])
    parts = [(a + int(x), a + int(y), int(labels[a + x])) for x, y in zip(starts, stops, strict=True)]
    short_span = SHORT_RUN * float(np.ptp(trace.speed))
    while len(parts) > 1:
        reach = [float(np.ptp(trace.speed[x:y])) for x, y, _ in parts]
        length = [y - x for x, y, _ in parts]
        short = [
            k
            for k in range(len(parts))
            if reach[k] < short_span and length[k] < 0.5 * max(length[max(k - 1, 0) : k + 2])
        ]
        equal_neighbours = [k for k in range(1, len(parts)) if parts[k][2] == parts[k - 1][2]]
        if equal_neighbours:
            k = equal_neighbours[0]
            parts[k - 1 : k + 1] = [(parts[k - 1][0], parts[k][1], parts[k][2])]
        elif short:
            k = min(short, key=lambda index: length[index])
            neighbour = k - 1 if k + 1 == len(parts) or (k > 0 and length[k - 1] >= length[k + 1]) else k + 1
            first, last = min(k, neighbour), max(k, neighbour)
            parts[first : last + 1] = [(parts[first][0], parts[last][1], parts[neighbour][2])]
        else:
            break
    return parts


def _name(label: int, kind: PullKind, after: bool, begun: bool, still: bool) -> Part:
    """Return the name of a part: by what the engine did, and by whether the pull had begun or was over."""
    if kind == "steps" and begun and (not after or label == _RISE):
        return "between steps"
    if label == _RISE and still:
        label = _FALL if after else _HOLD  # the blurred edge of the pull itself
    names: dict[int, Part] = {
        _IDLE: "idle",
        _RUN_UP: "run-up",
        _HOLD: "steady hold",
        _RISE: "another rising part",
        _FALL: "coast-down",
    }
    return names[label]


def _excluded_not_finite(finite: npt.NDArray[np.bool_]) -> tuple[ExcludedRows, ...]:
    """Return the rows without a speed or torque as one entry."""
    missing = np.flatnonzero(~finite)
    if not missing.size:
        return ()
    nan = float("nan")
    return (
        ExcludedRows(
            part="not a number",
            start=int(missing[0]),
            stop=int(missing[0]) + int(missing.size),
            from_speed=nan,
            to_speed=nan,
            seconds=None,
        ),
    )
