"""Further logged channels over one speed axis, each against its guideline."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from builder.draw.axes import Axes, Floats, finite, label_width, padded_limits, paired, tick_labels, ticks, zero_note
from builder.draw.canvas import Canvas
from builder.draw.chart_cache import chart
from builder.draw.drawing import Drawing
from builder.draw.labels import number, sanitise, truncate, with_unit
from builder.draw.legend import LegendEntry, draw_legend, legend_height
from builder.draw.style import BAND, CAUTION, QUIET, WIDE, Size, line_colour, series_style
from builder.record.wording import join_and


@dataclass(frozen=True, eq=False)
class Trace:
    """One channel in one pull; ``position`` is the pull's place in the record, for its mark."""

    label: str
    speed: npt.ArrayLike
    values: npt.ArrayLike
    position: int = 0


@dataclass(frozen=True)
class ViolationPoint:
    """Where a channel leaves its guideline, in a few words: next to a title there is little room."""

    speed: float
    value: float
    text: str


@dataclass(frozen=True)
class ChannelTrace:
    """One quantity in every pull that logged it, with the shop's guideline if there is one."""

    label: str
    unit: str
    traces: tuple[Trace, ...]
    low: float | None = None
    high: float | None = None
    violations: tuple[ViolationPoint, ...] = ()


@dataclass(frozen=True)
class Channels:
    """The channels of a session from top to bottom."""

    channels: tuple[ChannelTrace, ...]


@dataclass(frozen=True, eq=False)
class _ChannelPanel:
    """One channel with the curves that have a known point."""

    channel: ChannelTrace
    curves: list[tuple[Trace, Floats, Floats]]

    @property
    def values(self) -> Floats:
        """Everything that the upward axis must reach: curves, guideline and violations."""
        limits = [v for v in (self.channel.low, self.channel.high) if v is not None]
        return finite(*(y for _, _, y in self.curves), limits, [v.value for v in self.channel.violations])


@chart
def channels(data: Channels, *, name: str = "channels", size: Size = WIDE) -> Drawing:
    """Draw the channels stacked over one speed axis, guidelines as bands, violations marked and named.

    Raises ValueError if no channel has a known point.
    """
    panels = _panels(data)
    x_limits = padded_limits(finite(*(x for panel in panels for _, x, _ in panel.curves)), below=0.02, above=0.02)
    height = 78.0 if size.narrow else 92.0
    y_limits = [padded_limits(panel.values, below=0.08, above=0.08) for panel in panels]
    y_ticks = [ticks(limits, height, 30) for limits in y_limits]
    left = max(label_width(tick_labels(values), size.small) for values in y_ticks)
    # On a phone the violations are below the title, not next to it.
    headers = [44.0 if panel.channel.violations and size.narrow else 28.0 for panel in panels]
    legend = _legend(panels)
    bottom = sum(headers) + len(panels) * (height + 6)
    canvas = Canvas(size.width, bottom + 46 + (legend_height(legend) + 8 if legend else 0), size)
    top, plots = 0.0, []
    for panel, limits, values, header in zip(panels, y_limits, y_ticks, headers, strict=True):
        top += header
        axes = Axes(canvas, (left, top, size.width - left - 14, height), x_limits, limits)
        plots.append(axes.area)
        _draw_panel(axes, panel, values)
        top += height + 6
    axes.x_axis(ticks(x_limits, axes.width, 64), drop=2)
    # Temperatures have no zero that means anything; one note for all panels is enough.
    note = zero_note([("", limits) for limits in (x_limits, *y_limits)])
    axes.x_title("Engine speed, rpm", 40, "Not all axes start at 0" if note else "")
    draw_legend(canvas, legend, bottom + 56)
    title = f"{join_and([sanitise(panel.channel.label) for panel in panels])} against engine speed"
    return canvas.to_drawing(name, title, _description(data, panels), plots=plots)


def _panels(data: Channels) -> list[_ChannelPanel]:
    """Return the channels with a known point. Raises ValueError if there is none."""
    panels = []
    for channel in data.channels:
        curves = []
        for trace in channel.traces:
            x, y = paired(trace.speed, trace.values, f"{sanitise(channel.label)}, {sanitise(trace.label)}")
            y = np.where(np.isfinite(x), y, np.nan)
            if np.isfinite(y).any():
                curves.append((trace, x, y))
        if curves:
            panels.append(_ChannelPanel(channel, curves))
    if not panels:
        raise ValueError("no channel with a known point")
    return panels


