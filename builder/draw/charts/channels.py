"""What else was logged: channels over one speed axis, each against its guideline."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from builder.draw.axes import (
    Axes,
    Floats,
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
from builder.draw.labels import join_and, number, sanitise, truncate, with_unit
from builder.draw.style import BAND, CAUTION, QUIET, WIDE, Size, line_colour, series_style


@dataclass(frozen=True, eq=False)
class Trace:
    """One channel in one pull; ``position`` is the pull's place in the record, for its mark."""

    label: str
    speed: npt.ArrayLike
    values: npt.ArrayLike
    position: int = 0


@dataclass(frozen=True)
class Breach:
    """Where a channel leaves its guideline, in a few words: beside a title there is little room."""

    speed: float
    value: float
    text: str


@dataclass(frozen=True)
class Channel:
    """One quantity in every pull that logged it, with the shop's guideline if there is one."""

    label: str
    unit: str
    traces: tuple[Trace, ...]
    low: float | None = None
    high: float | None = None
    breaches: tuple[Breach, ...] = ()


@dataclass(frozen=True)
class Channels:
    """The channels of a session from top to bottom."""

    channels: tuple[Channel, ...]
    speed_unit: str = "rpm"


@chart
def channels(of: Channels, *, name: str = "channels", size: Size = WIDE) -> Drawing:
    """The channels stacked over one speed axis, guidelines as bands, breaches marked and told.

    Raises ValueError if no channel has a known point.
    """
    stacked: list[tuple[Channel, list[tuple[Trace, Floats, Floats]]]] = []
    for channel in of.channels:
        traces = []
        for trace in channel.traces:
            x, y = paired(trace.speed, trace.values, f"{sanitise(channel.label)}, {sanitise(trace.label)}")
            y = np.where(np.isfinite(x), y, np.nan)
            if np.isfinite(y).any():
                traces.append((trace, x, y))
        if traces:
            stacked.append((channel, traces))
    if not stacked:
        raise ValueError("no channel with a known point")
    across = padded_limits(finite(*(x for _, ts in stacked for _, x, _ in ts)), below=0.02, above=0.02)
    tall = 78.0 if size.narrow else 92.0
    ups, marks = [], []
    for channel, traces in stacked:
        edges = [v for v in (channel.low, channel.high) if v is not None and math.isfinite(v)]
        known = finite(*(y for _, _, y in traces), edges, [b.value for b in channel.breaches])
        ups.append(padded_limits(known, below=0.08, above=0.08))
        marks.append(ticks(ups[-1], tall, 30))
    left = max(label_width(tick_labels(at), size.small) for at in marks)
    heads = [44.0 if c.breaches and size.narrow else 28.0 for c, _ in stacked]
    key = _key_rows(stacked)
    bottom = sum(heads) + len(stacked) * (tall + 6)
    sheet = Canvas(size.width, bottom + 46 + (20 * len(key) + 8 if len(key) > 1 else 0), size)
    top = 0.0
    panel: Axes | None = None
    for (channel, traces), up, at, head in zip(stacked, ups, marks, heads, strict=True):
        top += head
        panel = Axes(sheet, (left, top, size.width - left - 14, tall), across, up)
        _channel(panel, channel, traces, at, head)
        top += tall + 6
    assert panel is not None  # there is at least one channel
    panel.x_axis(ticks(across, panel.width, 64), drop=2)
    sheet.text(panel.right, bottom + 34, f"Engine speed, {sanitise(of.speed_unit)}", anchor="right", colour=QUIET)
    if len(key) > 1:
        for n, (position, label) in enumerate(key):
            base = bottom + 56 + 20 * n
            legend_sample(sheet, 4, 36, base - size.small * 0.36, line_colour(position), series_style(position), 1.6)
            sheet.text(46, base, truncate(label, size.width - 52, size.small), size=size.small)
    return sheet.to_drawing(
        name, f"{join_and([sanitise(c.label) for c, _ in stacked])} against engine speed", _description(of, stacked)
    )


def _key_rows(stacked: list[tuple[Channel, list[tuple[Trace, Floats, Floats]]]]) -> list[tuple[int, str]]:
    names: dict[int, str] = {}
    for _, traces in stacked:
        for trace, _, _ in traces:
            names.setdefault(trace.position, sanitise(trace.label))
    return sorted(names.items())


def _channel(
    panel: Axes, channel: Channel, traces: list[tuple[Trace, Floats, Floats]], at: list[float], head: float
) -> None:
    sheet, size = panel.sheet, panel.sheet.size
    low, high = (v if v is not None and math.isfinite(v) else None for v in (channel.low, channel.high))
    if low is not None or high is not None:
        top = panel.y(high) if high is not None else panel.top
        bottom = panel.y(low) if low is not None else panel.bottom
        sheet.box(panel.left, min(top, bottom), panel.width, abs(bottom - top), BAND, zorder=-1)
        for v in (low, high):
            if v is not None:
                sheet.line(
                    [panel.left, panel.right], [panel.y(v)] * 2, QUIET, linewidth=0.9, linestyle=(0, (5, 2)), zorder=0.2
                )
    below = head > 40  # the breaches stand under the title, not beside it
    lift, room = (12.0 + size.small, panel.width) if below else (8.0, panel.width * (0.5 if channel.breaches else 1))
    took = panel.title(sanitise(channel.label), channel.unit, lift=lift, room=room)
    panel.gridlines(at)
    for trace, x, y in traces:
        panel.curve(
            x,
            y,
            line_colour(trace.position),
            series_style(trace.position),
            linewidth=1.6,
            shift=trace.position,
            markers=4,
        )
    for b in channel.breaches:
        if math.isfinite(b.speed) and math.isfinite(b.value):
            panel.points(b.speed, b.value, CAUTION, "D", 9.0, face="none", markeredgewidth=1.8, zorder=7)
    if channel.breaches:
        words = "; ".join(sanitise(b.text) for b in channel.breaches)
        words = truncate(words, panel.width - (0 if below else took) - 34, size.small)
        at_mark, start = (panel.left + 5, panel.left + 14) if below else (panel.right - 5, panel.right - 14)
        sheet.line(
            [at_mark],
            [panel.top - 8 - size.small * 0.36],
            CAUTION,
            marker="D",
            markersize=6.0,
            markerfacecolor="none",
            markeredgewidth=1.5,
        )
        anchor = "left" if below else "right"
        sheet.text(start, panel.top - 8, words, anchor=anchor, colour=CAUTION, size=size.small)


def _description(of: Channels, stacked: list[tuple[Channel, list[tuple[Trace, Floats, Floats]]]]) -> str:
    parts = []
    for channel, traces in stacked:
        unit = channel.unit
        ranges = [
            f"{sanitise(t.label)} {number(float(np.nanmin(y)))} to {with_unit(number(float(np.nanmax(y))), unit)}"
            for t, _, y in traces
        ]
        text = f"{sanitise(channel.label)}: {join_and(ranges)}."
        if channel.low is not None and channel.high is not None:
            text += f" Guideline {number(channel.low)} to {with_unit(number(channel.high), unit)}."
        elif channel.low is not None:
            text += f" Guideline {with_unit(number(channel.low), unit)} or more."
        elif channel.high is not None:
            text += f" Guideline {with_unit(number(channel.high), unit)} or less."
        text += "".join(f" Caution: {sanitise(b.text).rstrip('.')}." for b in channel.breaches)
        parts.append(text)
    return f"Logged channels against engine speed in {sanitise(of.speed_unit)}. {' '.join(parts)}"
