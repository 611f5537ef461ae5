"""Torque and power against engine speed: every pull of one build, or several builds as delivered."""

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
    padded_limits,
    paired,
    tick_labels,
    ticks,
    zero_note,
)
from builder.draw.canvas import Canvas, series_id
from builder.draw.chart_cache import chart
from builder.draw.drawing import Drawing
from builder.draw.footnotes import draw_notes, notes_height
from builder.draw.labels import number, sanitise, truncate, width
from builder.draw.legend import LegendEntry, draw_legend, legend_height, line_sample
from builder.draw.style import ACCENT, INK, QUIET, SECOND, THIRD, WIDE, Mark, Size, line_colour, series_style
from builder.record.wording import in_sentence, join_and

_LABEL_ROOM = 190.0  # for the name of a curve at its end [px]
_MAX_SIDE_LABELS = 12  # with more curves the names are in a legend below
_WIDTH_WITHOUT_LABELS = 560  # [px]; the page has its legend next to the chart
_COMPARED_COLOURS = (SECOND, THIRD)


@dataclass(frozen=True)
class Peak:
    """The highest point of a curve, in the units of the chart."""

    speed: float
    value: float


@dataclass(frozen=True, eq=False)
class PullCurves:
    """One pull's curves. Gaps are NaN; peaks are taken from the curves where none are given.

    ``position`` is the pull's place in the record, from 0: it sets the mark. Left out, it is the place in
    the tuple. Raw readings are drawn faintly behind. ``note`` says what the pull is, as in "as delivered".
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
    note: str = ""


@dataclass(frozen=True)
class PowerCurves:
    """Every pull of a build; ``delivered`` is the index of the one to bring forward, the engine as delivered.

    ``compared`` are the one or two that it is compared with, in a colour of their own; the others are grey. Without
    ``labels`` the drawing names no curve: a legend next to it does.
    """

    pulls: tuple[PullCurves, ...]
    delivered: int = 0
    compared: tuple[int, ...] = ()
    labels: bool = True
    torque_unit: str = "lbf ft"
    power_unit: str = "hp"
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True)
class Overlay:
    """Two to four builds as delivered (or whatever else is to be compared), in one pair of units."""

    builds: tuple[PullCurves, ...]
    torque_unit: str = "lbf ft"
    power_unit: str = "hp"


@dataclass(frozen=True, eq=False)
class _Curve:
    """One curve of one panel with its style; ``row`` is its pull's place in the chart."""

    label: str
    x: Floats
    y: Floats
    raw_x: Floats
    raw_y: Floats
    peak: Peak
    mark: Mark
    colour: str
    is_delivered: bool
    row: int
    note: str = ""

    @property
    def peak_value(self) -> str:
        """The number of the peak as the legend and the side labels have it."""
        return number(self.peak.value)

    @property
    def prominent(self) -> bool:
        """Whether the curve has a colour of its own."""
        return self.colour != QUIET

    @property
    def linewidth(self) -> float:
        """The width of the line [px]."""
        return 2.6 if self.is_delivered else 1.7 if self.prominent else 1.3


@dataclass(frozen=True, eq=False)
class _CurvePanel:
    """One quantity with its curves."""

    title: str
    unit: str
    curves: list[_Curve]


@dataclass(frozen=True, eq=False)
class _LegendRow:
    """One pull (or build) in every panel that has a curve of it: the source of legend, labels and description."""

    label: str
    is_delivered: bool
    curves: list[tuple[_CurvePanel, _Curve]]

    @property
    def note(self) -> str:
        """What the pull is, if it is one to look at."""
        return self.curves[0][1].note

    @property
    def entry(self) -> LegendEntry:
        """The row of the legend below the panels."""
        first = self.curves[0][1]
        return LegendEntry(
            self.label,
            first.mark,
            first.colour,
            linewidth=first.linewidth,
            text_colour=first.colour if self.is_delivered else INK,
            bold=self.is_delivered,
            value=" · ".join(f"{curve.peak_value} {panel.unit}" for panel, curve in self.curves),
        )