def _legend(panels: list[_ChannelPanel]) -> list[LegendEntry]:
    """Return an entry for each pull, in the order of the record; none for one pull alone."""
    names: dict[int, str] = {}
    for panel in panels:
        for trace, _, _ in panel.curves:
            names.setdefault(trace.position, sanitise(trace.label))
    if len(names) < 2:
        return []
    return [
        LegendEntry(name, series_style(position), line_colour(position), linewidth=1.6)
        for position, name in sorted(names.items())
    ]


def _draw_panel(axes: Axes, panel: _ChannelPanel, values: list[float]) -> None:
    channel = panel.channel
    _draw_guideline(axes, channel)
    narrow = bool(channel.violations) and axes.canvas.size.narrow
    lift = 12.0 + axes.canvas.size.small if narrow else 8.0
    room = axes.width * (0.5 if channel.violations and not narrow else 1)
    title_width = axes.title(sanitise(channel.label), channel.unit, lift=lift, room=room)
    axes.gridlines(values)
    for trace, x, y in panel.curves:
        colour, mark = line_colour(trace.position), series_style(trace.position)
        axes.curve(x, y, colour, mark, linewidth=1.6, shift=trace.position, markers=4)
    if channel.violations:
        _draw_violations(axes, channel, narrow, axes.width if narrow else axes.width - title_width)


def _draw_guideline(axes: Axes, channel: ChannelTrace) -> None:
    low, high = (v if v is not None and math.isfinite(v) else None for v in (channel.low, channel.high))
    if low is None and high is None:
        return
    top = axes.y(high) if high is not None else axes.top
    bottom = axes.y(low) if low is not None else axes.bottom
    axes.canvas.box(axes.left, min(top, bottom), axes.width, abs(bottom - top), BAND, zorder=-1)
    for limit in (low, high):
        if limit is not None:
            axes.level(limit, QUIET, linewidth=0.9, linestyle=(0, (5, 2)), zorder=0.2)


def _draw_violations(axes: Axes, channel: ChannelTrace, narrow: bool, room: float) -> None:
    """Mark each violation, and name all of them above the panel: at the left if narrow, else at the right."""
    canvas, small = axes.canvas, axes.canvas.size.small
    for violation in channel.violations:
        if math.isfinite(violation.speed) and math.isfinite(violation.value):
            axes.points(violation.speed, violation.value, CAUTION, "D", 9.0, face="none", markeredgewidth=1.8, zorder=7)
    text = truncate("; ".join(sanitise(v.text) for v in channel.violations), room - 34, small)
    sign_x, text_x = (axes.left + 5, axes.left + 14) if narrow else (axes.right - 5, axes.right - 14)
    sign = {"marker": "D", "markersize": 6.0, "markerfacecolor": "none", "markeredgewidth": 1.5}
    canvas.line([sign_x], [axes.top - 8 - small * 0.36], CAUTION, **sign)
    canvas.text(text_x, axes.top - 8, text, anchor="left" if narrow else "right", colour=CAUTION, size=small)


def _description(data: Channels, panels: list[_ChannelPanel]) -> str:
    parts = []
    for panel in panels:
        channel, unit = panel.channel, panel.channel.unit
        ranges = [
            f"{sanitise(trace.label)} {number(float(np.nanmin(y)))} to {with_unit(number(float(np.nanmax(y))), unit)}"
            for trace, _, y in panel.curves
        ]
        text = f"{sanitise(channel.label)}: {join_and(ranges)}."
        if channel.low is not None and channel.high is not None:
            text += f" Guideline {number(channel.low)} to {with_unit(number(channel.high), unit)}."
        elif channel.low is not None:
            text += f" Guideline {with_unit(number(channel.low), unit)} or more."
        elif channel.high is not None:
            text += f" Guideline {with_unit(number(channel.high), unit)} or less."
        text += "".join(f" Caution: {sanitise(violation.text).rstrip('.')}." for violation in channel.violations)
        parts.append(text)
    return f"Curves against engine speed in rpm. {' '.join(parts)}"
