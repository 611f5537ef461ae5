"""Valve timing: lift against crank angle, and the events on a ring."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from builder.draw.axes import (
    Axes,
    Floats,
    avoid_overlap,
    finite,
    label_width,
    padded_limits,
    paired,
    tick_labels,
    ticks,
)
from builder.draw.canvas import Canvas
from builder.draw.chart_cache import chart
from builder.draw.drawing import Drawing
from builder.draw.footnotes import draw_notes, notes_height
from builder.draw.labels import number, sanitise, truncate, width
from builder.draw.legend import LegendEntry, draw_legend, legend_height
from builder.draw.style import ACCENT, BAND, INK, QUIET, RULE, SECOND, WIDE, Mark, Size, line_colour, series_style

APPROXIMATE = "The marked points are known; the shape of the curves between them is approximate."


@dataclass(frozen=True)
class Event:
    """A valve event at a crank angle [deg]; ``text`` is the shop's wording (15° before TDC)."""

    angle: float
    text: str


@dataclass(frozen=True, eq=False)
class ValveCurve:
    """One valve's lift. Angles [deg] are after the TDC of the overlap, so an exhaust valve's are negative.

    ``known_angle`` and ``known_lift`` are the points that were given or measured. ``opens`` and ``closes``
    are at the lift that the chart names.
    """

    label: str
    angle: npt.ArrayLike
    lift: npt.ArrayLike
    opens: Event | None = None
    closes: Event | None = None
    known_angle: npt.ArrayLike = ()
    known_lift: npt.ArrayLike = ()
    peak_text: str = ""


@dataclass(frozen=True)
class ValveTiming:
    """Both valves over one cycle; ``at_lift`` is the lift at which the events are taken, in ``unit``."""

    exhaust: ValveCurve
    intake: ValveCurve
    unit: str
    at_lift: float | None = None
    at_lift_text: str = ""
    overlap_text: str = ""
    remark: str = APPROXIMATE


@dataclass(frozen=True)
class RingArc:
    """One valve (or port) on the ring: open from one angle to the other, clockwise, degrees after TDC."""

    label: str
    opens: Event
    closes: Event
    duration_text: str = ""


@dataclass(frozen=True)
class TimingRing:
    """The events of a cycle around the crank's circle; TDC is at the top. Exhaust first, then intake."""

    arcs: tuple[RingArc, ...]
    at_lift_text: str = ""


_EXHAUST, _INTAKE = 1, 0  # their places among the marks, in every chart
_HEADER, _X_AXIS = 30.0, 62.0  # room above and below the curves [px]


@dataclass(frozen=True, eq=False)
class _Valve:
    """One valve's curve with its style."""

    data: ValveCurve
    label: str
    x: Floats
    y: Floats
    known_x: Floats
    known_y: Floats
    mark: Mark
    colour: str

    @property
    def events(self) -> list[tuple[str, Event]]:
        """What happens and when."""
        events = (("opens", self.data.opens), ("closes", self.data.closes))
        return [(name, event) for name, event in events if event is not None]


def _valves(data: ValveTiming) -> list[_Valve]:
    """Return exhaust and intake. Raises ValueError where neither has a known point, or arrays do not pair."""
    valves = []
    for curve, place, colour in ((data.exhaust, _EXHAUST, ACCENT), (data.intake, _INTAKE, SECOND)):
        label = sanitise(curve.label)
        x, y = paired(curve.angle, curve.lift, label)
        known = paired(curve.known_angle, curve.known_lift, f"{label}, known points")
        y = np.where(np.isfinite(x), y, np.nan)
        valves.append(_Valve(curve, label, x, y, *known, series_style(place), colour))
    if not any(np.isfinite(valve.y).any() for valve in valves):
        raise ValueError("no known point of valve lift")
    return valves