def _legend_rows(panels: Sequence[_CurvePanel]) -> list[_LegendRow]:
    """Return a row for each pull that has a curve, in the order of the pulls."""
    rows: dict[int, list[tuple[_CurvePanel, _Curve]]] = {}
    for panel in panels:
        for curve in panel.curves:
            rows.setdefault(curve.row, []).append((panel, curve))
    return [_LegendRow(curves[0][1].label, curves[0][1].is_delivered, curves) for _, curves in sorted(rows.items())]


@chart
def power_curves(data: PowerCurves, *, name: str = "power_curves", size: Size = WIDE) -> Drawing:
    """Draw torque above power against engine speed, the engine as delivered in front of the others.

    Raises ValueError if there is no pull, ``delivered`` or ``compared`` is none of them, or no pull has a known point.
    """
    if not data.pulls:
        raise ValueError("no pull to draw")
    for index in (data.delivered, *data.compared):
        if not 0 <= index < len(data.pulls):
            raise ValueError(f"pull {index} is not among {len(data.pulls)} pulls")
    colours = {data.delivered: ACCENT} | dict(zip(data.compared, _COMPARED_COLOURS, strict=False))
    panels = []
    for quantity, unit in (("torque", data.torque_unit), ("power", data.power_unit)):
        curves = []
        for i, pull in enumerate(data.pulls):
            is_delivered = i == data.delivered
            mark = series_style(i if pull.position is None else pull.position)
            # The delivered line is unbroken; its marker is the same as anywhere else.
            mark = replace(mark, dashes=()) if is_delivered else mark
            curves += _curve(pull, quantity, mark, colours.get(i, QUIET), is_delivered, i)
        panels.append(_CurvePanel(quantity.capitalize(), unit, curves))
    delivered = data.pulls[data.delivered]
    count = (
        "one pull" if len(data.pulls) == 1 else f"{len(data.pulls)} pulls, as delivered: {sanitise(delivered.label)}"
    )
    return _draw_panels(panels, data.cautions, count, name, size, labels=data.labels)


@chart
def overlay(data: Overlay, *, name: str = "overlay", size: Size = WIDE) -> Drawing:
    """Draw the curves of several builds over each other, each with its own color, line and marker.

    Raises ValueError if there is nothing to draw.
    """
    if not data.builds:
        raise ValueError("no build to draw")
    panels = []
    for quantity, unit in (("torque", data.torque_unit), ("power", data.power_unit)):
        curves = []
        for i, build in enumerate(data.builds):
            position = i if build.position is None else build.position
            curves += _curve(build, quantity, series_style(position), line_colour(position), False, i)
        panels.append(_CurvePanel(quantity.capitalize(), unit, curves))
    count = len(data.builds)
    return _draw_panels(panels, (), f"{count} builds over each other", name, size, title_suffix=f" of {count} builds")


def _curve(pull: PullCurves, quantity: str, mark: Mark, colour: str, is_delivered: bool, row: int) -> list[_Curve]:
    """Return the pull's curve of this quantity, or nothing where it has no known point."""
    values: npt.ArrayLike = getattr(pull, quantity)
    if floats(values).size == 0:
        return []
    x, y = paired(pull.speed, values, f"{sanitise(pull.label)}, {quantity}")
    y = np.where(np.isfinite(x), y, np.nan)
    raw: npt.ArrayLike = getattr(pull, f"raw_{quantity}")
    raw_x, raw_y = (
        paired(pull.raw_speed, raw, f"{sanitise(pull.label)}, raw {quantity}")
        if floats(raw).size
        else (floats(()),) * 2
    )
    if not np.isfinite(y).any():
        return []
    peak: Peak | None = getattr(pull, f"peak_{quantity}")
    if peak is None:
        at = int(np.nanargmax(y))
        peak = Peak(float(x[at]), float(y[at]))
    return [_Curve(sanitise(pull.label), x, y, raw_x, raw_y, peak, mark, colour, is_delivered, row, pull.note)]


