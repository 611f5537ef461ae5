"""Measured positions against what is allowed, and bores measured at depths and axes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from builder.draw.axes import Axes, Floats, avoid_overlap, finite, floats, padded_limits
from builder.draw.canvas import Canvas
from builder.draw.chart_cache import chart
from builder.draw.drawing import Drawing
from builder.draw.labels import number, sanitise, truncate, width, with_unit, wrap
from builder.draw.legend import LegendEntry, draw_legend, legend_height
from builder.draw.style import (
    ACCENT,
    BAND,
    CAUTION,
    INK,
    QUIET,
    RULE,
    SECOND,
    WIDE,
    Mark,
    Size,
    line_colour,
    series_style,
)
from builder.record.wording import join_and


@dataclass(frozen=True)
class Position:
    """One cylinder, journal or valve and what was measured there (NaN if it was not)."""

    label: str
    value: float


@dataclass(frozen=True)
class Positions:
    """Readings at every position, in the order of the record; either limit may be missing.

    ``outlier`` is the index of the position that stands out. ``source`` is where the limits are from.
    """

    label: str
    unit: str
    values: tuple[Position, ...]
    low: float | None = None
    high: float | None = None
    outlier: int | None = None
    source: str = ""
    decimals: int | None = None


@dataclass(frozen=True, eq=False)
class BoreReadings:
    """One bore: ``readings`` has a row for each depth (top first) and a column for each axis."""

    label: str
    readings: npt.ArrayLike


@dataclass(frozen=True)
class BoreMap:
    """Bores measured at the same depths and axes."""

    unit: str
    depths: tuple[str, ...]
    axes: tuple[str, ...]
    bores: tuple[BoreReadings, ...]
    decimals: int = 4


@dataclass(frozen=True)
class _Range:
    """What is allowed; either end may be missing."""

    low: float | None
    high: float | None

    @classmethod
    def of_limits(cls, low: float | None, high: float | None) -> _Range:
        """Return the range, without ends that are no numbers."""
        return cls(*(v if v is not None and math.isfinite(v) else None for v in (low, high)))

    @property
    def ends(self) -> list[float]:
        """The ends there are, the lower first."""
        return [v for v in (self.low, self.high) if v is not None]

    def excludes(self, value: float) -> bool:
        """Return whether a value is out of range; one on a limit is within."""
        return (self.low is not None and value < self.low) or (self.high is not None and value > self.high)


@chart
def positions(data: Positions, *, name: str = "positions", size: Size = WIDE) -> Drawing:
    """Draw a flat strip: a point for each position, the allowed band behind, the outlier ringed.

    Raises ValueError if no position has a value, or ``outlier`` is none of them.
    """
    label = sanitise(data.label)
    values = floats([position.value for position in data.values])
    if not np.isfinite(values).any():
        raise ValueError(f"{label}: no position has a value")
    if data.outlier is not None and not 0 <= data.outlier < values.size:
        raise ValueError(f"{label}: position {data.outlier} is not among {values.size}")
    allowed = _Range.of_limits(data.low, data.high)
    texts = [number(float(v), data.decimals) for v in values]
    end_texts = {v: number(v, data.decimals) for v in allowed.ends}
    right = max((width(t, size.small) for t in end_texts.values()), default=0.0) + 14
    room = (size.width - 6 - right) / values.size
    widest = max(width(t, size.small) for t in texts) + 4
    two_rows = room < widest <= 2 * room  # there is room for every number in two rows by turns
    height = 74.0
    y_limits = padded_limits(finite(values, allowed.ends), below=0.16, above=0.16 if two_rows else 0.36)
    canvas = Canvas(size.width, 28 + height + 26 + (2 * (size.small + 3) if two_rows else 0), size)
    axes = Axes(canvas, (6, 28, size.width - 6 - right, height), (-0.6, values.size - 0.4), y_limits)
    axes.title(label, ", ".join(t for t in (sanitise(data.unit), sanitise(data.source)) if t))
    _draw_allowed(axes, allowed, end_texts)
    step = max(1, math.ceil((max(width(sanitise(p.label), size.small) for p in data.values) + 4) / room))
    named = set(range(values.size))
    if widest > room:
        named = _worth_naming(values, allowed, data.outlier, texts, room, size)
    for i, (position, value, text) in enumerate(zip(data.values, values.tolist(), texts, strict=True)):
        x, is_outlier = axes.x(i), i == data.outlier
        if i % step == 0:
            position_label = truncate(position.label, room * step - 2, size.small)
            y = axes.bottom + 6 + size.small
            canvas.text(x, y, position_label, anchor="center", colour=QUIET, size=size.small)
        if not math.isfinite(value):
            continue
        excluded = allowed.excludes(value)
        colour, text_colour = (CAUTION, CAUTION) if excluded else (SECOND, INK)
        axes.points(i, value, colour, "D" if excluded else "o", 6.5, face="none" if excluded else colour)
        if is_outlier:
            axes.points(i, value, ACCENT, "o", 13.0, face="none", markeredgewidth=1.6)
        if two_rows:
            baseline = axes.bottom + 9 + 2 * size.small + (i % 2) * (size.small + 3)
            canvas.text(x, baseline, text, anchor="center", colour=text_colour, size=size.small, bold=is_outlier)
        elif i in named:
            _write_value(axes, values, i, text, text_colour, allowed, bold=is_outlier)
    return canvas.to_drawing(name, f"{label} at each position", _positions_description(data, values, texts, allowed))


def _write_value(
    axes: Axes, values: Floats, index: int, text: str, colour: str, allowed: _Range, *, bold: bool
) -> None:
    """Write a number over its point, or under it where something is in the way; else only the outlier's (bold)."""
    canvas, small = axes.canvas, axes.canvas.size.small
    x, point = axes.x(index), axes.y(float(values[index]))
    half = width(text, small, bold) / 2
    x = min(max(x, half + 1), canvas.width - half - 1)
    gap = 11 if bold else 8
    lines = [axes.y(v) for v in allowed.ends]
    neighbours = [(axes.x(j), axes.y(v)) for j, v in enumerate(values.tolist()) if j != index and math.isfinite(v)]

    def conflicts(baseline: float) -> int:
        top, bottom = baseline - small * 0.8, baseline + small * 0.1
        covered = sum(abs(px - x) < half + 4 and top - 4 < py < bottom + 4 for px, py in neighbours)
        crossed = sum(top - 1 < line < bottom + 1 for line in lines)
        return 4 * covered + crossed + 99 * (bottom > axes.bottom + 2 or top < axes.top - 8)

    baseline = min((point - gap, point + gap + small * 0.75), key=conflicts)
    if bold or conflicts(baseline) < 4:
        canvas.text(x, baseline, text, anchor="center", colour=colour, size=small, bold=bold)


