"""Which rows of a log make the curve, and the torque in them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from builder.engine import power
from builder.engine.curves import CELL, WIDTH, rate_of_change
from builder.engine.pull_segmentation import Segment, loaded_part
from builder.engine.validation import Array
from builder.record.dyno_log.reader import DynoLog
from builder.record.models.dyno import TestKind

_MANY_ROWS = 5000
"""From this many rows, channels other than torque are averaged over small steps of speed before smoothing."""
_RATE_WINDOW = 0.4
"""Window over which the rate of change of speed is taken [s]: some rows of a slow log, short against a sweep."""


@dataclass(frozen=True, eq=False, kw_only=True)
class SelectedRows:
    """The rows of a log that count: speed [rev/s] and torque as logged [N m].

    ``kind`` is as the record states it, else as the log's time column shows it; None where neither tells.
    ``acceleration`` [rev/s2] and ``acceleration_torque`` [N m] are given for a sweep with a stated inertia.
    """

    kind: TestKind | None
    speed: Array
    torque: Array
    mask: npt.NDArray[np.bool_]
    notes: tuple[str, ...]
    acceleration: Array | None = None
    acceleration_torque: Array | None = None

    def select(self, channel: Array) -> Array:
        """Return another channel at the rows that count."""
        return channel if self.mask.all() else channel[self.mask]


def select_rows(log: DynoLog, inertia: float | None = None, stated_kind: TestKind | None = None) -> SelectedRows:
    """Return the rows that count; torque from power where no torque was logged.

    ``inertia`` [kg m2] of all that turns with the crank; ``stated_kind``: what the record says it was.
    Raises ValueError where no row has a speed and a torque.
    """
    speed, time = log.channels["engine_speed"], log.channels.get("time")
    notes = []
    if "torque" in log.channels:
        torque = log.channels["torque"]
    elif "power" in log.channels:
        torque = np.asarray(power.torque(log.channels["power"], np.where(speed > 0, speed, np.nan)))
        notes.append("torque calculated from power and speed: T = P / (2 pi n)")
    else:
        raise ValueError("it has neither torque nor power")
    segment = loaded_part(speed, torque, time)
    kind = stated_kind or _kind_by_time(segment, time)
    notes.append(_segment_note(segment, kind))
    mask = segment.mask & np.isfinite(torque) & (speed > 0)
    if not mask.any():
        raise ValueError("no row has both speed and torque")
    if not mask.all():
        speed, torque = speed[mask], torque[mask]
    acceleration = acceleration_torque = None
    if inertia is not None:
        if kind == "sweep" and segment.kind == "sweep" and time is not None:
            times = time[mask]
            acceleration = rate_of_change(times, speed, _rate_window(times))
            acceleration_torque = np.asarray(power.acceleration_torque(inertia, acceleration))
        elif time is None:
            notes.append("inertia correction skipped: the log has no time channel")
        elif kind == "steps":
            notes.append("inertia correction skipped: a step test does not accelerate")
        else:
            notes.append("inertia correction skipped: the log has no rising part under load")
    return SelectedRows(
        kind=kind,
        speed=speed,
        torque=torque,
        mask=mask,
        notes=tuple(notes),
        acceleration=acceleration,
        acceleration_torque=acceleration_torque,
    )


def binned(speed: Array, channels: tuple[Array, ...]) -> tuple[tuple[Array, ...], Array]:
    """Return the channels of a long log as means over small steps of speed (31 rev/min), and the mean speeds.

    A short log is returned as it is. Shapes: (rows,) to (steps,); a step without a number is NaN.
    """
    if speed.size <= _MANY_ROWS or not channels:
        return channels, speed
    index = (speed / (WIDTH * CELL)).astype(np.int64)
    index -= index.min()
    if index.max() > 1_000_000:
        return channels, speed
    count = np.bincount(index)
    filled = count > 0
    mean_speed = (np.bincount(index, weights=speed)[filled]) / count[filled]
    means = []
    for channel in channels:
        finite = np.isfinite(channel)
        rows = count if finite.all() else np.bincount(index, weights=finite, minlength=count.size)
        total = np.bincount(index, weights=np.where(finite, channel, 0.0), minlength=count.size)
        with np.errstate(invalid="ignore", divide="ignore"):
            means.append((total / rows)[filled])
    return tuple(means), mean_speed


def _rate_window(times: Array) -> float:
    """Return a window [s] that holds a dozen rows, and is never shorter than the usual one."""
    finite = np.sort(times[np.isfinite(times)])
    gap = float(np.median(np.diff(finite))) if finite.size > 2 else 0.0
    return max(_RATE_WINDOW, 12 * gap)


def _kind_by_time(segment: Segment, time: Array | None) -> TestKind | None:
    """Return what the log's time column shows the pull to be; rows without a time do not tell."""
    if time is None or segment.kind == "rows per speed":
        return None
    return segment.kind


def _segment_note(segment: Segment, kind: TestKind | None) -> str:
    """Say what kind of test it was, if that is known, and which rows are not the pull."""
    part = {"sweep": "the rising part under load", "steps": "the rows at steady speeds", "rows per speed": "every row"}
    if segment.kind == "rows per speed" and not segment.mask.all():
        part["rows per speed"] = "every row under load"
    test = {"sweep": "sweep", "steps": "step test", None: "sweep or steps not recorded"}[kind]
    text = f"{test}: {part[segment.kind]}"
    return text if segment.mask.all() else f"{text}; excluded: {', '.join(segment.excluded_texts)}"
