"""Spark advance of a distributor: a curve against speed, and what idle and curve come to in all.

Angles are crankshaft degrees before TDC, speeds [rev/s] of the crankshaft. A distributor turns at half crankshaft speed
on a four-stroke: its own speeds and degrees count double.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from builder.engine.validation import Array, Value, reject_if, unwrap_scalar


def advance_at(speed: Value, curve_speed: npt.ArrayLike, curve_advance: npt.ArrayLike) -> Value:
    """Return the mechanical advance [deg] at a speed, by straight lines between the points of a curve.

    Shapes: speed [rev/s] of any shape; the curve's speeds [rev/s] and advance [deg] (n,), speeds increasing. Below its
    first point the curve's first value holds, above its last the last. Raises ValueError where the speeds do not
    increase or do not pair up with the advance. Source: linear interpolation.
    """
    speeds, advance = _curve(curve_speed, curve_advance)
    return unwrap_scalar(np.interp(speed, speeds, advance))


def total_timing(idle_timing: Value, idle_advance: Value, most_advance: Value) -> Value:
    """Return the total timing [deg before TDC] = timing at idle, less the advance already there, plus the most advance.

    Shapes: timing at idle, mechanical advance at idle speed and the most mechanical advance [deg] broadcast together.
    Raises nothing. Range: without vacuum advance, as at full throttle. Source: definition.
    """
    return unwrap_scalar(np.asarray(idle_timing) - idle_advance + most_advance)


def full_advance_speed(curve_speed: npt.ArrayLike, curve_advance: npt.ArrayLike) -> float:
    """Return the lowest speed [rev/s] at which a curve has its most advance.

    Shapes and errors: as for :func:`advance_at`. Source: definition.
    """
    speeds, advance = _curve(curve_speed, curve_advance)
    return float(speeds[int(np.argmax(advance))])


def _curve(curve_speed: npt.ArrayLike, curve_advance: npt.ArrayLike) -> tuple[Array, Array]:
    speeds, advance = np.asarray(curve_speed, dtype=np.float64), np.asarray(curve_advance, dtype=np.float64)
    reject_if(
        speeds.ndim != 1 or speeds.shape != advance.shape or speeds.size == 0,
        "each speed of the advance curve needs its advance",
        "curve_speed",
        "curve_advance",
    )
    reject_if(bool(np.any(np.diff(speeds) <= 0)), "the speeds of the advance curve must increase", "curve_speed")
    return speeds, advance
