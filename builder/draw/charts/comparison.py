"""What a change was worth: one pull less another, and a setting tried at several levels."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from builder.draw.axes import (
    Axes,
    avoid_overlap,
    finite,
    floats,
    label_width,
    padded_limits,
    paired,
    tick_labels,
    ticks,
)
from builder.draw.canvas import Canvas
from builder.draw.chart_cache import chart
from builder.draw.drawing import Drawing
from builder.draw.footnotes import Caution, notes, notes_height, zone
from builder.draw.labels import exact, join_and, number, sanitise, signed, truncate, width, with_unit
from builder.draw.style import ACCENT, BAND, INK, QUIET, SECOND, WIDE, Size, series_style

_Box = tuple[float, float, float, float]  # left, top, right, bottom [px]


@dataclass(frozen=True)
class SignificantRange:
    """A range of speeds over which the difference is more than the noise; ``text`` is what it is worth."""

    start: float
    end: float
    text: str = ""


@dataclass(frozen=True, eq=False)
class GainCurve:
    """One pull less another over their common range.

    ``noise`` is the half-width of the band around nought, one value or one for each speed. ``beyond`` may
    be left empty where nothing is more than the noise.
    """

    label: str
    unit: str
    speed: npt.ArrayLike
    gain: npt.ArrayLike
    noise: npt.ArrayLike = math.nan
    beyond: tuple[SignificantRange, ...] = ()
    speed_unit: str = "rpm"
    verdict: str = ""
    cautions: tuple[Caution, ...] = ()


@dataclass(frozen=True)
class Level:
    """One setting tried and its result; ``position`` is the pull's place in the record, for its mark."""

    setting: float
    result: float
    label: str = ""
    position: int = 0


@dataclass(frozen=True)
class SettingSweep:
    """Levels of one setting against a result. ``fit`` is (a, b, c) of a x^2 + b x + c, if one was made.

    ``optimum`` is the best setting, only where one may be named; ``verdict`` says it in words either way.
    """

    setting: str
    setting_unit: str
    result: str
    result_unit: str
    levels: tuple[Level, ...]
    fit: tuple[float, float, float] | None = None
    optimum: float | None = None
    verdict: str = ""
    cautions: tuple[Caution, ...] = ()
    optimum_text: str = ""


@chart
def gain_curve(of: GainCurve, *, name: str = "gain_curve", size: Size = WIDE) -> Drawing:
    """The difference over speed, nought and the band of noise behind it, what exceeds it drawn heavy.

    Raises ValueError if there is no known point or the arrays do not pair.
    """
    x, y = paired(of.speed, of.gain, sanitise(of.label))
    y = np.where(np.isfinite(x), y, np.nan)
    if not np.isfinite(y).any():
        raise ValueError(f"{sanitise(of.label)}: no known point of the difference")
    noise = np.abs(floats(of.noise))
    if noise.size not in (1, x.size):
        raise ValueError(f"{sanitise(of.label)}: {noise.size} values of noise for {x.size} speeds")
    noise = np.broadcast_to(noise, x.shape).copy()
    tall = 170.0 if size.narrow else 190.0
    up = padded_limits(finite(y, noise, -noise, [0.0]), below=0.08, above=0.1)
    across = padded_limits(finite(x), below=0.02, above=0.02)
    at = ticks(up, tall, 36)
    labels = [signed(v) if v == 0 else f"+{t}" if v > 0 else t for v, t in zip(at, tick_labels(at), strict=True)]
    left = label_width(labels, size.small)
    ranges = [b for b in of.beyond if math.isfinite(b.start) and math.isfinite(b.end)]
    strip = 32.0 if ranges else 6.0
    remark = sanitise(of.verdict)
    height = 30 + tall + strip + 46 + notes_height(of.cautions, size, remark)
    sheet = Canvas(size.width, height, size)
    panel = Axes(sheet, (left, 30, size.width - left - 14, tall), across, up)
    # A label too long for the drawing stands in the page; cut off, it would say less than none.
    whole = width(sanitise(of.label), size.text, True) <= panel.width - width(of.unit, size.text) - 10
    panel.title(sanitise(of.label) if whole else "Difference", of.unit, ACCENT)
    for c in of.cautions:
        if c.start is not None and c.end is not None:
            low, high = max(min(c.start, c.end), across[0]), min(max(c.start, c.end), across[1])
            if high > low:
                zone(sheet, panel.x(low), panel.top, panel.x(high) - panel.x(low), panel.height)
    panel.band(x, -noise, noise, BAND, edgecolor=QUIET, linewidth=0.7)
    panel.gridlines(at, labels)
    sheet.line([panel.left, panel.right], [panel.y(0)] * 2, INK, linewidth=1.1, zorder=0.6)
    panel.curve(x, y, ACCENT, linewidth=1.5, marker="o" if np.isfinite(y).sum() == 1 else "")
    for b in ranges:
        first, last = sorted((b.start, b.end))
        inside = (x >= first) & (x <= last)
        panel.curve(x, np.where(inside, y, np.nan), ACCENT, linewidth=3.4, zorder=3.2, marker="")
    _beyond(panel, ranges)
    base = panel.bottom + strip
    panel.x_axis(ticks(across, panel.width, 64), drop=strip)
    sheet.text(panel.right, base + 38, f"Engine speed, {sanitise(of.speed_unit)}", anchor="right", colour=QUIET)
    notes(sheet, of.cautions, base + 46, remark)
    return sheet.to_drawing(name, sanitise(of.label), _gain_description(of, x, y, noise, ranges))