@chart
def valve_timing(data: ValveTiming, *, name: str = "valve_timing", size: Size = WIDE) -> Drawing:
    """Draw the lift of both valves against crank angle, the overlap shaded, the events named below.

    Raises ValueError if neither curve has a known point, or angles and lifts do not pair.
    """
    valves = _valves(data)
    x_limits = padded_limits(finite(*(v.x for v in valves), *(v.known_x for v in valves)), below=0.02, above=0.02)
    height = 200.0 if size.narrow else 260.0
    room = (size.text + 12) / (height - size.text - 12)
    y_limits = padded_limits(finite(*(v.y for v in valves), *(v.known_y for v in valves)), above=room, start=0.0)
    y_ticks = ticks(y_limits, height, 44)
    left = label_width(tick_labels(y_ticks), size.small)
    legend = _legend(data, valves, size)
    below = legend_height(legend)
    remark_height = notes_height((), size, data.remark)
    canvas = Canvas(size.width, _HEADER + height + _X_AXIS + below + 8 + remark_height, size)
    axes = Axes(canvas, (left, _HEADER, size.width - left - 14, height), x_limits, y_limits)
    axes.title("Valve lift", data.unit)
    _shade_overlap(axes, valves)
    axes.gridlines(y_ticks)
    if data.at_lift is not None and y_limits[0] < data.at_lift < y_limits[1]:
        axes.level(data.at_lift, QUIET, linewidth=0.9, linestyle=(0, (2, 2)), zorder=0.4)
    if x_limits[0] < 0 < x_limits[1]:
        canvas.line([axes.x(0)] * 2, [axes.top, axes.bottom], RULE, linewidth=1.0, zorder=0.3)
    for valve in valves:
        axes.curve(valve.x, valve.y, valve.colour, Mark("", valve.mark.dashes), linewidth=2.2)
        axes.points(valve.known_x, valve.known_y, valve.colour, valve.mark.marker, 6.5)
        _peak_label(axes, valve)
        for _, event in valve.events:
            if x_limits[0] <= event.angle <= x_limits[1]:
                top = axes.y(data.at_lift if data.at_lift is not None else 0.0)
                canvas.line([axes.x(event.angle)] * 2, [top, axes.bottom], valve.colour, linewidth=1.2)
    _angle_axis(axes)
    draw_legend(canvas, legend, axes.bottom + _X_AXIS)
    draw_notes(canvas, (), axes.bottom + _X_AXIS + below - 12, data.remark)
    return canvas.to_drawing(name, "Valve lift against crank angle", _description(data, valves))


def _legend(data: ValveTiming, valves: list[_Valve], size: Size) -> list[LegendEntry]:
    """Return an entry for each valve with its events, and one for the overlap."""

    def entry(label: str, mark: Mark | None, colour: str, details: list[str]) -> LegendEntry:
        room = size.width - width(label, size.small, True) - 58
        text = ", ".join(details)
        one_line = width(text, size.small) <= room
        lines = (text,) if one_line else tuple(truncate(detail, room, size.small) for detail in details)
        return LegendEntry(label, mark, colour, linewidth=2.2, text_colour=colour, bold=True, details=lines)

    entries = [
        entry(valve.label, valve.mark, valve.colour, [f"{name} {sanitise(event.text)}" for name, event in valve.events])
        for valve in valves
        if valve.events
    ]
    texts = [sanitise(text) for text in (data.overlap_text, data.at_lift_text) if text]
    if texts:
        entries.append(entry("Overlap" if data.overlap_text else "Events", None, QUIET, texts))
    return entries


def _shade_overlap(axes: Axes, valves: list[_Valve]) -> None:
    """Shade what is under both curves."""
    exhaust, intake = valves
    if min(np.isfinite(valve.y).sum() for valve in valves) < 2:
        return
    x = np.linspace(*axes.x_limits, 721)
    both = np.minimum(_lift_at(exhaust, x), _lift_at(intake, x))
    under = np.flatnonzero(both > 0)
    if under.size > 1:
        inside = slice(max(under[0] - 1, 0), under[-1] + 2)
        axes.band(x[inside], np.zeros(x[inside].size), both[inside], BAND, edgecolor=QUIET, linewidth=0.8)


def _lift_at(valve: _Valve, x: Floats) -> Floats:
    """Return the lift at these angles, nought outside the curve."""
    known = np.isfinite(valve.y)
    angles, lifts = valve.x[known], valve.y[known]
    order = np.argsort(angles)
    return np.interp(x, angles[order], lifts[order], left=0, right=0)


def _peak_label(axes: Axes, valve: _Valve) -> None:
    """Write the peak lift over its curve; each valve has its own side of the middle, so that the two never meet."""
    if not np.isfinite(valve.y).any():
        return
    peak = int(np.nanargmax(valve.y))
    peak_x, peak_y = axes.x(float(valve.x[peak])), axes.y(float(valve.y[peak]))
    canvas, size = axes.canvas, axes.canvas.size
    room = axes.width / 2 - 6
    text = sanitise(valve.data.peak_text)
    if not text or width(text, size.text, True) > room:
        text = f"{valve.label} {number(float(valve.y[peak]))}"
    text = truncate(text, room, size.text, True)
    half = width(text, size.text, True) / 2
    middle = (axes.left + axes.right) / 2
    low, high = (axes.left, middle - 4) if peak_x < middle else (middle + 4, axes.right)
    x = min(max(peak_x, low + half), high - half)
    canvas.text(x, peak_y - 9, text, anchor="center", colour=valve.colour, bold=True)


