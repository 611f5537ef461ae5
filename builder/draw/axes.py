"""Axes without boxes: quiet lines across with round numbers, and curves and markers over them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import Any

import numpy as np
import numpy.typing as npt

from builder.draw.canvas import Canvas
from builder.draw.drawing import Link, PlotArea
from builder.draw.labels import number, truncate, width
from builder.draw.style import INK, QUIET, RULE, Mark

Floats = npt.NDArray[np.float64]
Limits = tuple[float, float]
Box = tuple[float, float, float, float]  # left, top, right, bottom [px]


def floats(values: npt.ArrayLike) -> Floats:
    """Return a flat array in which what is not a finite number is a gap (NaN)."""
    array = np.array(values, dtype=np.float64).ravel()
    # Beyond this the arithmetic of an axis's scale overflows; nothing in a shop is so large.
    array[~np.isfinite(array) | (np.abs(array) > 1e200)] = np.nan
    return array


def paired(x: npt.ArrayLike, y: npt.ArrayLike, name: str) -> tuple[Floats, Floats]:
    """Return two arrays of one length. Raises ValueError naming them if they are not."""
    xs, ys = floats(x), floats(y)
    if xs.size != ys.size:
        raise ValueError(f"{name}: {xs.size} values along and {ys.size} up do not pair")
    return xs, ys


def finite(*arrays: npt.ArrayLike) -> Floats:
    """Return all the finite values in these arrays."""
    values: Floats = np.concatenate([floats(array) for array in arrays]) if arrays else np.empty(0)
    return values[np.isfinite(values)]


def padded_limits(values: Floats, *, below: float = 0.06, above: float = 0.06, start: float | None = None) -> Limits:
    """Return the limits of an axis around the values, with room below and above as parts of their range.

    Identical values get an axis of about a tenth of their size. With a ``start`` the axis reaches down to it, and
    starts there unless values are below it (0 for a quantity that is read from nought).
    """
    low, high = (float(values.min()), float(values.max())) if values.size else (0.0, 1.0)
    if start is not None:
        low = min(low, start)
    span = high - low
    if span <= 1e-9 * max(abs(low), abs(high)):
        span = 0.1 * abs(high) or 1.0
        low, high = low - span / 2, high + span / 2
    return start if start is not None and low >= start else low - below * span, high + above * span


def ticks(limits: Limits, room: float, spacing: float) -> list[float]:
    """Return round numbers within the limits, at least ``spacing`` of the ``room`` [px] from each other.

    One number alone says nothing about the scale: rather two that are closer.
    """
    from matplotlib.ticker import MaxNLocator

    low, high = limits
    locator = MaxNLocator(max(1, int(room / spacing)), steps=[1, 2, 2.5, 5, 10], min_n_ticks=2)
    margin = 1e-9 * (high - low)
    return [float(value) for value in locator.tick_values(low, high) if low - margin <= value <= high + margin]


def tick_labels(values: Sequence[float]) -> list[str]:
    """Return the numbers of an axis, all with the decimals that their step needs."""
    if not values:
        return []
    largest = max(abs(v) for v in values)
    step = min((abs(b - a) for a, b in pairwise(values)), default=largest) or largest or 1.0
    if largest >= 1e7 or 0 < largest < 1e-4:
        return [number(v, 0) if v == 0 else number(v) for v in values]
    decimals = next((d for d in range(8) if abs(step * 10**d - round(step * 10**d)) < 1e-6 * step * 10**d), 8)
    return [number(v, decimals) for v in values]


def zero_note(axes: Sequence[tuple[str, Limits]]) -> str:
    """Return which of these axes, each with its name and limits, leave out zero; nothing where none does."""
    names = [name for name, (low, high) in axes if low > 0 or high < 0]
    if len(names) == len(axes) > 0:
        return "Axes do not start at 0"
    return f"Not from 0: {', '.join(names)}" if names else ""


class Axes:
    """One pair of axes on a canvas; ``box`` is left, top, width and height [px]."""

    def __init__(
        self, canvas: Canvas, box: tuple[float, float, float, float], x_limits: Limits, y_limits: Limits
    ) -> None:
        """Set axes over this box with these limits."""
        self.canvas, self.x_limits, self.y_limits = canvas, x_limits, y_limits
        self.left, self.top, self.width, self.height = box
        self.right, self.bottom = self.left + self.width, self.top + self.height

    @property
    def area(self) -> PlotArea:
        """Return where the axes are and the values at their edges, to a thousandth of a pixel or better."""
        left, top, width, height = (round(v, 1) for v in (self.left, self.top, self.width, self.height))
        x_low, x_high, y_low, y_high = (float(f"{v:.7g}") for v in (*self.x_limits, *self.y_limits))
        return PlotArea(left, top, width, height, x_low, x_high, y_low, y_high, round(self.bottom, 1))

    def x(self, value: float) -> float:
        """Return the pixel of a value along."""
        low, high = self.x_limits
        return self.left + (value - low) / (high - low) * self.width

    def y(self, value: float) -> float:
        """Return the pixel of a value up."""
        low, high = self.y_limits
        return self.bottom - (value - low) / (high - low) * self.height

    def pixels(self, x: npt.ArrayLike, y: npt.ArrayLike) -> tuple[Floats, Floats]:
        """Return the pixels of points."""
        xs, ys = np.atleast_1d(floats(x)), np.atleast_1d(floats(y))
        low, high = self.x_limits
        pixels_x = self.left + (xs - low) / (high - low) * self.width
        low, high = self.y_limits
        return pixels_x, self.bottom - (ys - low) / (high - low) * self.height

    def title(self, name: str, unit: str = "", colour: str = INK, lift: float = 11.0, room: float = math.inf) -> float:
        """Write what is shown and its unit above the left end; return the room it took [px]."""
        size = self.canvas.size.text
        room = min(room, self.canvas.width - self.left - 4)
        unit = truncate(unit, room / 2, size) if unit else ""
        name = truncate(name, room - width(unit, size) - 10, size, True)
        self.canvas.text(self.left, self.top - lift, name, colour=colour, bold=True, suffix=unit)
        return width(name, size, True) + (9 + width(unit, size) if unit else 0)

    def gridlines(self, values: Sequence[float], labels: Sequence[str] | None = None) -> None:
        """Draw quiet lines across at these values, their numbers to the left."""
        size = self.canvas.size.small
        xs: list[float] = []
        ys: list[float] = []
        for value, label in zip(values, labels if labels is not None else tick_labels(values), strict=True):
            y = self.y(value)
            xs += [self.left, self.right, math.nan]
            ys += [y, y, math.nan]
            self.canvas.text(self.left - 8, y + size * 0.36, label, anchor="right", colour=QUIET, size=size)
        if xs:
            self.canvas.line(xs, ys, RULE, zorder=0)

    def x_axis(self, values: Sequence[float], labels: Sequence[str] | None = None, drop: float = 0.0) -> None:
        """Draw ticks and numbers below the box, or ``drop`` further pixels below it."""
        size = self.canvas.size.small
        y = self.bottom + drop
        xs, ys = [self.left, self.right], [y, y]
        free_from = -math.inf  # from there on is room for a number
        for value, label in zip(values, labels if labels is not None else tick_labels(values), strict=True):
            x = self.x(value)
            half = width(label, size) / 2
            if x - half < free_from or x + half > self.canvas.width:
                continue
            free_from = x + half + 6
            xs += [math.nan, x, x]
            ys += [math.nan, y, y + 4]
            self.canvas.text(x, y + 6 + size, label, anchor="center", colour=QUIET, size=size)
        self.canvas.line(xs, ys, QUIET, zorder=1)

    def x_title(self, text: str, drop: float = 38.0, note: str = "") -> None:
        """Write what the horizontal axis shows below its numbers, ending at the right, and a note at the left."""
        size = self.canvas.size
        room = self.right - 4 - (width(note, size.small) + 14 if note else self.left - 4)
        text = truncate(text, room, size.text)
        self.canvas.text(self.right, self.bottom + drop, text, anchor="right", colour=QUIET)
        self.canvas.text(4, self.bottom + drop, note, colour=QUIET, size=size.small)

    def level(self, value: float, colour: str, **style: Any) -> None:
        """Draw a line across at this value."""
        y = self.y(value)
        self.canvas.line([self.left, self.right], [y, y], colour, **style)

    def curve(
        self,
        x: Floats,
        y: Floats,
        colour: str,
        mark: Mark | None = None,
        *,
        markers: int = 5,
        markersize: float = 5.5,
        shift: int = 0,
        keep_clear: float | None = None,
        **style: Any,
    ) -> None:
        """Draw a curve; NaN breaks it. With a mark it has its dashes and so many of its markers along the way.

        ``shift`` moves the markers against those of other curves, ``keep_clear`` is a value along that they avoid.
        """
        style = {"linewidth": 1.4, "solid_capstyle": "round", "zorder": 3, **style}
        if mark and mark.dashes and "linestyle" not in style:
            style["linestyle"] = (0, mark.dashes)
        self.canvas.line(*self.pixels(x, y), colour, **style)
        if mark and mark.marker:
            indices = _marker_indices(x, y, markers, shift)
            if keep_clear is not None and indices.size > 2:
                clearance = 0.03 * abs(self.x_limits[1] - self.x_limits[0])
                indices = indices[np.abs(x[indices] - keep_clear) > clearance]
            more = {"gid": style["gid"]} if "gid" in style else {}
            self.points(x[indices], y[indices], colour, mark.marker, markersize, zorder=style["zorder"] + 0.1, **more)

    def points(
        self,
        x: npt.ArrayLike,
        y: npt.ArrayLike,
        colour: str,
        marker: str = "o",
        size: float = 5.5,
        *,
        face: str | None = None,
        links: Sequence[Link] = (),
        **style: Any,
    ) -> None:
        """Draw markers, each leading where its link says; ``face`` fills them if not their color."""
        style = {"markeredgewidth": 1.2, "zorder": 4, **style}
        line = self.canvas.line(
            *self.pixels(x, y),
            colour,
            linestyle="none",
            marker=marker,
            markersize=size,
            markerfacecolor=face or colour,
            markeredgecolor=colour,
            **style,
        )
        if links:
            self.canvas.add_links(line, links)

    def dots(self, x: Floats, y: Floats, colour: str, **style: Any) -> None:
        """Draw raw readings faintly; at most as many as the eye can separate."""
        known = np.isfinite(x) & np.isfinite(y)
        x, y = x[known], y[known]
        if x.size > 90:
            indices = np.unique(np.linspace(0, x.size - 1, 90).astype(int))
            x, y = x[indices], y[indices]
        if x.size:
            # A stroke of no length with round ends is a dot.
            xs, ys = (np.column_stack([v, v, np.full(v.size, np.nan)]).ravel() for v in self.pixels(x, y))
            style = {"linewidth": 2.4, "solid_capstyle": "round", "alpha": 0.55, "zorder": 2, **style}
            self.canvas.line(xs, ys, colour, **style)

    def band(self, x: Floats, low: Floats, high: Floats, colour: str, **style: Any) -> None:
        """Fill the area between two curves."""
        known = np.isfinite(x) & np.isfinite(low) & np.isfinite(high)
        for run in _contiguous(known):
            along = np.concatenate([x[run], x[run][::-1]])
            outline = np.concatenate([high[run], low[run][::-1]])
            if along.size >= 4:
                self.canvas.area(*self.pixels(along, outline), colour, **{"zorder": 0.5, **style})


def _contiguous(selected: npt.NDArray[np.bool_]) -> list[slice]:
    """Return the stretches of an array that are selected without a gap."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], selected.astype(np.int8), [0]])))
    return [slice(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _marker_indices(x: Floats, y: Floats, count: int, shift: int = 0) -> npt.NDArray[np.intp]:
    """Return the indices of ``count`` points spread along a curve, not at its ends where it is long.

    Curves with different ``shift`` get theirs at different places, so that markers do not pile up.
    """
    known: npt.NDArray[np.intp] = np.flatnonzero(np.isfinite(x) & np.isfinite(y))
    if known.size <= count:
        return known
    start = (0.06, 0.11, 0.085, 0.135)[shift % 4] + 0.01 * (shift // 4 % 3)
    along = (start + np.arange(count) * 0.84 / count) * (known.size - 1)
    indices: npt.NDArray[np.intp] = known[np.unique(np.round(along).astype(int))]
    return indices


def avoid_overlap(centres: Sequence[float], sizes: Sequence[float] | float, low: float, high: float) -> list[float]:
    """Return centers as near as can be to these, so that things of these sizes do not overlap.

    ``sizes`` is one size [px] for all or one for each; all stay within low..high where there is room (where
    there is not, they are drawn closer together evenly). The order is that of the centers. This is the isotonic
    regression of what is left of each center once the sizes before it are taken off (pool adjacent violators),
    which moves the labels least in the least-squares sense.
    """
    count = len(centres)
    lengths = [float(sizes)] * count if isinstance(sizes, (int, float)) else [float(s) for s in sizes]
    order = sorted(range(count), key=lambda i: (centres[i], i))
    if not order:
        return []
    squeeze = min(1.0, max(high - low, 1.0) / max(sum(lengths), 1e-9))
    offsets, total = [], 0.0
    for i in order:
        offsets.append(total + lengths[i] * squeeze / 2)
        total += lengths[i] * squeeze
    pools: list[tuple[float, int]] = []  # mean, how many
    for i, offset in zip(order, offsets, strict=True):
        mean, members = centres[i] - offset, 1
        while pools and pools[-1][0] > mean:
            previous_mean, previous = pools.pop()
            mean = (previous_mean * previous + mean * members) / (previous + members)
            members += previous
        pools.append((mean, members))
    starts = [min(max(mean, low), max(high - total, low)) for mean, members in pools for _ in range(members)]
    result = [0.0] * count
    for i, start, offset in zip(order, starts, offsets, strict=True):
        result[i] = start + offset
    return result


def label_width(labels: Sequence[str], size: float) -> float:
    """Return the room to the left of an axis for these numbers [px]."""
    return max((width(label, size) for label in labels), default=0.0) + 10


def overlap(one: Box, another: Box) -> bool:
    """Return whether two boxes have a part in common."""
    return one[0] < another[2] and another[0] < one[2] and one[1] < another[3] and another[1] < one[3]