def _beyond(panel: Axes, ranges: list[SignificantRange]) -> None:
    """Bars below the curve over the ranges beyond the noise, each with what it is worth."""
    sheet, size = panel.sheet, panel.sheet.size
    texts, middles = [], []
    for b in ranges:
        low, high = (min(max(v, panel.across[0]), panel.across[1]) for v in sorted((b.start, b.end)))
        x0, x1 = panel.x(low), max(panel.x(high), panel.x(low) + 2)
        y = panel.bottom + 9
        sheet.line([x0, x1], [y, y], ACCENT, linewidth=3.4)
        sheet.line([x0, x0, math.nan, x1, x1], [y - 4, y + 4, math.nan, y - 4, y + 4], ACCENT, linewidth=1.4)
        texts.append(truncate(b.text, panel.width / len(ranges) - 8, size.small, True))
        middles.append((x0 + x1) / 2)
    placed = avoid_overlap(middles, [width(t, size.small, True) + 8 for t in texts], panel.left, panel.right)
    for text, x in zip(texts, placed, strict=True):
        if text:
            y = panel.bottom + 14 + size.small
            sheet.text(x, y, text, anchor="center", colour=ACCENT, size=size.small, bold=True)


_Array = npt.NDArray[np.float64]


def _gain_description(of: GainCurve, x: _Array, y: _Array, noise: _Array, ranges: list[SignificantRange]) -> str:
    unit = sanitise(of.unit)
    low, high = int(np.nanargmin(y)), int(np.nanargmax(y))
    told = f"{sanitise(of.label)} against engine speed: from {signed(float(y[low]))} {unit} at "
    told += f"{number(float(x[low]), 0)} to {signed(float(y[high]))} {unit} at {number(float(x[high]), 0)} "
    told += f"{sanitise(of.speed_unit)}; mean {signed(float(np.nanmean(y)))} {unit}."
    if np.isfinite(noise).any():
        told += f" Noise up to {number(float(np.nanmax(noise)))} {unit} either way."
        parts = [
            f"{number(b.start, 0)} to {number(b.end, 0)} {sanitise(of.speed_unit)}"
            + (f" ({sanitise(b.text)})" if b.text else "")
            for b in ranges
        ]
        told += f" More than the noise from {join_and(parts)}." if parts else " Nowhere more than the noise."
    told += f" {sanitise(of.verdict)}" if of.verdict else ""
    return " ".join([told, *(f"Caution: {c.sentence(sanitise(of.speed_unit))}" for c in of.cautions)])


@chart
def setting_sweep(of: SettingSweep, *, name: str = "setting_sweep", size: Size = WIDE) -> Drawing:
    """Result against setting, each level with its pull's mark, the fitted curve and its optimum if named.

    Raises ValueError if no level has both a setting and a result.
    """
    levels = [v for v in of.levels if math.isfinite(v.setting) and math.isfinite(v.result)]
    if not levels:
        raise ValueError(f"{sanitise(of.setting)}: no level with a result")
    xs, ys = floats([v.setting for v in levels]), floats([v.result for v in levels])
    optimum = of.optimum if of.optimum is not None and math.isfinite(of.optimum) else None
    across = padded_limits(finite(xs, [optimum] if optimum is not None else []), below=0.14, above=0.14)
    fitted = of.fit if of.fit is not None and all(math.isfinite(c) for c in of.fit) else None
    inner = padded_limits(finite(xs, [optimum] if optimum is not None else []), below=0.06, above=0.06)
    curve_x = floats(np.linspace(*inner, 81))
    curve_y = floats(np.polyval(fitted, curve_x)) if fitted else np.full(81, np.nan)
    best = float(np.polyval(fitted, optimum)) if fitted and optimum is not None else math.nan
    tall = 190.0 if size.narrow else 220.0
    room = (size.text + 16) / (tall - size.text - 16)
    up = padded_limits(finite(ys, curve_y, [best]), below=0.1, above=room)
    at = ticks(up, tall, 40)
    left = label_width(tick_labels(at), size.small)
    remark = sanitise(of.verdict)
    sheet = Canvas(size.width, 30 + tall + 52 + notes_height(of.cautions, size, remark), size)
    panel = Axes(sheet, (left, 30, size.width - left - 14, tall), across, up)
    panel.title(sanitise(of.result), of.result_unit)
    panel.gridlines(at)
    if fitted:
        panel.curve(curve_x, curve_y, QUIET, linewidth=1.4, linestyle=(0, (5, 3)), marker="")
    if optimum is not None:
        x = panel.x(optimum)
        top = panel.y(best) if math.isfinite(best) else panel.top + 20
        sheet.line([x, x], [top, panel.bottom], ACCENT, linewidth=1.3, linestyle=(0, (2, 2)), zorder=0.7)
        if math.isfinite(best):
            panel.points(optimum, best, ACCENT, "o", 10.0, face="none", markeredgewidth=1.6)
    for v in levels:
        panel.points(v.setting, v.result, SECOND, series_style(v.position).marker, 8.0)
    _level_labels(panel, of, levels, (curve_x, curve_y), optimum, best)
    panel.x_axis(ticks(across, panel.width, 56))
    words = f"{sanitise(of.setting)}, {sanitise(of.setting_unit)}" if of.setting_unit else sanitise(of.setting)
    sheet.text(panel.right, panel.bottom + 38, truncate(words, panel.width, size.text), anchor="right", colour=QUIET)
    notes(sheet, of.cautions, panel.bottom + 46, remark)
    return sheet.to_drawing(
        name,
        f"{sanitise(of.result)} against {sanitise(of.setting).lower()}",
        _sweep_description(of, levels, optimum, best),
    )