def _angle_axis(axes: Axes) -> None:
    """Write the crank angles below, with the dead centers named."""
    low, high = axes.x_limits
    size = axes.canvas.size
    step = 180.0 if size.narrow else 90.0
    if (high - low) / step > 12:
        step = 180.0 * math.ceil((high - low) / 180 / 8)
    angles = [step * i for i in range(math.ceil(low / step), math.floor(high / step) + 1)]
    axes.x_axis(angles, [f"{number(angle, 0)}°" for angle in angles])
    if step > 180:
        return
    y = axes.bottom + 9 + 2 * size.small
    for angle in angles:
        if angle % 180 == 0:
            name = "TDC" if angle % 360 == 0 else "BDC"
            axes.canvas.text(axes.x(angle), y, name, anchor="center", colour=INK, size=size.small)


def _description(data: ValveTiming, valves: list[_Valve]) -> str:
    parts = []
    for valve in valves:
        if not np.isfinite(valve.y).any():
            continue
        peak = int(np.nanargmax(valve.y))
        lift, angle = number(float(valve.y[peak])), number(float(valve.x[peak]), 0)
        text = f"{valve.label}: most lift {lift} {data.unit} at {angle} degrees"
        text += "".join(f", {name} {sanitise(event.text)}" for name, event in valve.events)
        parts.append(f"{text}.")
    start = "Valve lift against crank angle, counted from the top dead center of the overlap"
    start += f"; events {sanitise(data.at_lift_text)}." if data.at_lift_text else "."
    end = f" Overlap {sanitise(data.overlap_text)}." if data.overlap_text else ""
    return f"{start} {' '.join(parts)}{end} {data.remark}"


@dataclass(frozen=True)
class _Arc:
    """One arc of the ring with its style."""

    data: RingArc
    label: str
    mark: Mark
    colour: str
    radius: float
    linewidth: float


@dataclass(frozen=True)
class _EventMark:
    """One event of the ring: its marker [px] and its label."""

    x: float
    y: float
    label: str
    text: str
    colour: str


class _Ring:
    """The crank's circle on a canvas."""

    def __init__(self, canvas: Canvas, radius: float) -> None:
        """Set the circle in the middle, near the top."""
        self.canvas, self.radius = canvas, radius
        self.x, self.y = canvas.width / 2, radius + 10

    def point(self, angle: float, radius: float) -> tuple[float, float]:
        """Return the pixel at this crank angle [deg] and distance from the center [px]."""
        radians = math.radians(angle)
        return self.x + radius * math.sin(radians), self.y - radius * math.cos(radians)

    def line(self, angles: Iterable[float], radius: float, colour: str, **style: Any) -> None:
        """Draw an arc through these angles."""
        xs, ys = zip(*(self.point(angle, radius) for angle in angles), strict=True)
        self.canvas.line(xs, ys, colour, **style)

    def ticks(self) -> None:
        """Draw a tick every 30 degrees, longer every 90."""
        points = []
        for angle in range(0, 360, 30):
            inner = self.radius - (9 if angle % 90 == 0 else 5)
            points += [self.point(angle, self.radius), self.point(angle, inner), (math.nan, math.nan)]
        self.canvas.line([x for x, _ in points], [y for _, y in points], QUIET, zorder=0.6)


@chart
def timing_ring(data: TimingRing, *, name: str = "timing_ring", size: Size = WIDE) -> Drawing:
    """Draw the events around the crank's circle, clockwise from TDC at the top.

    Raises ValueError without arcs, with more than six, or with an angle that is not a number.
    """
    if not data.arcs:
        raise ValueError("no valve event to draw")
    if len(data.arcs) > 6:
        raise ValueError(f"{len(data.arcs)} arcs do not fit on the ring; six do")
    for arc in data.arcs:
        if not (math.isfinite(arc.opens.angle) and math.isfinite(arc.closes.angle)):
            raise ValueError(f"{sanitise(arc.label)}: the angles of opening and closing must be numbers")
    radius = 96.0 if size.narrow else 128.0
    arcs = _arcs(data, radius)
    legend = _ring_legend(arcs, size) if size.narrow else []
    below = legend_height(legend) + 12 if legend else 0
    canvas = Canvas(size.width if size.narrow else 620, 2 * radius + 20 + below, size)
    ring = _Ring(canvas, radius)
    ring.line(range(0, 361, 4), radius, RULE, zorder=0.5)
    ring.ticks()
    marks = [mark for arc in arcs for mark in _draw_arc(ring, arc)]
    inner = radius - 14 * len(arcs) - 12
    canvas.text(ring.x, ring.y - inner + size.small, "TDC", anchor="center", size=size.small, bold=True)
    canvas.text(ring.x, ring.y + inner - 4, "BDC", anchor="center", size=size.small, bold=True)
    _durations(ring, arcs, sanitise(data.at_lift_text), inner)
    draw_legend(canvas, legend, 2 * radius + 38)
    if not legend:
        _event_labels(ring, [mark for mark in marks if mark.x < ring.x], side=-1)
        _event_labels(ring, [mark for mark in marks if mark.x >= ring.x], side=1)
    return canvas.to_drawing(name, "Valve events on the crank's circle", _ring_description(data))


