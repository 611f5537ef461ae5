"""Torque and power against engine speed: every pull of one build, or the best pulls of several builds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from builder.draw.axes import (
    Axes,
    Floats,
    Limits,
    avoid_overlap,
    finite,
    floats,
    label_width,
    legend_sample,
    padded_limits,
    paired,
    tick_labels,
    ticks,
)
from builder.draw.canvas import Canvas
from builder.draw.chart_cache import chart
from builder.draw.drawing import Drawing
from builder.draw.footnotes import Caution, notes, notes_height, zone
from builder.draw.labels import join_and, number, sanitise, truncate, width
from builder.draw.style import ACCENT, INK, QUIET, SECOND, WIDE, Mark, Size, line_colour, series_style

_LABEL_ROOM = 190.0  # for the name of a curve beside its end [px]


@dataclass(frozen=True)
class Peak:
    """The highest point of a curve, in the units of the drawing; ``text`` if the page words it otherwise."""

    speed: float
    value: float
    text: str = ""


@dataclass(frozen=True, eq=False)
class Pull:
    """One pull's curves. Gaps are NaN; peaks are taken from the curves where none are given.

    ``position`` is the pull's place in the record, from 0: it sets the mark. Left out, it is the place in
    the tuple. Raw readings are drawn faintly behind.
    """

    label: str
    speed: npt.ArrayLike
    torque: npt.ArrayLike = ()
    power: npt.ArrayLike = ()
    raw_speed: npt.ArrayLike = ()
    raw_torque: npt.ArrayLike = ()
    raw_power: npt.ArrayLike = ()
    peak_torque: Peak | None = None
    peak_power: Peak | None = None
    position: int | None = None


@dataclass(frozen=True)
class PowerCurves:
    """Every pull of a build; ``best`` is the index of the one to bring forward."""

    pulls: tuple[Pull, ...]
    best: int = 0
    torque_unit: str = "lbf ft"
    power_unit: str = "hp"
    speed_unit: str = "rpm"
    cautions: tuple[Caution, ...] = ()


@dataclass(frozen=True)
class Overlay:
    """The best pulls of two to four builds (or whatever else is to be compared), in one pair of units."""

    builds: tuple[Pull, ...]
    torque_unit: str = "lbf ft"
    power_unit: str = "hp"
    speed_unit: str = "rpm"
    torque_name: str = "Torque"
    power_name: str = "Power"


@dataclass(frozen=True, eq=False)
class _Curve:
    """One curve of one panel with its look."""

    label: str
    x: Floats
    y: Floats
    raw_x: Floats
    raw_y: Floats
    peak: Peak
    mark: Mark
    colour: str
    forward: bool
    row: int


@chart
def power_curves(of: PowerCurves, *, name: str = "power_curves", size: Size = WIDE) -> Drawing:
    """Torque above, power below, against engine speed; the best pull forward, the others behind.

    Raises ValueError if there is no pull, ``best`` is none of them, or no pull has a known point.
    """
    if not of.pulls:
        raise ValueError("no pull to draw")
    if not 0 <= of.best < len(of.pulls):
        raise ValueError(f"best pull {of.best} is not among {len(of.pulls)} pulls")
    panels = []
    for what, colour, unit in (("torque", ACCENT, of.torque_unit), ("power", SECOND, of.power_unit)):
        curves = []
        for i, pull in enumerate(of.pulls):
            forward = i == of.best
            look = series_style(i if pull.position is None else pull.position)
            # The best pull's line is unbroken; its marker is the same as anywhere else.
            look = replace(look, dashes=()) if forward else look
            curves += _curve(pull, what, look, colour if forward else QUIET, forward, i)
        panels.append((what.capitalize(), unit, curves))
    best = of.pulls[of.best]
    count = "one pull" if len(of.pulls) == 1 else f"{len(of.pulls)} pulls, the best being {sanitise(best.label)}"
    return _two_panels(panels, of.speed_unit, of.cautions, count, name, size)


@chart
def overlay(of: Overlay, *, name: str = "overlay", size: Size = WIDE) -> Drawing:
    """The curves of several builds over each other, each with its own colour, line and marker.

    Raises ValueError if there is nothing to draw.
    """
    if not of.builds:
        raise ValueError("no build to draw")
    panels = []
    for what, title, unit in (
        ("torque", of.torque_name, of.torque_unit),
        ("power", of.power_name, of.power_unit),
    ):
        curves = []
        for i, build in enumerate(of.builds):
            position = i if build.position is None else build.position
            curves += _curve(build, what, series_style(position), line_colour(position), False, i)
        panels.append((title, unit, curves))
    whose = f" of {len(of.builds)} builds"
    return _two_panels(panels, of.speed_unit, (), f"{len(of.builds)} builds over each other", name, size, whose)


def _curve(pull: Pull, what: str, look: Mark, colour: str, forward: bool, row: int) -> list[_Curve]:
    values: npt.ArrayLike = getattr(pull, what)
    if floats(values).size == 0:
        return []
    x, y = paired(pull.speed, values, f"{sanitise(pull.label)}, {what}")
    y = np.where(np.isfinite(x), y, np.nan)
    raw: npt.ArrayLike = getattr(pull, f"raw_{what}")
    raw_x, raw_y = (
        paired(pull.raw_speed, raw, f"{sanitise(pull.label)}, raw {what}") if floats(raw).size else (floats(()),) * 2
    )
    if not np.isfinite(y).any():
        return []
    peak: Peak | None = getattr(pull, f"peak_{what}")
    if peak is None:
        at = int(np.nanargmax(y))
        peak = Peak(float(x[at]), float(y[at]))
    return [_Curve(sanitise(pull.label), x, y, raw_x, raw_y, peak, look, colour, forward, row)]


def _two_panels(
    panels: list[tuple[str, str, list[_Curve]]],
    speed_unit: str,
    cautions: Sequence[Caution],
    count: str,
    name: str,
    size: Size,
    whose: str = "",
) -> Drawing:
    panels = [p for p in panels if p[2]]
    if not panels:
        raise ValueError("no known point in any curve")
    curves = [c for _, _, cs in panels for c in cs]
    rows = sorted({c.row for c in curves})
    key = size.narrow or len(rows) > 12
    heights = (190.0, 165.0)[: len(panels)] if size.narrow else (218.0, 190.0)[: len(panels)]
    ups = [_up(cs, h, size) for (_, _, cs), h in zip(panels, heights, strict=True)]
    across = padded_limits(finite(*(c.x for c in curves), *(c.raw_x for c in curves)), below=0.02, above=0.02)

    marks = [ticks(up, h, 44) for up, h in zip(ups, heights, strict=True)]
    left = max(label_width(tick_labels(at), size.small) for at in marks)
    right = 16.0 if key else _side(panels, size)
    head, gap, foot = 30.0, 18.0, 46.0
    bottom = sum(heights) + len(panels) * head + (len(panels) - 1) * gap
    key_height = (len(rows) * 19 + 12) if key else 0
    height = bottom + foot + key_height + notes_height(cautions, size)
    sheet = Canvas(size.width, height, size)

    top = head
    made = []
    for (title, unit, cs), tall, up, at in zip(panels, heights, ups, marks, strict=True):
        panel = Axes(sheet, (left, top, size.width - left - right, tall), across, up)
        _zones(panel, cautions)
        panel.gridlines(at)
        _title(panel, title, unit, cs, key)
        for c in sorted(cs, key=lambda c: (c.forward, c.row)):
            # Beyond a handful of pulls the readings of all of them are only a fog.
            _draw(panel, c, len(cs) <= 4)
        _peak_label(panel, cs, unit, speed_unit)
        if not key:
            _side_labels(panel, cs)
        made.append(panel)
        top += tall + gap + head
    last = made[-1]
    last.x_axis(ticks(across, last.width, 64))
    sheet.text(last.right, last.bottom + 38, f"Engine speed, {speed_unit}", anchor="right", colour=QUIET)
    if key:
        _key(sheet, panels, rows, bottom + foot + 10)
    notes(sheet, cautions, bottom + foot + key_height)
    names = join_and([title for title, _, _ in panels])
    title = f"{names}{whose} against engine speed".capitalize()
    return sheet.to_drawing(name, title, _description(panels, rows, speed_unit, title, count, cautions))


def _up(curves: list[_Curve], height: float, size: Size) -> Limits:
    """The upward axis, with room over the highest curve for the peak's label."""
    values = finite(*(c.y for c in curves), *(c.raw_y for c in curves), [c.peak.value for c in curves])
    room = (size.text + 14) / height
    return padded_limits(values, below=0.04, above=room / (1 - room))


