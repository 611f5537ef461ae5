"""The difference between two pulls, and a swept setting."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from builder.draw.axes import (
    Axes,
    Box,
    Floats,
    avoid_overlap,
    finite,
    floats,
    label_width,
    overlap,
    padded_limits,
    paired,
    tick_labels,
    ticks,
    zero_note,
)
from builder.draw.canvas import Canvas
from builder.draw.chart_cache import chart
from builder.draw.drawing import Drawing
from builder.draw.footnotes import draw_notes, notes_height
from builder.draw.labels import exact, number, sanitise, signed, truncate, width, with_unit
from builder.draw.style import ACCENT, BAND, INK, QUIET, SECOND, WIDE, Mark, Size, series_style
from builder.record.wording import join_and


@dataclass(frozen=True)
class SignificantRange:
    """A range of speeds over which the difference is more than the noise; ``text`` is what it is worth."""

    start: float
    end: float
    text: str = ""


@dataclass(frozen=True, eq=False)
class GainCurve:
    """One pull less another over their common range.

    ``noise`` is the half-width of the band around nought, one value or one for each speed. ``ranges`` are those
    over which the difference is more than the noise.
    """

    label: str
    unit: str
    speed: npt.ArrayLike
    gain: npt.ArrayLike
    noise: npt.ArrayLike = math.nan
    ranges: tuple[SignificantRange, ...] = ()
    verdict: str = ""


@dataclass(frozen=True)
class Level:
    """One setting tried and its result; ``position`` is the pull's place in the record, for its mark."""

    setting: float
    result: float
    label: str = ""
    position: int = 0


@dataclass(frozen=True)
class SettingSweep:
    """Levels of one setting against a result. ``fit`` is (a, b, c) of a x^2 + b x + c, if there is one.

    ``optimum`` is the best setting, only where one may be named; ``verdict`` is the result in words either way.
    """

    setting: str
    setting_unit: str
    result: str
    result_unit: str
    levels: tuple[Level, ...]
    fit: tuple[float, float, float] | None = None
    optimum: float | None = None
    verdict: str = ""


@chart
def gain_curve(data: GainCurve, *, name: str = "gain_curve", size: Size = WIDE) -> Drawing:
    """Draw the difference over speed with the band of noise behind it, heavy where it is more than the noise.

    Raises ValueError if there is no known point or the arrays do not pair.
    """
    label, remark = sanitise(data.label), sanitise(data.verdict)
    x, y = paired(data.speed, data.gain, label)
    y = np.where(np.isfinite(x), y, np.nan)
    if not np.isfinite(y).any():
        raise ValueError(f"{label}: no known point of the difference")
    noise = np.abs(floats(data.noise))
    if noise.size not in (1, x.size):
        raise ValueError(f"{label}: {noise.size} values of noise for {x.size} speeds")
    noise = np.broadcast_to(noise, x.shape).copy()
    height = 170.0 if size.narrow else 190.0
    y_limits = padded_limits(finite(y, noise, -noise, [0.0]), below=0.08, above=0.1)
    x_limits = padded_limits(finite(x), below=0.02, above=0.02)
    values = ticks(y_limits, height, 36)
    labels = [
        signed(v) if v == 0 else f"+{t}" if v > 0 else t for v, t in zip(values, tick_labels(values), strict=True)
    ]
    left = label_width(labels, size.small)
    ranges = [r for r in data.ranges if math.isfinite(r.start) and math.isfinite(r.end)]
    bars = 32.0 if ranges else 6.0
    canvas = Canvas(size.width, 30 + height + bars + 46 + notes_height((), size, remark), size)
    axes = Axes(canvas, (left, 30, size.width - left - 14, height), x_limits, y_limits)
    # A label too long for the drawing is on the page; cut off, it would be misread.
    fits = width(label, size.text, True) <= axes.width - width(data.unit, size.text) - 10
    axes.title(label if fits else "Difference", data.unit, ACCENT)
    axes.band(x, -noise, noise, BAND, edgecolor=QUIET, linewidth=0.7)
    axes.gridlines(values, labels)
    axes.level(0, INK, linewidth=1.1, zorder=0.6)
    axes.curve(x, y, ACCENT, Mark("o", ()) if np.isfinite(y).sum() == 1 else None, linewidth=1.5)
    for significant in ranges:
        first, last = sorted((significant.start, significant.end))
        inside = (x >= first) & (x <= last)
        axes.curve(x, np.where(inside, y, np.nan), ACCENT, linewidth=3.4, zorder=3.2)
    _draw_ranges(axes, ranges)
    axes.x_axis(ticks(x_limits, axes.width, 64), drop=bars)
    axes.x_title("Engine speed, rpm", bars + 38, zero_note([("speed", x_limits), ("", y_limits)]))
    draw_notes(canvas, (), axes.bottom + bars + 46, remark)
    return canvas.to_drawing(
        name,
        label,
        _gain_description(data, x, y, noise, ranges),
        plots=[axes.area._replace(x_axis=round(axes.bottom + bars, 1))],
    )


