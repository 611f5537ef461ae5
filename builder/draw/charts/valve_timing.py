"""Valve timing: lift against crank angle, and the events on a ring."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from builder.draw.axes import (
    Axes,
    avoid_overlap,
    finite,
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
from builder.draw.footnotes import notes, notes_height
from builder.draw.labels import number, sanitise, truncate, width
from builder.draw.style import (
    ACCENT,
    BAND,
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

APPROXIMATE = "The marked points are known; the shape of the curves between them is approximate."


@dataclass(frozen=True)
class Event:
    """Something that happens at a crank angle [deg]; ``text`` is the shop's wording (15° before TDC)."""

    angle: float
    text: str


@dataclass(frozen=True, eq=False)
class ValveCurve:
    """One valve's lift. Angles [deg] are after the TDC of the overlap, so an exhaust valve's are negative.

    ``known_angle`` and ``known_lift`` are the points that were given or measured. ``opens`` and ``closes``
    are at the lift that the picture names.
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


_RingMark = tuple[float, float, str, str, str]  # from the centre across and down [px], what, when, colour
_EXHAUST, _INTAKE = 1, 0  # their places among the marks, in every drawing


@chart
def valve_timing(of: ValveTiming, *, name: str = "valve_timing", size: Size = WIDE) -> Drawing:
    """Lift of both valves against crank angle, the overlap shaded, the events named below.

    Raises ValueError if neither curve has a known point, or angles and lifts do not pair.
    """
    valves = []
    for curve, place, colour in ((of.exhaust, _EXHAUST, ACCENT), (of.intake, _INTAKE, SECOND)):
        x, y = paired(curve.angle, curve.lift, sanitise(curve.label))
        valves.append((curve, x, np.where(np.isfinite(x), y, np.nan), series_style(place), colour))
    if not any(np.isfinite(y).any() for _, _, y, _, _ in valves):
        raise ValueError("no known point of valve lift")
    known = [paired(c.known_angle, c.known_lift, f"{sanitise(c.label)}, known points") for c, *_ in valves]
    across = padded_limits(finite(*(x for _, x, *_ in valves), *(k[0] for k in known)), below=0.02, above=0.02)
    values = finite(*(y for _, _, y, _, _ in valves), *(k[1] for k in known))
    tall = 200.0 if size.narrow else 260.0
    up = padded_limits(values, above=(size.text + 12) / (tall - size.text - 12), least=0.0)

    at = ticks(up, tall, 44)
    left = label_width(tick_labels(at), size.small)
    rows = _event_rows(of, size)
    foot = 62.0
    written = sum(len(lines) for _, lines, *_ in rows)
    height = 30 + tall + foot + written * 20 + 8 + notes_height((), size, of.remark)
    sheet = Canvas(size.width, height, size)
    panel = Axes(sheet, (left, 30, size.width - left - 14, tall), across, up)
    panel.title("Valve lift", of.unit)
    _overlap(panel, valves)
    panel.gridlines(at)
    if of.at_lift is not None and up[0] < of.at_lift < up[1]:
        level = panel.y(of.at_lift)
        sheet.line([panel.left, panel.right], [level, level], QUIET, linewidth=0.9, linestyle=(0, (2, 2)), zorder=0.4)
    if across[0] < 0 < across[1]:
        sheet.line([panel.x(0)] * 2, [panel.top, panel.bottom], RULE, linewidth=1.0, zorder=0.3)
    for (curve, x, y, look, colour), (kx, ky) in zip(valves, known, strict=True):
        panel.curve(x, y, colour, look, linewidth=2.2, marker="")
        panel.points(kx, ky, colour, look.marker, 6.5)
        _peak(panel, curve, x, y, colour)
        for event in (curve.opens, curve.closes):
            if event is not None and across[0] <= event.angle <= across[1]:
                px = panel.x(event.angle)
                top = panel.y(of.at_lift if of.at_lift is not None else 0.0)
                sheet.line([px, px], [top, panel.bottom], colour, linewidth=1.2)
    _angles(panel)
    base = down = panel.bottom + foot
    for label, lines, look, colour in rows:
        if look.marker:
            legend_sample(sheet, 4, 36, down - size.small * 0.36, colour, look, 2.2)
        else:
            sheet.box(10, down - size.small + 2, 20, size.small - 2, BAND, edgecolor=QUIET, linewidth=0.8)
        sheet.text(46, down, label, colour=colour, size=size.small, bold=True, suffix=lines[0], suffix_colour=INK)
        for line in lines[1:]:
            down += 20
            sheet.text(46 + width(label, size.small, True) + 8, down, line, size=size.small)
        down += 20
    notes(sheet, (), base + 20 * written - 12, of.remark)
    return sheet.to_drawing(name, "Valve lift against crank angle", _description(of, valves))


def _event_rows(of: ValveTiming, size: Size) -> list[tuple[str, list[str], Mark, str]]:
    """What stands below the curves: a name, its words in as many lines as they take, its look."""

    def lines(label: str, parts: list[str]) -> list[str]:
        room = size.width - width(label, size.small, True) - 58
        whole = ", ".join(parts)
        return [whole] if width(whole, size.small) <= room else [truncate(part, room, size.small) for part in parts]

    rows = []
    for curve, place, colour in ((of.exhaust, _EXHAUST, ACCENT), (of.intake, _INTAKE, SECOND)):
        parts = [f"opens {sanitise(curve.opens.text)}"] if curve.opens else []
        parts += [f"closes {sanitise(curve.closes.text)}"] if curve.closes else []
        if parts:
            rows.append((sanitise(curve.label), lines(sanitise(curve.label), parts), series_style(place), colour))
    parts = [sanitise(t) for t in (of.overlap_text, of.at_lift_text) if t]
    if parts:
        label = "Overlap" if of.overlap_text else "Events"
        rows.append((label, lines(label, parts), Mark("", ()), QUIET))
    return rows


_Valve = tuple[ValveCurve, npt.NDArray[np.float64], npt.NDArray[np.float64], Mark, str]


def _overlap(panel: Axes, valves: list[_Valve]) -> None:
    """Shade what lies under both curves."""
    (_, x0, y0, *_), (_, x1, y1, *_) = valves
    keep0, keep1 = np.isfinite(y0), np.isfinite(y1)
    if keep0.sum() < 2 or keep1.sum() < 2:
        return
    x = np.linspace(*panel.across, 721)
    order0, order1 = np.argsort(x0[keep0]), np.argsort(x1[keep1])
    both = np.minimum(
        np.interp(x, x0[keep0][order0], y0[keep0][order0], left=0, right=0),
        np.interp(x, x1[keep1][order1], y1[keep1][order1], left=0, right=0),
    )
    under = np.flatnonzero(both > 0)
    if under.size > 1:
        inside = slice(max(under[0] - 1, 0), under[-1] + 2)
        panel.band(x[inside], np.zeros(x[inside].size), both[inside], BAND, edgecolor=QUIET, linewidth=0.8)


def _peak(panel: Axes, curve: ValveCurve, x: npt.NDArray[np.float64], y: npt.NDArray[np.float64], colour: str) -> None:
    if not np.isfinite(y).any():
        return
    at = int(np.nanargmax(y))
    sheet, size = panel.sheet, panel.sheet.size
    label = sanitise(curve.label)
    room = panel.width / 2 - 6
    words = sanitise(curve.peak_text)
    if not words or width(words, size.text, True) > room:
        words = f"{label} {number(float(y[at]))}"
    words = truncate(words, room, size.text, True)
    half = width(words, size.text, True) / 2
    # Each valve keeps to its own side of the middle, so that the two never meet.
    middle = (panel.left + panel.right) / 2
    low, high = (panel.left, middle - 4) if panel.x(float(x[at])) < middle else (middle + 4, panel.right)
    px = min(max(panel.x(float(x[at])), low + half), high - half)
    sheet.text(px, panel.y(float(y[at])) - 9, words, anchor="center", colour=colour, bold=True)


def _angles(panel: Axes) -> None:
    """Crank angles below, with the dead centres named."""
    step = 90.0 if panel.sheet.size.narrow is False else 180.0
    low, high = panel.across
    if (high - low) / step > 12:
        step = 180.0 * math.ceil((high - low) / 180 / 8)
    at = [step * i for i in range(math.ceil(low / step), math.floor(high / step) + 1)]
    panel.x_axis(at, [f"{number(a, 0)}°" for a in at])
    size = panel.sheet.size.small
    if step > 180:
        return
    for a in at:
        if a % 180 == 0:
            centre = "TDC" if a % 360 == 0 else "BDC"
            panel.sheet.text(panel.x(a), panel.bottom + 9 + 2 * size, centre, anchor="center", colour=INK, size=size)


def _description(of: ValveTiming, valves: list[_Valve]) -> str:
    parts = []
    for curve, x, y, *_ in valves:
        if not np.isfinite(y).any():
            continue
        at = int(np.nanargmax(y))
        text = (
            f"{sanitise(curve.label)}: most lift {number(float(y[at]))} {of.unit} at {number(float(x[at]), 0)} degrees"
        )
        text += "".join(
            f", {what} {sanitise(event.text)}"
            for what, event in (("opens", curve.opens), ("closes", curve.closes))
            if event is not None
        )
        parts.append(f"{text}.")
    start = "Valve lift against crank angle, counted from the top dead centre of the overlap"
    start += f"; events {sanitise(of.at_lift_text)}." if of.at_lift_text else "."
    end = f" Overlap {sanitise(of.overlap_text)}." if of.overlap_text else ""
    return f"{start} {' '.join(parts)}{end} {of.remark}"


@chart
def timing_ring(of: TimingRing, *, name: str = "timing_ring", size: Size = WIDE) -> Drawing:
    """The events around the crank's circle, clockwise from TDC at the top.

    Raises ValueError without arcs, with more than six, or with an angle that is not a number.
    """
    if not of.arcs:
        raise ValueError("no valve event to draw")
    if len(of.arcs) > 6:
        raise ValueError(f"{len(of.arcs)} arcs do not fit on the ring; six do")
    for arc in of.arcs:
        if not (math.isfinite(arc.opens.angle) and math.isfinite(arc.closes.angle)):
            raise ValueError(f"{sanitise(arc.label)}: the angles of opening and closing must be numbers")
    radius = 96.0 if size.narrow else 128.0
    rows = 20.0 * len(of.arcs) if size.narrow else 0.0
    sheet = Canvas(size.width if size.narrow else 620, 2 * radius + 20 + (rows + 12 if rows else 0), size)
    cx, cy = sheet.width / 2, radius + 10
    nan = float("nan")

    def point(angle: float, r: float) -> tuple[float, float]:
        a = math.radians(angle)
        return cx + r * math.sin(a), cy - r * math.cos(a)

    round_trip = [point(a, radius) for a in range(0, 361, 4)]
    sheet.line([p[0] for p in round_trip], [p[1] for p in round_trip], RULE, zorder=0.5)
    xs: list[float] = []
    ys: list[float] = []
    for a in range(0, 360, 30):
        (x0, y0), (x1, y1) = point(a, radius), point(a, radius - (9 if a % 90 == 0 else 5))
        xs += [x0, x1, nan]
        ys += [y0, y1, nan]
    sheet.line(xs, ys, QUIET, zorder=0.6)

    marks: list[_RingMark] = []
    for n, arc in enumerate(of.arcs):
        look, colour = _arc_look(n)
        r = radius - 18 - 14 * n
        sweep = (arc.closes.angle - arc.opens.angle) % 360 or 360.0
        along = np.linspace(0, sweep, max(8, int(sweep / 3)))
        curve = [point(arc.opens.angle + a, r) for a in along]
        dashes = {"linestyle": (0, look.dashes)} if look.dashes else {}
        sheet.line([p[0] for p in curve], [p[1] for p in curve], colour, linewidth=4.0 if n < 2 else 3.0, **dashes)
        for what, event in (("opens", arc.opens), ("closes", arc.closes)):
            x, y = point(event.angle, r)
            sheet.line([x], [y], colour, marker=look.marker, markersize=8.0, zorder=4)
            marks.append((x - cx, y - cy, f"{sanitise(arc.label)} {what}", sanitise(event.text), colour))
    inner = radius - 14 * len(of.arcs) - 12
    sheet.text(cx, cy - inner + size.small, "TDC", anchor="center", size=size.small, bold=True)
    sheet.text(cx, cy + inner - 4, "BDC", anchor="center", size=size.small, bold=True)
    _ring_middle(sheet, of, cx, cy, inner)
    if size.narrow:
        _ring_rows(sheet, of, 2 * radius + 38)
    else:
        for side in (-1, 1):
            _ring_labels(
                sheet, [m for m in marks if m[0] * side > 0 or (m[0] == 0 and side == 1)], side, cx, cy, radius
            )
    return sheet.to_drawing(name, "Valve events on the crank's circle", _ring_description(of))


def _ring_labels(sheet: Canvas, marks: list[_RingMark], side: int, cx: float, cy: float, radius: float) -> None:
    """The events of one half of the ring, named beside it from top to bottom."""
    size = sheet.size
    wanted = [cy + down for _, down, *_ in marks]
    placed = avoid_overlap(wanted, 2 * size.text + 10, 0, sheet.height - 2)
    for (across, down, words, value, colour), y in zip(marks, placed, strict=True):
        x = cx + side * (radius + 26)
        sheet.line([cx + across, x - side * 14, x - side * 4], [cy + down, y, y], colour, linewidth=0.8, zorder=0.7)
        anchor, room = ("left" if side > 0 else "right"), sheet.width / 2 - radius - 30
        sheet.text(x, y - 1, truncate(words, room, size.small), anchor=anchor, colour=QUIET, size=size.small)
        sheet.text(
            x, y + size.text + 1, truncate(value, room, size.text, True), anchor=anchor, colour=colour, bold=True
        )


def _ring_middle(sheet: Canvas, of: TimingRing, cx: float, cy: float, inner: float) -> None:
    """What is open for how long, inside the ring."""
    size = sheet.size
    lines = [
        (f"{sanitise(arc.label)} {sanitise(arc.duration_text)}".strip(), _arc_look(n)[1], True)
        for n, arc in enumerate(of.arcs)
    ]
    if of.at_lift_text:
        lines.append((sanitise(of.at_lift_text), QUIET, False))
    step = size.small + 5
    most = int((2 * inner - 2 * size.small - 16) / step)
    if len(lines) > most:
        return
    for n, (words, colour, bold) in enumerate(lines):
        y = cy + (n - (len(lines) - 1) / 2) * step + size.small * 0.36
        # The room inside a circle at this height.
        room = 2 * math.sqrt(max(inner**2 - (abs(y - cy) + size.small) ** 2, 0.0)) - 6
        if room > 30:
            sheet.text(
                cx,
                y,
                truncate(words, room, size.small, bold),
                anchor="center",
                colour=colour,
                size=size.small,
                bold=bold,
            )


def _ring_rows(sheet: Canvas, of: TimingRing, y: float) -> None:
    """A line for each arc below the ring, where there is no room beside it."""
    size = sheet.size
    for n, arc in enumerate(of.arcs):
        look, colour = _arc_look(n)
        legend_sample(sheet, 4, 32, y + 20 * n - size.small * 0.36, colour, look, 2.2)
        label = truncate(sanitise(arc.label), 90, size.small, True)
        used = width(label, size.small, True)
        words = f"{sanitise(arc.opens.text)} to {sanitise(arc.closes.text)}"
        words = truncate(words, sheet.width - used - 52, size.small)
        sheet.text(40, y + 20 * n, label, colour=colour, size=size.small, bold=True, suffix=words, suffix_colour=INK)


def _ring_description(of: TimingRing) -> str:
    arcs = [
        f"{sanitise(a.label)} opens {sanitise(a.opens.text)} and closes {sanitise(a.closes.text)}"
        + (f", open for {sanitise(a.duration_text)}" if a.duration_text else "")
        for a in of.arcs
    ]
    start = "Ring of events, clockwise from top dead centre"
    start += f", {sanitise(of.at_lift_text)}" if of.at_lift_text else ""
    return f"{start}. {'. '.join(arcs)}."


def _arc_look(n: int) -> tuple[Mark, str]:
    """Intake and exhaust look as they do in the lift curves; further ports take the marks after them."""
    place = (_EXHAUST, _INTAKE)[n] if n < 2 else n
    return series_style(place), (ACCENT, SECOND)[n] if n < 2 else line_colour(n)