def _level_labels(
    panel: Axes,
    of: SettingSweep,
    levels: list[Level],
    fitted: tuple[_Array, _Array],
    optimum: float | None,
    best: float,
) -> None:
    """Each level's result above its point where there is room, the optimum's setting over its ring."""
    sheet, size = panel.sheet, panel.sheet.size
    taken: list[_Box] = [
        (panel.x(v.setting) - 5, panel.y(v.result) - 5, panel.x(v.setting) + 5, panel.y(v.result) + 5) for v in levels
    ]
    # The fitted curve and the line down from its top are in the way, too.
    taken += [
        (panel.x(x) - 2, panel.y(y) - 2, panel.x(x) + 2, panel.y(y) + 2)
        for x, y in zip(*fitted, strict=True)
        if math.isfinite(y)
    ]
    if optimum is not None:
        top = panel.y(best) if math.isfinite(best) else panel.top
        taken.append((panel.x(optimum) - 6, top - 6, panel.x(optimum) + 6, top + 6))
        taken.append((panel.x(optimum) - 2, top, panel.x(optimum) + 2, panel.bottom))
    wanted: list[tuple[float, float, str, str, bool]] = []
    if optimum is not None and math.isfinite(best):
        wanted.append((panel.x(optimum), panel.y(best), f"best {_best(of, optimum)}", ACCENT, True))
    for v in levels:
        text = f"{sanitise(v.label)}: {number(v.result)}" if v.label else number(v.result)
        wanted.append((panel.x(v.setting), panel.y(v.result), text, INK, False))
    for x, y, text, colour, bold in wanted:
        # The bare number where the whole label finds no room.
        for words in (truncate(text, panel.width * 0.45, size.small, bold), text.rsplit(": ", 1)[-1]):
            place = _free(panel, x, y, width(words, size.small, bold) / 2, taken)
            if place is not None:
                sheet.text(*place, words, anchor="center", colour=colour, size=size.small, bold=bold)
                break


def _free(panel: Axes, x: float, y: float, half: float, taken: list[_Box]) -> tuple[float, float] | None:
    """Middle and baseline for a label near a point, clear of what is taken; the place is then taken, too."""
    small = panel.sheet.size.small
    level, under = small * 0.36, small + 8
    places = [(0.0, -12.0), (-half - 10, level), (half + 10, level), (0.0, under + 1)]
    places += [(-half - 8, -9.0), (half + 8, under), (half + 8, -9.0), (-half - 8, under)]
    for along, down in (*places, (0.0, -28.0), (0.0, small + 25), (-half - 26, -20.0), (half + 26, -20.0)):
        centre = min(max(x + along, panel.left + half), panel.right - half)
        box = (centre - half, y + down - small * 0.8, centre + half, y + down + small * 0.25)
        inside = box[1] > panel.top - 2 and box[3] < panel.bottom - 1
        if inside and not any(_meet(box, other) for other in taken):
            taken.append(box)
            return centre, y + down
    return None


def _meet(a: _Box, b: _Box) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


def _best(of: SettingSweep, optimum: float) -> str:
    return sanitise(of.optimum_text) or with_unit(number(optimum), of.setting_unit)


def _sweep_description(of: SettingSweep, levels: list[Level], optimum: float | None, best: float) -> str:
    parts = [
        f"{with_unit(exact(v.setting), of.setting_unit)} gave {with_unit(number(v.result), of.result_unit)}"
        + (f" ({sanitise(v.label)})" if v.label else "")
        for v in levels
    ]
    told = f"{sanitise(of.result)} at {len(levels)} {'level' if len(levels) == 1 else 'levels'} of "
    told += f"{sanitise(of.setting).lower()}: {join_and(parts)}."
    if optimum is not None:
        told += f" The fitted curve is highest at {_best(of, optimum)}"
        told += f", {with_unit(number(best), of.result_unit)}." if math.isfinite(best) else "."
    told += f" {sanitise(of.verdict)}" if of.verdict else ""
    return " ".join([told, *(f"Caution: {c.sentence(sanitise(of.setting_unit))}" for c in of.cautions)])