def _draw_panels(
    panels: list[_CurvePanel],
    cautions: Sequence[str],
    count: str,
    name: str,
    size: Size,
    title_suffix: str = "",
    labels: bool = True,
) -> Drawing:
    panels = [panel for panel in panels if panel.curves]
    if not panels:
        raise ValueError("no known point in any curve")
    curves = [curve for panel in panels for curve in panel.curves]
    rows = _legend_rows(panels)
    if not labels and not size.narrow:
        size = replace(size, width=_WIDTH_WITHOUT_LABELS)
    legend = [row.entry for row in rows] if labels and (size.narrow or len(rows) > _MAX_SIDE_LABELS) else []
    side_labels = labels and not legend
    heights = (190.0, 165.0)[: len(panels)] if size.narrow else (218.0, 190.0)[: len(panels)]
    y_limits = [_y_limits(panel.curves, height, size) for panel, height in zip(panels, heights, strict=True)]
    x_limits = padded_limits(finite(*(c.x for c in curves), *(c.raw_x for c in curves)), below=0.02, above=0.02)

    y_ticks = [ticks(limits, height, 44) for limits, height in zip(y_limits, heights, strict=True)]
    left = max(label_width(tick_labels(values), size.small) for values in y_ticks)
    right = _side_label_room(panels, size) if side_labels else 16.0
    header, gap, x_axis_height = 30.0, 18.0, 46.0
    bottom = sum(heights) + len(panels) * header + (len(panels) - 1) * gap
    below = legend_height(legend) + 12 if legend else 0
    height = bottom + x_axis_height + below + notes_height(cautions, size)
    canvas = Canvas(size.width, height, size)

    top, plots = header, []
    for panel, panel_height, limits, values in zip(panels, heights, y_limits, y_ticks, strict=True):
        axes = Axes(canvas, (left, top, size.width - left - right, panel_height), x_limits, limits)
        axes.gridlines(values)
        plots.append(axes.area)
        axes.title(panel.title, panel.unit)
        if side_labels:
            canvas.text(axes.right + 34, axes.top - 11, f"Peak, {panel.unit}", colour=QUIET, size=size.small)
        for curve in sorted(panel.curves, key=lambda curve: (curve.is_delivered, curve.prominent, curve.row)):
            # Beyond a handful of pulls the readings of all of them are only a fog.
            _draw_curve(axes, curve, few=len(panel.curves) <= 4)
        _peak_label(axes, panel)
        if side_labels:
            _side_labels(axes, panel)
        top += panel_height + gap + header
    axes.x_axis(ticks(x_limits, axes.width, 64))
    named_limits = [(panel.title.lower(), limits) for panel, limits in zip(panels, y_limits, strict=True)]
    axes.x_title("Engine speed, rpm", note=zero_note([*named_limits, ("speed", x_limits)]))
    draw_legend(canvas, legend, bottom + x_axis_height + 29)
    draw_notes(canvas, cautions, bottom + x_axis_height + below)
    title = f"{join_and([panel.title for panel in panels])}{title_suffix} against engine speed".capitalize()
    description = _description(rows, title, count, cautions)
    entries = {row.curves[0][1].row: row.entry for row in rows}
    samples = [line_sample(entries[n], f"{name}-line{n}") if n in entries else "" for n in range(max(entries) + 1)]
    return canvas.to_drawing(name, title, description, plots=plots, samples=samples, decimals=1)


def _y_limits(curves: list[_Curve], height: float, size: Size) -> Limits:
    """Return the limits of the upward axis, with room over the highest curve for the peak's label."""
    values = finite(*(c.y for c in curves), *(c.raw_y for c in curves), [c.peak.value for c in curves])
    room = (size.text + 14) / height
    return padded_limits(values, below=0.04, above=room / (1 - room))


def _peaks_width(curves: list[_Curve], size: Size) -> float:
    return max(width(curve.peak_value, size.small, curve.is_delivered) for curve in curves)


def _side_label_room(panels: list[_CurvePanel], size: Size) -> float:
    """Return the room to the right of the panels for the side labels [px]."""
    labels = max(
        _peaks_width(panel.curves, size) + min(width(curve.label, size.small, curve.is_delivered), _LABEL_ROOM)
        for panel in panels
        for curve in panel.curves
    )
    headers = max(width(f"Peak, {panel.unit}", size.small) for panel in panels)
    return max(labels + 8, headers) + 38


