"""Axes without boxes: quiet rules across, round numbers beside them, curves and marks over them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from builder.draw.canvas import Canvas
from builder.draw.labels import number, truncate, width
from builder.draw.style import INK, QUIET, RULE, Mark

if TYPE_CHECKING:
    from matplotlib.lines import Line2D

Floats = npt.NDArray[np.float64]
Limits = tuple[float, float]


def floats(values: npt.ArrayLike) -> Floats:
    """A flat array in which what is not a finite number is a gap (NaN)."""
    out = np.array(values, dtype=np.float64).ravel()
    # Beyond this a float's own arithmetic overflows in an axis's scale; nothing in a shop is so large.
    out[~np.isfinite(out) | (np.abs(out) > 1e200)] = np.nan
    return out


def paired(x: npt.ArrayLike, y: npt.ArrayLike, what: str) -> tuple[Floats, Floats]:
    """Two arrays of one length. Raises ValueError naming ``what`` if they are not."""
    xs, ys = floats(x), floats(y)
    if xs.size != ys.size:
        raise ValueError(f"{what}: {xs.size} values along and {ys.size} up do not pair")
    return xs, ys


def finite(*arrays: npt.ArrayLike) -> Floats:
    """All the finite values there are."""
    parts = [floats(a) for a in arrays]
    joined = np.concatenate(parts) if parts else np.empty(0)
    return joined[np.isfinite(joined)]


def padded_limits(values: Floats, *, below: float = 0.06, above: float = 0.06, least: float | None = None) -> Limits:
    """An axis around the values, with room below and above as parts of their range.

    Identical values get an axis of about a tenth of their size; ``least`` is a value the axis never
    starts above (0 for a quantity that is read from nought).
    """
    low, high = (float(values.min()), float(values.max())) if values.size else (0.0, 1.0)
    if least is not None:
        low = min(low, least)
    span = high - low
    if span <= 1e-9 * max(abs(low), abs(high)):
        span = 0.1 * abs(high) or 1.0
        low, high = low - span / 2, high + span / 2
    start = low - below * span
    if least is not None and low >= least:
        start = least
    return start, high + above * span


def ticks(limits: Limits, room: float, spacing: float) -> list[float]:
    """Return round numbers within the limits, at least ``spacing`` of the ``room`` [px] from each other.

    One number alone says nothing about the scale: rather two that are closer.
    """
    from matplotlib.ticker import MaxNLocator

    low, high = limits
    locator = MaxNLocator(max(1, int(room / spacing)), steps=[1, 2, 2.5, 5, 10], min_n_ticks=2)
    margin = 1e-9 * (high - low)
    return [float(value) for value in locator.tick_values(low, high) if low - margin <= value <= high + margin]


def tick_labels(at: Sequence[float]) -> list[str]:
    """The numbers beside an axis, all with the decimals that the step needs."""
    if not at:
        return []
    largest = max(abs(v) for v in at)
    step = min((abs(b - a) for a, b in pairwise(at)), default=largest) or largest or 1.0
    if largest >= 1e7 or 0 < largest < 1e-4:
        return [number(v, 0) if v == 0 else number(v) for v in at]
    decimals = next((d for d in range(8) if abs(step * 10**d - round(step * 10**d)) < 1e-6 * step * 10**d), 8)
    return [number(v, decimals) for v in at]


class Axes:
    """One pair of axes on a sheet; ``box`` is left, top, width and height [px]."""

    def __init__(self, sheet: Canvas, box: tuple[float, float, float, float], across: Limits, up: Limits) -> None:
        """Axes over this box with these limits."""
        self.sheet, self.across, self.up = sheet, across, up
        self.left, self.top, self.width, self.height = box
        self.right, self.bottom = self.left + self.width, self.top + self.height

    def x(self, value: float) -> float:
        """Pixel of a value along."""
        low, high = self.across
        return self.left + (value - low) / (high - low) * self.width

    def y(self, value: float) -> float:
        """Pixel of a value up."""
        low, high = self.up
        return self.bottom - (value - low) / (high - low) * self.height

    def title(self, name: str, unit: str = "", colour: str = INK, lift: float = 11.0, room: float = math.inf) -> float:
        """What the panel shows and in which unit, above its left end; returns the room it took [px]."""
        size = self.sheet.size.text
        room = min(room, self.sheet.width - self.left - 4)
        unit = truncate(unit, room / 2, size) if unit else ""
        name = truncate(name, room - width(unit, size) - 10, size, True)
        self.sheet.text(self.left, self.top - lift, name, colour=colour, bold=True, suffix=unit)
        return width(name, size, True) + (9 + width(unit, size) if unit else 0)

    def gridlines(self, at: Sequence[float], labels: Sequence[str] | None = None) -> None:
        """Quiet lines across at these values, their numbers to the left."""
        size = self.sheet.size.small
        xs: list[float] = []
        ys: list[float] = []
        nan = float("nan")
        for value, label in zip(at, labels if labels is not None else tick_labels(at), strict=True):
            y = self.y(value)
            xs += [self.left, self.right, nan]
            ys += [y, y, nan]
            self.sheet.text(self.left - 8, y + size * 0.36, label, anchor="right", colour=QUIET, size=size)
        if xs:
            self.sheet.line(xs, ys, RULE, zorder=0)

    def x_axis(self, at: Sequence[float], labels: Sequence[str] | None = None, drop: float = 0.0) -> None:
        """Ticks and numbers below the panel (or below ``drop`` further pixels)."""
        size = self.sheet.size.small
        nan = float("nan")
        y = self.bottom + drop
        xs: list[float] = []
        ys: list[float] = []
        free = -math.inf  # from where on there is room for a number
        for value, label in zip(at, labels if labels is not None else tick_labels(at), strict=True):
            x = self.x(value)
            half = width(label, size) / 2
            if x - half < free or x + half > self.sheet.width:
                continue
            free = x + half + 6
            xs += [x, x, nan]
            ys += [y, y + 4, nan]
            self.sheet.text(x, y + 6 + size, label, anchor="center", colour=QUIET, size=size)
        self.sheet.line([self.left, self.right, nan, *xs], [y, y, nan, *ys], QUIET, zorder=1)

    def _pixels(self, x: npt.ArrayLike, y: npt.ArrayLike) -> tuple[Floats, Floats]:
        xs, ys = np.atleast_1d(floats(x)), np.atleast_1d(floats(y))
        low, high = self.across
        across = self.left + (xs - low) / (high - low) * self.width
        low, high = self.up
        return across, self.bottom - (ys - low) / (high - low) * self.height

    def curve(self, x: Floats, y: Floats, colour: str, mark: Mark | None = None, **look: Any) -> None:
        """A curve; NaN breaks it. With a mark, its dashes and about five of its markers along the way.

        ``markers`` and ``markersize`` say how many and how large, ``shift`` moves them against those of other
        curves, ``away`` keeps them off one place along.
        """
        look = {"linewidth": 1.4, "solid_capstyle": "round", "zorder": 3, **look}
        marker = look.pop("marker", mark.marker if mark else None)
        if mark and mark.dashes and "linestyle" not in look:
            look["linestyle"] = (0, mark.dashes)
        count, large = look.pop("markers", 5), look.pop("markersize", 5.5)
        shift, away = look.pop("shift", 0), look.pop("away", None)
        self.sheet.line(*self._pixels(x, y), colour, **look)
        if marker:
            at = marker_indices(x, y, count, shift)
            if away is not None and at.size > 2:
                at = at[np.abs(x[at] - away) > 0.03 * abs(self.across[1] - self.across[0])]
            self.points(x[at], y[at], colour, marker, large, zorder=look["zorder"] + 0.1)

    def points(
        self, x: npt.ArrayLike, y: npt.ArrayLike, colour: str, marker: str = "o", size: float = 5.5, **look: Any
    ) -> Line2D:
        """Markers; ``face`` is what fills them if not their colour."""
        look = {"markeredgewidth": 1.2, "zorder": 4, **look}
        face = look.pop("face", colour)
        return self.sheet.line(
            *self._pixels(x, y),
            colour,
            linestyle="none",
            marker=marker,
            markersize=size,
            markerfacecolor=face,
            markeredgecolor=colour,
            **look,
        )

    def dots(self, x: Floats, y: Floats, colour: str, diameter: float = 2.4, opacity: float = 0.55) -> None:
        """Raw readings, faintly; no more of them than can be told apart."""
        keep = np.isfinite(x) & np.isfinite(y)
        x, y = x[keep], y[keep]
        if x.size > 90:
            at = np.unique(np.linspace(0, x.size - 1, 90).astype(int))
            x, y = x[at], y[at]
        if x.size:
            # A stroke of no length with round ends is a dot.
            xs, ys = (np.column_stack([v, v, np.full(v.size, np.nan)]).ravel() for v in self._pixels(x, y))
            self.sheet.line(xs, ys, colour, linewidth=diameter, solid_capstyle="round", alpha=opacity, zorder=2)

    def band(self, x: Floats, low: Floats, high: Floats, colour: str, **look: Any) -> None:
        """The area between two curves."""
        keep = np.isfinite(x) & np.isfinite(low) & np.isfinite(high)
        for run in contiguous(keep):
            along = np.concatenate([x[run], x[run][::-1]])
            outline = np.concatenate([high[run], low[run][::-1]])
            if along.size >= 4:
                self.sheet.area(*self._pixels(along, outline), colour, **{"zorder": 0.5, **look})


def contiguous(keep: npt.NDArray[np.bool_]) -> list[slice]:
    """The stretches of an array that are kept without a gap."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], keep.astype(np.int8), [0]])))
    return [slice(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def marker_indices(x: Floats, y: Floats, count: int, shift: int = 0) -> npt.NDArray[np.intp]:
    """Indices of ``count`` known points spread along a curve, away from its ends where it is long.

    Curves with different ``shift`` get theirs at different places, so that markers do not pile up.
    """
    known: npt.NDArray[np.intp] = np.flatnonzero(np.isfinite(x) & np.isfinite(y))
    if known.size <= count:
        return known
    start = (0.06, 0.11, 0.085, 0.135)[shift % 4] + 0.01 * (shift // 4 % 3)
    along = (start + np.arange(count) * 0.84 / count) * (known.size - 1)
    picked: npt.NDArray[np.intp] = known[np.unique(np.round(along).astype(int))]
    return picked


def legend_sample(sheet: Canvas, x0: float, x1: float, y: float, colour: str, mark: Mark, weight: float = 1.4) -> None:
    """A short piece of a curve with its marker, for a key."""
    dashes = {"linestyle": (0, mark.dashes)} if mark.dashes else {}
    sheet.line([x0, x1], [y, y], colour, linewidth=weight, **dashes)
    sheet.line([(x0 + x1) / 2], [y], colour, marker=mark.marker, markersize=6.0, markeredgewidth=1.0)


def avoid_overlap(wanted: Sequence[float], sizes: Sequence[float] | float, low: float, high: float) -> list[float]:
    """Centres as near as can be to the wanted ones, so that things of these sizes stand clear of each other.

    ``sizes`` is one size [px] for all or one for each; all stay within low..high where there is room (where
    there is not, they are drawn closer together evenly). The order is that of the wanted centres. This is
    the isotonic regression of what is left of each wanted centre once the sizes before it are taken off
    (pool adjacent violators), which moves the labels least in the least-squares sense.
    """
    count = len(wanted)
    each = [float(sizes)] * count if isinstance(sizes, (int, float)) else [float(s) for s in sizes]
    order = sorted(range(count), key=lambda i: (wanted[i], i))
    if not order:
        return []
    squeeze = min(1.0, max(high - low, 1.0) / max(sum(each), 1e-9))
    offsets, at = [], 0.0
    for i in order:
        offsets.append(at + each[i] * squeeze / 2)
        at += each[i] * squeeze
    pools: list[tuple[float, int]] = []  # mean, how many
    for i, offset in zip(order, offsets, strict=True):
        mean, members = wanted[i] - offset, 1
        while pools and pools[-1][0] > mean:
            before, others = pools.pop()
            mean = (before * others + mean * members) / (others + members)
            members += others
        pools.append((mean, members))
    starts = [min(max(mean, low), max(high - at, low)) for mean, members in pools for _ in range(members)]
    out = [0.0] * count
    for i, start, offset in zip(order, starts, offsets, strict=True):
        out[i] = start + offset
    return out


def label_width(labels: Sequence[str], size: float) -> float:
    """Room to the left of an axis for these numbers [px]."""
    return max((width(label, size) for label in labels), default=0.0) + 10