def _values_width(curves: list[_Curve], size: Size) -> float:
    return max(width(number(c.peak.value), size.small, c.forward) for c in curves)


def _side(panels: list[tuple[str, str, list[_Curve]]], size: Size) -> float:
    """Room to the right of the panels for the names of the curves [px]."""
    widest = max(
        _values_width(cs, size) + min(width(c.label, size.small, c.forward), _LABEL_ROOM)
        for _, _, cs in panels
        for c in cs
    )
    heads = max(width(f"Peak, {unit}", size.small) for _, unit, _ in panels)
    return max(widest + 8, heads) + 38


def _title(panel: Axes, title: str, unit: str, curves: list[_Curve], key: bool) -> None:
    sheet, size = panel.sheet, panel.sheet.size
    forward = [c.colour for c in curves if c.forward]
    panel.title(title, unit, forward[0] if forward else INK)
    if not key:
        sheet.text(panel.right + 34, panel.top - 11, f"Peak, {unit}", colour=QUIET, size=size.small)


def _zones(panel: Axes, cautions: Sequence[Caution]) -> None:
    for caution in cautions:
        if caution.start is None or caution.end is None:
            continue
        low, high = sorted((caution.start, caution.end))
        low, high = max(low, panel.across[0]), min(high, panel.across[1])
        if high > low:
            zone(panel.sheet, panel.x(low), panel.top, panel.x(high) - panel.x(low), panel.height)