def _draw_curve(axes: Axes, curve: _Curve, *, few: bool) -> None:
    """Draw a curve with its markers and its peak; among few curves, and of the best, its readings as well."""
    prominent, gid = few or curve.prominent, series_id(curve.row)
    if curve.raw_x.size and (few or curve.is_delivered):
        axes.dots(curve.raw_x, curve.raw_y, curve.colour, gid=gid)
    axes.curve(
        curve.x,
        curve.y,
        curve.colour,
        curve.mark,
        linewidth=curve.linewidth,
        markers=4 if prominent else 3,
        markersize=6.0 if curve.is_delivered else 4.6,
        shift=curve.row,
        keep_clear=curve.peak.speed,
        zorder=5 if curve.is_delivered else 4 if curve.prominent else 3,
        gid=gid,
    )
    peak, diameter = curve.peak, 9.5 if curve.is_delivered else 7.0
    axes.points(peak.speed, peak.value, curve.colour, curve.mark.marker, diameter, face="none", zorder=6, gid=gid)


def _peak_label(axes: Axes, panel: _CurvePanel) -> None:
    """Write the delivered state's (or the highest) peak above every curve that runs under the label."""
    canvas, size = axes.canvas, axes.canvas.size
    delivered = [curve for curve in panel.curves if curve.is_delivered]
    curve = delivered[0] if delivered else max(panel.curves, key=lambda curve: curve.peak.value)
    peak_x, peak_y = axes.x(curve.peak.speed), axes.y(curve.peak.value)
    text = f"{curve.peak_value} {panel.unit} at {number(curve.peak.speed, 0)} rpm"
    text = truncate(text, axes.width - 4, size.text, True)
    half = width(text, size.text, True) / 2
    x = min(max(peak_x, axes.left + half + 2), axes.right - half - 2)
    highest = peak_y
    for curve_below in panel.curves:
        for xs, ys in ((curve_below.x, curve_below.y), (curve_below.raw_x, curve_below.raw_y)):
            pixels_x, pixels_y = axes.pixels(xs, ys)
            under = pixels_y[(np.abs(pixels_x - x) <= half + 8) & np.isfinite(pixels_y)]
            highest = min(highest, float(under.min())) if under.size else highest
    y = max(highest - 9, axes.top + size.text * 0.9)
    if peak_y - y > 24:
        canvas.line([peak_x] * 2, [y + 4, peak_y - 6], curve.colour, linewidth=0.8, gid=series_id(curve.row))
    canvas.text(x, y, text, anchor="center", colour=curve.colour, bold=True, series=curve.row)


def _side_labels(axes: Axes, panel: _CurvePanel) -> None:
    """Write the name of every curve at its end, with its peak."""
    canvas, size = axes.canvas, axes.canvas.size.small
    ends = []
    for curve in panel.curves:
        last = int(np.flatnonzero(np.isfinite(curve.y))[-1])
        ends.append((axes.x(float(curve.x[last])), axes.y(float(curve.y[last]))))
    column = axes.right + 34 + _peaks_width(panel.curves, canvas.size)
    heights = avoid_overlap([y for _, y in ends], size + 3.5, axes.top - 4, axes.bottom + 5)
    for curve, (x_end, y_end), y in zip(panel.curves, ends, heights, strict=True):
        x = axes.right + 24
        canvas.line([x_end + 5, axes.right + 6, x - 7], [y_end, y_end, y], QUIET, linewidth=0.6, zorder=0.2)
        canvas.line([x], [y], curve.colour, marker=curve.mark.marker, markersize=6.0, markeredgewidth=1.0)
        colour = INK if curve.colour == QUIET else curve.colour
        baseline = y + size * 0.36
        label = truncate(curve.label, _LABEL_ROOM, size, curve.is_delivered)
        canvas.text(
            column, baseline, curve.peak_value, anchor="right", colour=colour, size=size, bold=curve.is_delivered
        )
        canvas.text(column + 8, baseline, label, colour=colour, size=size, bold=curve.is_delivered)


def _description(rows: list[_LegendRow], title: str, count: str, cautions: Sequence[str]) -> str:
    sentences = [f"{title}, {count}."]
    for row in rows:
        peaks = [
            f"peak {in_sentence(panel.title)} {curve.peak_value} {panel.unit} at {number(curve.peak.speed, 0)} rpm"
            for panel, curve in row.curves
        ]
        note = f" ({sanitise(row.note)})" if row.note else ""
        sentences.append(f"{row.label}{note}: {join_and(peaks)}.")
    return " ".join(sentences + [f"Caution: {sanitise(caution).rstrip('.')}." for caution in cautions])