def _draw_ranges(axes: Axes, ranges: list[SignificantRange]) -> None:
    """Draw bars below the curve over the ranges, each with what it is worth."""
    canvas, size = axes.canvas, axes.canvas.size
    texts, middles = [], []
    for significant in ranges:
        low, high = (
            min(max(v, axes.x_limits[0]), axes.x_limits[1]) for v in sorted((significant.start, significant.end))
        )
        x0, x1 = axes.x(low), max(axes.x(high), axes.x(low) + 2)
        y = axes.bottom + 9
        canvas.line([x0, x1], [y, y], ACCENT, linewidth=3.4)
        canvas.line([x0, x0, math.nan, x1, x1], [y - 4, y + 4, math.nan, y - 4, y + 4], ACCENT, linewidth=1.4)
        texts.append(truncate(significant.text, axes.width / len(ranges) - 8, size.small, True))
        middles.append((x0 + x1) / 2)
    centres = avoid_overlap(middles, [width(t, size.small, True) + 8 for t in texts], axes.left, axes.right)
    for text, x in zip(texts, centres, strict=True):
        y = axes.bottom + 14 + size.small
        canvas.text(x, y, text, anchor="center", colour=ACCENT, size=size.small, bold=True)


def _gain_description(data: GainCurve, x: Floats, y: Floats, noise: Floats, ranges: list[SignificantRange]) -> str:
    unit = sanitise(data.unit)
    low, high = int(np.nanargmin(y)), int(np.nanargmax(y))
    text = (
        f"{sanitise(data.label)} against engine speed: from {signed(float(y[low]))} {unit} at "
        f"{number(float(x[low]), 0)} to {signed(float(y[high]))} {unit} at {number(float(x[high]), 0)} "
        f"rpm; mean {signed(float(np.nanmean(y)))} {unit}."
    )
    if np.isfinite(noise).any():
        text += f" Noise up to {number(float(np.nanmax(noise)))} {unit} either way."
        parts = [
            f"{number(r.start, 0)} to {number(r.end, 0)} rpm" + (f" ({sanitise(r.text)})" if r.text else "")
            for r in ranges
        ]
        text += f" More than the noise from {join_and(parts)}." if parts else " Nowhere more than the noise."
    return text + (f" {sanitise(data.verdict)}" if data.verdict else "")


@chart
def setting_sweep(data: SettingSweep, *, name: str = "setting_sweep", size: Size = WIDE) -> Drawing:
    """Draw result against setting, each level with its pull's mark, the fitted curve and its optimum if named.

    Raises ValueError if no level has both a setting and a result.
    """
    levels = [level for level in data.levels if math.isfinite(level.setting) and math.isfinite(level.result)]
    if not levels:
        raise ValueError(f"{sanitise(data.setting)}: no level with a result")
    xs, ys = floats([level.setting for level in levels]), floats([level.result for level in levels])
    optimum = data.optimum if data.optimum is not None and math.isfinite(data.optimum) else None
    along = finite(xs, [] if optimum is None else [optimum])
    x_limits = padded_limits(along, below=0.14, above=0.14)
    coefficients = data.fit if data.fit is not None and all(math.isfinite(c) for c in data.fit) else None
    curve_x = floats(np.linspace(*padded_limits(along), 81))
    curve_y = floats(np.polyval(coefficients, curve_x)) if coefficients else np.full(81, np.nan)
    best = float(np.polyval(coefficients, optimum)) if coefficients and optimum is not None else math.nan
    height = 190.0 if size.narrow else 220.0
    room = (size.text + 16) / (height - size.text - 16)
    y_limits = padded_limits(finite(ys, curve_y, [best]), below=0.1, above=room)
    values = ticks(y_limits, height, 40)
    left = label_width(tick_labels(values), size.small)
    remark = sanitise(data.verdict)
    canvas = Canvas(size.width, 30 + height + 52 + notes_height((), size, remark), size)
    axes = Axes(canvas, (left, 30, size.width - left - 14, height), x_limits, y_limits)
    axes.title(sanitise(data.result), data.result_unit)
    axes.gridlines(values)
    axes.curve(curve_x, curve_y, QUIET, linestyle=(0, (5, 3)))
    if optimum is not None:
        x = axes.x(optimum)
        top = axes.y(best) if math.isfinite(best) else axes.top + 20
        canvas.line([x, x], [top, axes.bottom], ACCENT, linewidth=1.3, linestyle=(0, (2, 2)), zorder=0.7)
        if math.isfinite(best):
            axes.points(optimum, best, ACCENT, "o", 10.0, face="none", markeredgewidth=1.6)
    for level in levels:
        axes.points(level.setting, level.result, SECOND, series_style(level.position).marker, 8.0)
    _level_labels(axes, data, levels, (curve_x, curve_y), optimum, best)
    axes.x_axis(ticks(x_limits, axes.width, 56))
    setting = sanitise(data.setting)
    note = "Not from 0" if zero_note([("setting", x_limits), ("result", y_limits)]) else ""
    axes.x_title(f"{setting}, {sanitise(data.setting_unit)}" if data.setting_unit else setting, note=note)
    draw_notes(canvas, (), axes.bottom + 46, remark)
    title = f"{sanitise(data.result)} against {setting.lower()}"
    return canvas.to_drawing(name, title, _sweep_description(data, levels, optimum, best))