def _draw(panel: Axes, c: _Curve, few: bool) -> None:
    if c.raw_x.size and (few or c.forward):
        panel.dots(c.raw_x, c.raw_y, c.colour)
    panel.curve(
        c.x,
        c.y,
        c.colour,
        c.mark,
        linewidth=2.6 if c.forward else 1.3,
        markers=4 if few or c.forward else 3,
        markersize=6.0 if c.forward else 4.6,
        shift=c.row,
        away=c.peak.speed,
        zorder=5 if c.forward else 3,
    )
    panel.points(c.peak.speed, c.peak.value, c.colour, c.mark.marker, 9.5 if c.forward else 7.0, face="none", zorder=6)


def _peak_label(panel: Axes, curves: list[_Curve], unit: str, speed_unit: str) -> None:
    """The forward pull's peak in words, above every curve that runs under the words."""
    sheet, size = panel.sheet, panel.sheet.size
    chosen = [c for c in curves if c.forward] or [max(curves, key=lambda c: c.peak.value)]
    for c in chosen[:1]:
        text = c.peak.text or f"{number(c.peak.value)} {unit} at {number(c.peak.speed, 0)} {speed_unit}"
        text = truncate(text, panel.width - 4, size.text, True)
        half = width(text, size.text, True) / 2
        x = min(max(panel.x(c.peak.speed), panel.left + half + 2), panel.right - half - 2)
        over = [panel.y(c.peak.value)]
        for other in curves:
            for xs, ys in ((other.x, other.y), (other.raw_x, other.raw_y)):
                if xs.size:
                    under = np.abs(panel.left + (xs - panel.across[0]) / np.ptp(panel.across) * panel.width - x)
                    near = ys[(under <= half + 8) & np.isfinite(ys)]
                    over += [panel.y(float(near.max()))] if near.size else []
        y = max(min(over) - 9, panel.top + size.text * 0.9)
        if panel.y(c.peak.value) - y > 24:
            sheet.line([panel.x(c.peak.speed)] * 2, [y + 4, panel.y(c.peak.value) - 6], c.colour, linewidth=0.8)
        sheet.text(x, y, text, anchor="center", colour=c.colour, bold=True)


