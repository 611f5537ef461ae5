"""Piston speed against crank angle at one engine speed."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from builder.draw.axes import Axes, finite, label_width, padded_limits, paired, tick_labels, ticks
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
def piston_speed(of: PistonSpeed, *, name: str = "piston_speed", size: Size = WIDE) -> Drawing:
    """Piston speed against crank angle, its greatest value and the mean marked.

    Raises ValueError if there is no known point or the arrays do not pair.
    """
    x, y = paired(of.angle, of.speed, "piston speed")
    keep = np.isfinite(x) & np.isfinite(y)
    if not keep.any():
        raise ValueError("no known point of piston speed")
    mean = of.mean if of.mean is not None and math.isfinite(of.mean) else None
    tall = 190.0 if size.narrow else 230.0
    room = (size.text + 14) / (tall - size.text - 14)
    values = finite(y, [mean] if mean is not None else [], [0.0])
    lowest = 0.0 if values.min() >= 0 else None
    up = padded_limits(values, below=room if lowest is None else 0.0, above=room, least=lowest)
    across = padded_limits(finite(x), below=0.01, above=0.01)
    at = ticks(up, tall, 40)
    left = label_width(tick_labels(at), size.small)
    mean_text = f"mean {number(mean)}" if mean is not None else ""
    right = max(14.0, width(mean_text, size.small) + 14)
    sheet = Canvas(size.width, 30 + tall + 48, size)
    panel = Axes(sheet, (left, 30, size.width - left - right, tall), across, up)
    panel.title("Piston speed", of.unit)
    panel.gridlines(at)
    if up[0] < 0 < up[1]:
        sheet.line([panel.left, panel.right], [panel.y(0)] * 2, QUIET, zorder=0.4)
    if mean is not None:
        level = panel.y(mean)
        sheet.line([panel.left, panel.right], [level, level], INK, linestyle=(0, (5, 3)), zorder=0.5)
        sheet.text(panel.right + 8, level + size.small * 0.36, mean_text, size=size.small)
    panel.curve(x, np.where(keep, y, np.nan), SECOND, linewidth=2.4)
    top = int(np.flatnonzero(keep)[np.argmax(np.abs(y[keep]))])
    if keep.sum() == 1 or abs(y[top]) > 0:
        panel.points(x[top], y[top], SECOND, "o", 8.0, face="none")
    words = f"{number(abs(float(y[top])))} {sanitise(of.unit)} at {number(float(x[top]), 0)}° after TDC"
    words = truncate(words, panel.width, size.text, True)
    half = width(words, size.text, True) / 2
    px = min(max(panel.x(float(x[top])), panel.left + half), panel.right - half)
    below = y[top] < 0
    sheet.text(
        px, panel.y(float(y[top])) + (9 + size.text if below else -9), words, anchor="center", colour=SECOND, bold=True
    )
    span = across[1] - across[0]
    step = 30.0 if span <= 200 else 90.0
    step *= math.ceil(span / step / (9 if not size.narrow else 6))
    foot = [step * i for i in range(math.ceil(across[0] / step), math.floor(across[1] / step) + 1)]
    panel.x_axis(foot, [f"{number(a, 0)}°" for a in foot])
    base = panel.bottom + 40
    words = truncate(f"Crank angle after TDC, at {sanitise(of.at)}", size.width - 8, size.text)
    sheet.text(
        panel.right, base, words, anchor="right" if width(words, size.text) < panel.right else "left", colour=QUIET
    )
    told = f"Piston speed against crank angle at {sanitise(of.at)}: greatest {number(abs(float(y[top])))} "
    told += f"{sanitise(of.unit)} at {number(float(x[top]), 0)} degrees after top dead centre"
    told += f"; mean {number(mean)} {sanitise(of.unit)}." if mean is not None else "."
    return sheet.to_drawing(name, "Piston speed against crank angle", told)
