"""Measured positions against what is allowed, and bores measured at depths and axes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from builder.draw.axes import Axes, Floats, avoid_overlap, finite, floats, legend_sample, padded_limits
from builder.draw.canvas import Canvas
from builder.draw.chart_cache import chart
from builder.draw.drawing import Drawing
from builder.draw.labels import join_and, number, sanitise, truncate, width, with_unit, wrap
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


@dataclass(frozen=True)
class Position:
    """One cylinder, journal or valve and what was measured there (NaN if it was not)."""

    label: str
    value: float


@dataclass(frozen=True)
class Positions:
    """Readings at every position, in the order of the record; either limit may be missing.

    ``odd`` is the index of the position that stands out. ``source`` says whose limits they are.
    """

    label: str
    unit: str
    values: tuple[Position, ...]
    low: float | None = None
    high: float | None = None
    odd: int | None = None
    source: str = ""
    decimals: int | None = None


@dataclass(frozen=True, eq=False)
class BoreReadings:
    """One bore: ``readings`` has a row for each depth (top first) and a column for each axis."""

    label: str
    readings: npt.ArrayLike


@dataclass(frozen=True)
class BoreMap:
    """Bores measured at the same depths and axes; either limit may be missing."""

    unit: str
    depths: tuple[str, ...]
    axes: tuple[str, ...]
    bores: tuple[BoreReadings, ...]
    low: float | None = None
    high: float | None = None
    decimals: int = 4


def _known(limit: float | None) -> float | None:
    return limit if limit is not None and math.isfinite(limit) else None


@chart
def positions(of: Positions, *, name: str = "positions", size: Size = WIDE) -> Drawing:
    """A flat strip: a point for each position, the allowed band behind, the odd one ringed.

    Raises ValueError if no position has a value, or ``odd`` is none of them.
    """
    values = floats([p.value for p in of.values])
    if not np.isfinite(values).any():
        raise ValueError(f"{sanitise(of.label)}: no position has a value")
    if of.odd is not None and not 0 <= of.odd < values.size:
        raise ValueError(f"{sanitise(of.label)}: position {of.odd} is not among {values.size}")
    low, high = _known(of.low), _known(of.high)
    edges = [v for v in (low, high) if v is not None]
    texts = [number(float(v), of.decimals) for v in values]
    edge_texts = {v: number(v, of.decimals) for v in edges}
    right = max((width(t, size.small) for t in edge_texts.values()), default=0.0) + 14
    room = (size.width - 6 - right) / values.size
    widest = max(width(t, size.small) for t in texts) + 4
    turns = room < widest <= 2 * room  # there is room for every number if they stand in two rows by turns
    tall = 74.0
    up = padded_limits(finite(values, edges), below=0.16, above=0.16 if turns else 0.36)
    sheet = Canvas(size.width, 28 + tall + 26 + (2 * (size.small + 3) if turns else 0), size)
    panel = Axes(sheet, (6, 28, size.width - 6 - right, tall), (-0.6, values.size - 0.4), up)
    unit = ", ".join(t for t in (sanitise(of.unit), sanitise(of.source)) if t)
    panel.title(sanitise(of.label), unit)
    _band(panel, low, high, edge_texts)

    step = max(1, math.ceil((max(width(sanitise(p.label), size.small) for p in of.values) + 4) / room))
    every = widest <= room
    shown = _worth_naming(values, low, high, of.odd, texts, room, size) if not every else set(range(values.size))
    for i, (p, value, text) in enumerate(zip(of.values, values, texts, strict=True)):
        x = panel.x(i)
        if i % step == 0:
            label = truncate(p.label, room * step - 2, size.small)
            sheet.text(x, panel.bottom + 6 + size.small, label, anchor="center", colour=QUIET, size=size.small)
        if not math.isfinite(value):
            continue
        out = _out(float(value), low, high)
        colour = CAUTION if out else SECOND
        panel.points(i, value, colour, "D" if out else "o", 6.5, face="none" if out else colour)
        if i == of.odd:
            panel.points(i, value, ACCENT, "o", 13.0, face="none", markeredgewidth=1.6)
        ink = CAUTION if out else INK
        if turns:
            base = panel.bottom + 9 + 2 * size.small + (i % 2) * (size.small + 3)
            sheet.text(x, base, text, anchor="center", colour=ink, size=size.small, bold=i == of.odd)
        elif i in shown:
            _value(panel, i, values, text, i == of.odd, ink, edges)
    return sheet.to_drawing(
        name, f"{sanitise(of.label)} at each position", _positions_description(of, values, texts, low, high)
    )


def _value(panel: Axes, i: int, values: Floats, text: str, odd: bool, colour: str, edges: Sequence[float]) -> None:
    """A position's number above its point, or below it where something is in the way; else only the odd one's."""
    sheet, size = panel.sheet, panel.sheet.size
    x, point = panel.x(i), panel.y(float(values[i]))
    half = width(text, size.small, odd) / 2
    x = min(max(x, half + 1), sheet.width - half - 1)
    gap = 11 if odd else 8
    lines = [panel.y(v) for v in edges]
    others = [(panel.x(j), panel.y(float(v))) for j, v in enumerate(values) if j != i and math.isfinite(v)]

    def trouble(base: float) -> int:
        top, bottom = base - size.small * 0.8, base + size.small * 0.1
        covered = sum(abs(px - x) < half + 4 and top - 4 < py < bottom + 4 for px, py in others)
        crossed = sum(top - 1 < line < bottom + 1 for line in lines)
        return 4 * covered + crossed + 99 * (bottom > panel.bottom + 2 or top < panel.top - 8)

    base = min((point - gap, point + gap + size.small * 0.75), key=trouble)
    if odd or trouble(base) < 4:
        sheet.text(x, base, text, anchor="center", colour=colour, size=size.small, bold=odd)


def _out(value: float, low: float | None, high: float | None) -> bool:
    return (low is not None and value < low) or (high is not None and value > high)


def _band(panel: Axes, low: float | None, high: float | None, texts: dict[float, str]) -> None:
    sheet, size = panel.sheet, panel.sheet.size
    top = panel.y(high) if high is not None else panel.top
    bottom = panel.y(low) if low is not None else panel.bottom
    if low is not None or high is not None:
        sheet.box(panel.left, min(top, bottom), panel.width, abs(bottom - top), BAND, zorder=-1)
    else:
        sheet.line([panel.left, panel.right], [panel.bottom] * 2, RULE, zorder=-1)
    known = [v for v in (high, low) if v is not None]
    placed = avoid_overlap([panel.y(v) for v in known], size.small + 2, panel.top - 4, panel.bottom + 6)
    for v, y in zip(known, placed, strict=True):
        sheet.line([panel.left, panel.right], [panel.y(v)] * 2, QUIET, linewidth=0.9, zorder=-0.8)
        sheet.text(panel.right + 8, y + size.small * 0.36, texts[v], colour=QUIET, size=size.small)


def _worth_naming(
    values: Floats, low: float | None, high: float | None, odd: int | None, texts: list[str], room: float, size: Size
) -> set[int]:
    """Where there is no room for every number: the odd one, the least, the most, those out of range."""
    order = [odd] if odd is not None and math.isfinite(values[odd]) else []
    order += [int(np.nanargmin(values)), int(np.nanargmax(values))]
    order += [i for i, v in enumerate(values) if math.isfinite(v) and _out(float(v), low, high)]
    shown: set[int] = set()
    for i in order:
        wide = width(texts[i], size.small, True) + 6
        if all(abs(i - j) * room > (wide + width(texts[j], size.small, True)) / 2 for j in shown):
            shown.add(i)
    return shown


def _positions_description(
    of: Positions, values: Floats, texts: list[str], low: float | None, high: float | None
) -> str:
    unit = of.unit
    least, most = int(np.nanargmin(values)), int(np.nanargmax(values))
    told = f"{sanitise(of.label)} at {values.size} {'position' if values.size == 1 else 'positions'}: "
    told += f"{join_and([f'{sanitise(p.label)} {t}' for p, t in zip(of.values, texts, strict=True)])}"
    told += f"{f' {sanitise(unit)}' if unit else ''}. Least {texts[least]}, most {with_unit(texts[most], unit)}."
    if low is not None and high is not None:
        told += f" Allowed {number(low, of.decimals)} to {with_unit(number(high, of.decimals), unit)}"
    elif low is not None:
        told += f" Allowed {with_unit(number(low, of.decimals), unit)} or more"
    elif high is not None:
        told += f" Allowed {with_unit(number(high, of.decimals), unit)} or less"
    if low is not None or high is not None:
        told += f" ({sanitise(of.source)})." if of.source else "."
        out = [sanitise(p.label) for p, v in zip(of.values, values, strict=True) if _out(float(v), low, high)]
        told += f" Out of range: {join_and(out)}." if out else " None is out of range."
    if of.odd is not None:
        told += f" {sanitise(of.values[of.odd].label)} is the odd one out."
    return told


@chart
def bore_map(of: BoreMap, *, name: str = "bore_map", size: Size = WIDE) -> Drawing:
    """Every bore's wall as measured, top to bottom, hugely widened: taper leans, out of round parts the lines.

    Raises ValueError if there is nothing measured, or readings do not fit the depths and axes.
    """
    grids = []
    for bore in of.bores:
        grid = np.array(bore.readings, dtype=np.float64)
        if grid.shape != (len(of.depths), len(of.axes)):
            raise ValueError(
                f"{sanitise(bore.label)}: readings are {' by '.join(map(str, grid.shape))}, "
                f"depths and axes {len(of.depths)} by {len(of.axes)}"
            )
        grids.append(np.where(np.isfinite(grid), grid, np.nan))
    known = finite(*grids)
    if not known.size:
        raise ValueError("no bore was measured")
    low, high = _known(of.low), _known(of.high)
    span = padded_limits(finite(known, [v for v in (low, high) if v is not None]), below=0.12, above=0.12)
    side = min(max(width(truncate(d, 80, size.small), size.small) for d in of.depths) + 10, 92)
    columns = max(1, min(len(grids), int((size.width - side) / (84 if size.narrow else 86))))
    rows = math.ceil(len(grids) / columns)
    cell, tall = min((size.width - side) / columns, 150.0), 26.0 * max(len(of.depths) - 1, 1) + 24
    block = 24 + tall + 2 * (size.small + 4) + 14
    key = [line for said in _bore_key(of, low, high, span) for line in wrap(said, size.width - 10, size.small)]
    sheet = Canvas(size.width, rows * block + 20 * (len(of.axes) + len(key)), size)
    for n, (bore, grid) in enumerate(zip(of.bores, grids, strict=True)):
        row, column = divmod(n, columns)
        top = row * block + 24
        panel = Axes(sheet, (side + column * cell + 5, top, cell - 10, tall), span, (len(of.depths) - 0.5, -0.5))
        if column == 0:
            for i, depth in enumerate(of.depths):
                y = panel.y(i) + size.small * 0.36
                sheet.text(side - 6, y, truncate(depth, 80, size.small), anchor="right", colour=QUIET, size=size.small)
        _bore(panel, of, bore, grid, low, high)
    y = rows * block + 10
    for i, axis in enumerate(of.axes):
        legend_sample(sheet, 4, 36, y - size.small * 0.36, line_colour(i), series_style(i), 1.8)
        sheet.text(46, y, truncate(axis, size.width - 52, size.small), size=size.small)
        y += 20
    for line in key:
        sheet.text(4, y, line, colour=QUIET, size=size.small)
        y += 20
    return sheet.to_drawing(name, "Bores as measured", _bores_description(of, grids, low, high))


def _taper_and_round(grid: Floats) -> tuple[float, float]:
    """Largest difference down any one axis, and across the axes at any one depth (NaN if not known)."""
    with np.errstate(all="ignore"):
        down = [np.ptp(c[np.isfinite(c)]) for c in grid.T if np.isfinite(c).sum() > 1]
        across = [np.ptp(r[np.isfinite(r)]) for r in grid if np.isfinite(r).sum() > 1]
    return float(max(down, default=math.nan)), float(max(across, default=math.nan))


def _bore(panel: Axes, of: BoreMap, bore: BoreReadings, grid: Floats, low: float | None, high: float | None) -> None:
    sheet, size = panel.sheet, panel.sheet.size
    left = panel.x(low) if low is not None else panel.left
    right = panel.x(high) if high is not None else panel.right
    sheet.box(panel.left, panel.top, panel.width, panel.height, "none", edgecolor=RULE, linewidth=0.8, zorder=-1)
    if low is not None or high is not None:
        sheet.box(min(left, right), panel.top, abs(right - left), panel.height, BAND, zorder=-0.9)
        xs = [panel.x(v) for v in (low, high) if v is not None]
        for x in xs:
            sheet.line([x, x], [panel.top, panel.bottom], QUIET, linewidth=0.8, zorder=-0.8)
    depth = np.arange(len(of.depths), dtype=np.float64)
    for i in range(len(of.axes)):
        values = grid[:, i]
        panel.curve(values, depth, line_colour(i), Mark("", series_style(i).dashes), linewidth=1.8)
        out = np.array([_out(float(v), low, high) for v in values])
        for some, colour in ((~out, line_colour(i)), (out, CAUTION)):
            some &= np.isfinite(values)
            if some.any():
                panel.points(values[some], depth[some], colour, series_style(i).marker, 5.5)
    middle = (panel.left + panel.right) / 2
    sheet.text(
        middle,
        panel.top - 8,
        truncate(bore.label, panel.width, size.small, True),
        anchor="center",
        size=size.small,
        bold=True,
    )
    taper, out_of_round = _taper_and_round(grid)
    y = panel.bottom + size.small + 4
    for word, value in (("taper", taper), ("round", out_of_round)):
        if math.isfinite(value):
            text = truncate(f"{word} {number(value, of.decimals)}", panel.width + 8, size.small)
            sheet.text(middle, y, text, anchor="center", colour=QUIET, size=size.small)
            y += size.small + 4


def _bore_key(of: BoreMap, low: float | None, high: float | None, span: tuple[float, float]) -> list[str]:
    said = f"Every box is {number(span[1] - span[0], of.decimals)} {sanitise(of.unit)} wide"
    if low is not None and high is not None:
        said += f"; the band is {number(low, of.decimals)} to {number(high, of.decimals)}"
    return [said, f"taper: most down one axis; round: most across at one depth, {sanitise(of.unit)}"]


def _bores_description(of: BoreMap, grids: Sequence[Floats], low: float | None, high: float | None) -> str:
    parts = []
    for bore, grid in zip(of.bores, grids, strict=True):
        known = finite(grid)
        if not known.size:
            parts.append(f"{sanitise(bore.label)} not measured.")
            continue
        taper, out_of_round = _taper_and_round(grid)
        least, most = (number(float(v), of.decimals) for v in (known.min(), known.max()))
        text = f"{sanitise(bore.label)}: {least} to {most}"
        text += f", taper {number(taper, of.decimals)}" if math.isfinite(taper) else ""
        text += f", out of round {number(out_of_round, of.decimals)}" if math.isfinite(out_of_round) else ""
        parts.append(f"{text}.")
    start = f"Bores in {sanitise(of.unit)}. Depths: {', '.join(sanitise(d) for d in of.depths)}. "
    start += f"Axes: {', '.join(sanitise(a) for a in of.axes)}. "
    limits_told = ""
    if low is not None and high is not None:
        limits_told = f" Allowed {number(low, of.decimals)} to {number(high, of.decimals)}."
    return start + " ".join(parts) + limits_told