def _level_labels(
    axes: Axes,
    data: SettingSweep,
    levels: list[Level],
    fitted: tuple[Floats, Floats],
    optimum: float | None,
    best: float,
) -> None:
    """Write each level's result above its point where there is room, the optimum's setting over its ring."""
    canvas, size = axes.canvas, axes.canvas.size
    taken: list[Box] = [_around(axes.x(level.setting), axes.y(level.result), 5) for level in levels]
    # The fitted curve and the line down from its top are in the way, too.
    taken += [_around(axes.x(x), axes.y(y), 2) for x, y in zip(*fitted, strict=True) if math.isfinite(y)]
    labels: list[tuple[float, float, Sequence[str], str, bool]] = []
    if optimum is not None:
        x, top = axes.x(optimum), axes.y(best) if math.isfinite(best) else axes.top
        taken += [_around(x, top, 6), (x - 2, top, x + 2, axes.bottom)]
        if math.isfinite(best):
            labels.append((x, top, (f"best {_best(data, optimum)}",), ACCENT, True))
    for level in levels:
        result = number(level.result)
        # The bare number where the whole label finds no room.
        labelled = [f"{sanitise(level.label)}: {result}"] if level.label else []
        labels.append((axes.x(level.setting), axes.y(level.result), [*labelled, result], INK, False))
    for x, y, forms, colour, bold in labels:
        for text in forms:
            text = truncate(text, axes.width * 0.45, size.small, bold)
            place = _free_place(axes, x, y, width(text, size.small, bold) / 2, taken)
            if place is not None:
                canvas.text(*place, text, anchor="center", colour=colour, size=size.small, bold=bold)
                break


def _around(x: float, y: float, distance: float) -> Box:
    return x - distance, y - distance, x + distance, y + distance


def _free_place(axes: Axes, x: float, y: float, half: float, taken: list[Box]) -> tuple[float, float] | None:
    """Return the middle and baseline for a label near a point, clear of what is taken, and take that place too."""
    small = axes.canvas.size.small
    level, under = small * 0.36, small + 8
    offsets = [(0.0, -12.0), (-half - 10, level), (half + 10, level), (0.0, under + 1)]
    offsets += [(-half - 8, -9.0), (half + 8, under), (half + 8, -9.0), (-half - 8, under)]
    for right, down in (*offsets, (0.0, -28.0), (0.0, small + 25), (-half - 26, -20.0), (half + 26, -20.0)):
        centre = min(max(x + right, axes.left + half), axes.right - half)
        box = (centre - half, y + down - small * 0.8, centre + half, y + down + small * 0.25)
        inside = box[1] > axes.top - 2 and box[3] < axes.bottom - 1
        if inside and not any(overlap(box, taken_box) for taken_box in taken):
            taken.append(box)
            return centre, y + down
    return None


def _best(data: SettingSweep, optimum: float) -> str:
    return with_unit(number(optimum), data.setting_unit)


def _sweep_description(data: SettingSweep, levels: list[Level], optimum: float | None, best: float) -> str:
    parts = [
        f"{with_unit(exact(v.setting), data.setting_unit)} gave {with_unit(number(v.result), data.result_unit)}"
        + (f" ({sanitise(v.label)})" if v.label else "")
        for v in levels
    ]
    text = (
        f"{sanitise(data.result)} at {len(levels)} {'level' if len(levels) == 1 else 'levels'} of "
        f"{sanitise(data.setting).lower()}: {join_and(parts)}."
    )
    if optimum is not None:
        text += f" The fitted curve is highest at {_best(data, optimum)}"
        text += f", {with_unit(number(best), data.result_unit)}." if math.isfinite(best) else "."
    return text + (f" {sanitise(data.verdict)}" if data.verdict else "")