def _arcs(data: TimingRing, radius: float) -> list[_Arc]:
    """Return the arcs with their styles: exhaust and intake as in the lift curves, further ports the marks after."""
    arcs = []
    for n, arc in enumerate(data.arcs):
        mark = series_style((_EXHAUST, _INTAKE)[n] if n < 2 else n)
        colour = (ACCENT, SECOND)[n] if n < 2 else line_colour(n)
        linewidth = 4.0 if n < 2 else 3.0
        arcs.append(_Arc(arc, sanitise(arc.label), mark, colour, radius - 18 - 14 * n, linewidth))
    return arcs


def _draw_arc(ring: _Ring, arc: _Arc) -> list[_EventMark]:
    """Draw an arc with a marker at either end, and return those."""
    opens, closes = arc.data.opens, arc.data.closes
    sweep = (closes.angle - opens.angle) % 360 or 360.0
    angles = opens.angle + np.linspace(0, sweep, max(8, int(sweep / 3)))
    dashes = {"linestyle": (0, arc.mark.dashes)} if arc.mark.dashes else {}
    ring.line(angles, arc.radius, arc.colour, linewidth=arc.linewidth, **dashes)
    marks = []
    for name, event in (("opens", opens), ("closes", closes)):
        x, y = ring.point(event.angle, arc.radius)
        ring.canvas.line([x], [y], arc.colour, marker=arc.mark.marker, markersize=8.0, zorder=4)
        marks.append(_EventMark(x, y, f"{arc.label} {name}", sanitise(event.text), arc.colour))
    return marks


def _event_labels(ring: _Ring, marks: list[_EventMark], *, side: int) -> None:
    """Name the events of the left (-1) or right (1) half of the ring next to it, from top to bottom."""
    canvas, size = ring.canvas, ring.canvas.size
    heights = avoid_overlap([mark.y for mark in marks], 2 * size.text + 10, 0, canvas.height - 2)
    x = ring.x + side * (ring.radius + 26)
    anchor, room = ("left" if side > 0 else "right"), canvas.width / 2 - ring.radius - 30
    for mark, y in zip(marks, heights, strict=True):
        leader = [mark.x, x - side * 14, x - side * 4]
        canvas.line(leader, [mark.y, y, y], mark.colour, linewidth=0.8, zorder=0.7)
        label, text = truncate(mark.label, room, size.small), truncate(mark.text, room, size.text, True)
        canvas.text(x, y - 1, label, anchor=anchor, colour=QUIET, size=size.small)
        canvas.text(x, y + size.text + 1, text, anchor=anchor, colour=mark.colour, bold=True)


def _durations(ring: _Ring, arcs: list[_Arc], at_lift_text: str, inner: float) -> None:
    """Write inside the ring how long each arc is, where all of it has room."""
    size = ring.canvas.size.small
    lines = [(f"{arc.label} {sanitise(arc.data.duration_text)}".strip(), arc.colour, True) for arc in arcs]
    if at_lift_text:
        lines.append((at_lift_text, QUIET, False))
    step = size + 5
    if len(lines) > int((2 * inner - 2 * size - 16) / step):
        return
    for n, (text, colour, bold) in enumerate(lines):
        y = ring.y + (n - (len(lines) - 1) / 2) * step + size * 0.36
        # The room inside a circle at this height.
        room = 2 * math.sqrt(max(inner**2 - (abs(y - ring.y) + size) ** 2, 0.0)) - 6
        if room > 30:
            text = truncate(text, room, size, bold)
            ring.canvas.text(ring.x, y, text, anchor="center", colour=colour, size=size, bold=bold)


def _ring_legend(arcs: list[_Arc], size: Size) -> list[LegendEntry]:
    """Return an entry for each arc, for below the ring where there is no room next to it."""
    entries = []
    for arc in arcs:
        label = truncate(arc.label, 90, size.small, True)
        text = f"{sanitise(arc.data.opens.text)} to {sanitise(arc.data.closes.text)}"
        text = truncate(text, size.width - width(label, size.small, True) - 58, size.small)
        entries.append(
            LegendEntry(label, arc.mark, arc.colour, linewidth=2.2, text_colour=arc.colour, bold=True, details=(text,))
        )
    return entries


def _ring_description(data: TimingRing) -> str:
    arcs = [
        f"{sanitise(arc.label)} opens {sanitise(arc.opens.text)} and closes {sanitise(arc.closes.text)}"
        + (f", open for {sanitise(arc.duration_text)}" if arc.duration_text else "")
        for arc in data.arcs
    ]
    start = "Ring of events, clockwise from top dead center"
    start += f", {sanitise(data.at_lift_text)}" if data.at_lift_text else ""
    return f"{start}. {'. '.join(arcs)}."