def _side_labels(panel: Axes, curves: list[_Curve]) -> None:
    """The name of every curve beside its end, with its peak."""
    sheet, size = panel.sheet, panel.sheet.size
    ends = []
    for c in curves:
        at = int(np.flatnonzero(np.isfinite(c.y))[-1])
        ends.append((panel.x(float(c.x[at])), panel.y(float(c.y[at]))))
    column = panel.right + 34 + _values_width(curves, size)
    placed = avoid_overlap([y for _, y in ends], size.small + 3.5, panel.top - 4, panel.bottom + 5)
    for c, (x_end, y_end), y in zip(curves, ends, placed, strict=True):
        x = panel.right + 24
        sheet.line([x_end + 5, panel.right + 6, x - 7], [y_end, y_end, y], QUIET, linewidth=0.6, zorder=0.2)
        sheet.line([x], [y], c.colour, marker=c.mark.marker, markersize=6.0, markeredgewidth=1.0)
        colour = INK if c.colour == QUIET else c.colour
        base = y + size.small * 0.36
        value, name = number(c.peak.value), truncate(c.label, _LABEL_ROOM, size.small, c.forward)
        sheet.text(column, base, value, anchor="right", colour=colour, size=size.small, bold=c.forward)
        sheet.text(column + 8, base, name, colour=colour, size=size.small, bold=c.forward)


def _key(sheet: Canvas, panels: list[tuple[str, str, list[_Curve]]], rows: list[int], y: float) -> None:
    """Below the panels, where there is no room beside them: line, name and peaks of each curve."""
    size = sheet.size
    for row in rows:
        mine = [(c, unit) for _, unit, cs in panels for c in cs if c.row == row]
        c = mine[0][0]
        y += 19
        middle = y - size.small * 0.36
        legend_sample(sheet, 6, 38, middle, c.colour, c.mark, 2.4 if c.forward else 1.3)
        peaks = " · ".join(f"{number(m.peak.value)} {unit}" for m, unit in mine)
        used = width(peaks, size.small, c.forward)
        sheet.text(sheet.width - 4, y, peaks, anchor="right", size=size.small, bold=c.forward)
        label = truncate(c.label, sheet.width - used - 66, size.small, c.forward)
        sheet.text(48, y, label, size=size.small, bold=c.forward, colour=c.colour if c.forward else INK)


def _description(
    panels: list[tuple[str, str, list[_Curve]]],
    rows: list[int],
    speed_unit: str,
    title: str,
    count: str,
    cautions: Sequence[Caution],
) -> str:
    sentences = [f"{title}, {count}."]
    for row in rows:
        mine = [(t, u, c) for t, u, cs in panels for c in cs if c.row == row]
        peaks = [
            f"peak {t.lower()} {number(c.peak.value)} {u} at {number(c.peak.speed, 0)} {speed_unit}" for t, u, c in mine
        ]
        best = " (best)" if mine[0][2].forward and len(rows) > 1 else ""
        sentences.append(f"{mine[0][2].label}{best}: {join_and(peaks)}.")
    return " ".join(sentences + [f"Caution: {c.sentence(speed_unit)}" for c in cautions])