def _draw_allowed(axes: Axes, allowed: _Range, texts: dict[float, str]) -> None:
    """Draw the allowed range behind the points, its ends named at the right."""
    canvas, small = axes.canvas, axes.canvas.size.small
    if allowed.ends:
        top = axes.y(allowed.high) if allowed.high is not None else axes.top
        bottom = axes.y(allowed.low) if allowed.low is not None else axes.bottom
        canvas.box(axes.left, min(top, bottom), axes.width, abs(bottom - top), BAND, zorder=-1)
    else:
        canvas.line([axes.left, axes.right], [axes.bottom] * 2, RULE, zorder=-1)
    ends = allowed.ends[::-1]
    heights = avoid_overlap([axes.y(v) for v in ends], small + 2, axes.top - 4, axes.bottom + 6)
    for end, y in zip(ends, heights, strict=True):
        axes.level(end, QUIET, linewidth=0.9, zorder=-0.8)
        canvas.text(axes.right + 8, y + small * 0.36, texts[end], colour=QUIET, size=small)


def _worth_naming(
    values: Floats, allowed: _Range, outlier: int | None, texts: list[str], room: float, size: Size
) -> set[int]:
    """Return whose number is written where not all have room: outlier, smallest, largest, those out of range."""
    order = [outlier] if outlier is not None and math.isfinite(values[outlier]) else []
    order += [int(np.nanargmin(values)), int(np.nanargmax(values))]
    order += [i for i, v in enumerate(values.tolist()) if math.isfinite(v) and allowed.excludes(v)]
    named: set[int] = set()
    for i in order:
        own = width(texts[i], size.small, True) + 6
        if all(abs(i - j) * room > (own + width(texts[j], size.small, True)) / 2 for j in named):
            named.add(i)
    return named


