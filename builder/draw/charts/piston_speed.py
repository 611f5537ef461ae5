"""Piston speed against crank angle at one engine speed."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from builder.draw.axes import Axes, Limits, finite, label_width, padded_limits, paired, tick_labels, ticks
from builder.draw.canvas import Canvas
from builder.draw.chart_cache import chart
from builder.draw.drawing import Drawing
from builder.draw.labels import number, sanitise, truncate, width
from builder.draw.style import INK, QUIET, SECOND, WIDE, Size


@dataclass(frozen=True, eq=False)
class PistonSpeed:
    """Piston speed over crank angle [deg after TDC]; ``at`` names the engine speed ("6,000 rpm")."""

    angle: npt.ArrayLike
    speed: npt.ArrayLike
    unit: str
    at: str
    mean: float | None = None


@chart
def piston_speed(data: PistonSpeed, *, name: str = "piston_speed", size: Size = WIDE) -> Drawing:
    """Draw piston speed against crank angle, its greatest value and the mean marked.

    Raises ValueError if there is no known point or the arrays do not pair.
    """
    x, y = paired(data.angle, data.speed, "piston speed")
    known = np.isfinite(x) & np.isfinite(y)
    if not known.any():
        raise ValueError("no known point of piston speed")
    mean = data.mean if data.mean is not None and math.isfinite(data.mean) else None
    height = 190.0 if size.narrow else 230.0
    room = (size.text + 14) / (height - size.text - 14)
    values = finite(y, [mean] if mean is not None else [], [0.0])
    start = 0.0 if values.min() >= 0 else None
    y_limits = padded_limits(values, below=room if start is None else 0.0, above=room, start=start)
    x_limits = padded_limits(finite(x), below=0.01, above=0.01)
    y_ticks = ticks(y_limits, height, 40)
    left = label_width(tick_labels(y_ticks), size.small)
    mean_text = f"mean {number(mean)}" if mean is not None else ""
    right = max(14.0, width(mean_text, size.small) + 14)
    canvas = Canvas(size.width, 30 + height + 48, size)
    axes = Axes(canvas, (left, 30, size.width - left - right, height), x_limits, y_limits)
    axes.title("Piston speed", data.unit)
    axes.gridlines(y_ticks)
    if y_limits[0] < 0 < y_limits[1]:
        axes.level(0, QUIET, zorder=0.4)
    if mean is not None:
        axes.level(mean, INK, linestyle=(0, (5, 3)), zorder=0.5)
        canvas.text(axes.right + 8, axes.y(mean) + size.small * 0.36, mean_text, size=size.small)
    axes.curve(x, np.where(known, y, np.nan), SECOND, linewidth=2.4)
    top = int(np.flatnonzero(known)[np.argmax(np.abs(y[known]))])
    greatest, angle, unit = number(abs(float(y[top]))), number(float(x[top]), 0), sanitise(data.unit)
    if known.sum() == 1 or abs(y[top]) > 0:
        axes.points(x[top], y[top], SECOND, "o", 8.0, face="none")
    text = truncate(f"{greatest} {unit} at {angle}° after TDC", axes.width, size.text, True)
    half = width(text, size.text, True) / 2
    label_x = min(max(axes.x(float(x[top])), axes.left + half), axes.right - half)
    label_y = axes.y(float(y[top])) + (9 + size.text if y[top] < 0 else -9)
    canvas.text(label_x, label_y, text, anchor="center", colour=SECOND, bold=True)
    angles = _angle_ticks(x_limits, size)
    axes.x_axis(angles, [f"{number(a, 0)}°" for a in angles])
    x_title = truncate(f"Crank angle after TDC, at {sanitise(data.at)}", size.width - 8, size.text)
    anchor = "right" if width(x_title, size.text) < axes.right else "left"
    canvas.text(axes.right, axes.bottom + 40, x_title, anchor=anchor, colour=QUIET)
    description = (
        f"Piston speed against crank angle at {sanitise(data.at)}: greatest {greatest} {unit} at {angle} degrees "
        "after top dead center"
    )
    description += f"; mean {number(mean)} {unit}." if mean is not None else "."
    return canvas.to_drawing(name, "Piston speed against crank angle", description)


def _angle_ticks(limits: Limits, size: Size) -> list[float]:
    """Return the angles to be named: whole parts of a turn."""
    low, high = limits
    step = 30.0 if high - low <= 200 else 90.0
    step *= math.ceil((high - low) / step / (6 if size.narrow else 9))
    return [step * i for i in range(math.ceil(low / step), math.floor(high / step) + 1)]