def _positions_description(data: Positions, values: Floats, texts: list[str], allowed: _Range) -> str:
    unit = data.unit
    smallest, largest = int(np.nanargmin(values)), int(np.nanargmax(values))
    readings = [f"{sanitise(position.label)} {text}" for position, text in zip(data.values, texts, strict=True)]
    text = (
        f"{sanitise(data.label)} at {values.size} {'position' if values.size == 1 else 'positions'}: "
        f"{join_and(readings)}{f' {sanitise(unit)}' if unit else ''}. "
        f"Min. {texts[smallest]}, max. {with_unit(texts[largest], unit)}."
    )
    low, high = allowed.low, allowed.high
    if low is not None and high is not None:
        text += f" Spec {number(low, data.decimals)} to {with_unit(number(high, data.decimals), unit)}"
    elif low is not None:
        text += f" Spec {with_unit(number(low, data.decimals), unit)} min."
    elif high is not None:
        text += f" Spec {with_unit(number(high, data.decimals), unit)} max."
    if allowed.ends:
        text += f" ({sanitise(data.source)})." if data.source else "."
        excluded = [
            sanitise(position.label)
            for position, value in zip(data.values, values.tolist(), strict=True)
            if allowed.excludes(value)
        ]
        text += f" Out of spec: {join_and(excluded)}." if excluded else " All within spec."
    if data.outlier is not None:
        text += f" {sanitise(data.values[data.outlier].label)} differs from the rest."
    return text


@chart
def bore_map(data: BoreMap, *, name: str = "bore_map", size: Size = WIDE) -> Drawing:
    """Draw every bore's wall as measured, top to bottom, hugely widened: taper leans, out of round parts the lines.

    Raises ValueError if there is nothing measured, or readings do not fit the depths and axes.
    """
    grids = [_grid(data, bore) for bore in data.bores]
    known = finite(*grids)
    if not known.size:
        raise ValueError("no bore was measured")
    limits = padded_limits(known, below=0.12, above=0.12)
    left = min(max(width(truncate(depth, 80, size.small), size.small) for depth in data.depths) + 10, 92)
    columns = max(1, min(len(grids), int((size.width - left) / (84 if size.narrow else 86))))
    rows = math.ceil(len(grids) / columns)
    box_width = min((size.width - left) / columns, 150.0) - 10
    box_height = 26.0 * max(len(data.depths) - 1, 1) + 24
    block = 24 + box_height + 2 * (size.small + 4) + 14
    legend = [LegendEntry(axis, series_style(i), line_colour(i), linewidth=1.8) for i, axis in enumerate(data.axes)]
    notes = [line for note in _bore_notes(data, limits) for line in wrap(note, size.width - 10, size.small)]
    canvas = Canvas(size.width, rows * block + legend_height(legend) + 20 * len(notes), size)
    for n, (bore, grid) in enumerate(zip(data.bores, grids, strict=True)):
        row, column = divmod(n, columns)
        box = (left + column * (box_width + 10) + 5, row * block + 24, box_width, box_height)
        axes = Axes(canvas, box, limits, (len(data.depths) - 0.5, -0.5))
        if column == 0:
            for i, depth in enumerate(data.depths):
                y = axes.y(i) + size.small * 0.36
                depth_label = truncate(depth, 80, size.small)
                canvas.text(left - 6, y, depth_label, anchor="right", colour=QUIET, size=size.small)
        _draw_bore(axes, data, bore, grid)
    y = rows * block + 10
    draw_legend(canvas, legend, y)
    for n, line in enumerate(notes):
        canvas.text(4, y + legend_height(legend) + 20 * n, line, colour=QUIET, size=size.small)
    return canvas.to_drawing(name, "Bores as measured", _bores_description(data, grids))


def _grid(data: BoreMap, bore: BoreReadings) -> Floats:
    """Return a bore's readings. Raises ValueError where they do not fit the depths and axes."""
    grid = np.array(bore.readings, dtype=np.float64)
    if grid.shape != (len(data.depths), len(data.axes)):
        raise ValueError(
            f"{sanitise(bore.label)}: readings are {' by '.join(map(str, grid.shape))}, "
            f"depths and axes {len(data.depths)} by {len(data.axes)}"
        )
    return np.where(np.isfinite(grid), grid, np.nan)


def _taper_and_out_of_round(grid: Floats) -> tuple[float, float]:
    """Return the largest difference down any one axis, and across the axes at any one depth (NaN if not known)."""
    with np.errstate(all="ignore"):
        down = [np.ptp(c[np.isfinite(c)]) for c in grid.T if np.isfinite(c).sum() > 1]
        across = [np.ptp(r[np.isfinite(r)]) for r in grid if np.isfinite(r).sum() > 1]
    return float(max(down, default=math.nan)), float(max(across, default=math.nan))


def _draw_bore(axes: Axes, data: BoreMap, bore: BoreReadings, grid: Floats) -> None:
    """Draw one bore in its box, with its name over it and its taper and out of round below."""
    canvas, small = axes.canvas, axes.canvas.size.small
    canvas.box(axes.left, axes.top, axes.width, axes.height, edgecolor=RULE, linewidth=0.8, zorder=-1)
    depths = np.arange(len(data.depths), dtype=np.float64)
    for i in range(len(data.axes)):
        values, mark = grid[:, i], series_style(i)
        axes.curve(values, depths, line_colour(i), Mark("", mark.dashes), linewidth=1.8)
        known = np.isfinite(values)
        if known.any():
            axes.points(values[known], depths[known], line_colour(i), mark.marker, 5.5)
    middle = (axes.left + axes.right) / 2
    label = truncate(bore.label, axes.width, small, True)
    canvas.text(middle, axes.top - 8, label, anchor="center", size=small, bold=True)
    y = axes.bottom + small + 4
    for name, value in zip(("taper", "round"), _taper_and_out_of_round(grid), strict=True):
        if math.isfinite(value):
            text = truncate(f"{name} {number(value, data.decimals)}", axes.width + 8, small)
            canvas.text(middle, y, text, anchor="center", colour=QUIET, size=small)
            y += small + 4


def _bore_notes(data: BoreMap, limits: tuple[float, float]) -> list[str]:
    scale = f"Every box is {number(limits[1] - limits[0], data.decimals)} {sanitise(data.unit)} wide"
    return [scale, f"taper: most down one axis; round: most across at one depth, {sanitise(data.unit)}"]


def _bores_description(data: BoreMap, grids: Sequence[Floats]) -> str:
    parts = []
    for bore, grid in zip(data.bores, grids, strict=True):
        known = finite(grid)
        if not known.size:
            parts.append(f"{sanitise(bore.label)} not measured.")
            continue
        taper, out_of_round = _taper_and_out_of_round(grid)
        minimum, maximum = (number(float(v), data.decimals) for v in (known.min(), known.max()))
        text = f"{sanitise(bore.label)}: {minimum} to {maximum}"
        text += f", taper {number(taper, data.decimals)}" if math.isfinite(taper) else ""
        text += f", out of round {number(out_of_round, data.decimals)}" if math.isfinite(out_of_round) else ""
        parts.append(f"{text}.")
    start = (
        f"Bores in {sanitise(data.unit)}. Depths: {', '.join(sanitise(depth) for depth in data.depths)}. "
        f"Axes: {', '.join(sanitise(axis) for axis in data.axes)}. "
    )
    return start + " ".join(parts)
