"""Charts of an engine over its life: readings of several states at each position, and readings over running hours."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from builder.draw.axes import Axes, Floats, finite, floats, label_width, padded_limits, tick_labels, ticks
from builder.draw.canvas import Canvas
from builder.draw.chart_cache import chart
from builder.draw.drawing import Drawing
from builder.draw.labels import exact, number, sanitise, truncate, width, with_unit
from builder.draw.legend import LegendEntry, draw_legend, legend_height
from builder.draw.style import BAND, CAUTION, QUIET, WIDE, Mark, Size, line_colour, series_style
from builder.record.wording import join_and


@dataclass(frozen=True)
class WearState:
    """The readings of one state of the engine, a value for each position (NaN if it was not measured).

    ``half_width`` is the expanded uncertainty of each reading.
    """

    label: str
    values: tuple[float, ...]
    half_width: float = 0.0


@dataclass(frozen=True)
class WearPositions:
    """One kind of reading at every position, state by state in order of time; either limit may be missing."""

    label: str
    unit: str
    positions: tuple[str, ...]
    states: tuple[WearState, ...]
    low: float | None = None
    high: float | None = None
    decimals: int | None = None


@dataclass(frozen=True)
class HoursSeries:
    """Readings of one kind over running hours, in order of time."""

    label: str
    hours: tuple[float, ...]
    values: tuple[float, ...]


@dataclass(frozen=True)
class OverHours:
    """Readings after delivery over the hours run; ``limit`` is the most (or the least) that the shop allows."""

    label: str
    unit: str
    series: tuple[HoursSeries, ...]
    limit: float | None = None
    limit_is_least: bool = False
    decimals: int | None = None


@chart
def wear_positions(data: WearPositions, *, name: str = "wear", size: Size = WIDE) -> Drawing:
    """Draw the readings of each state side by side at every position, with their uncertainty, the limits behind.

    Raises ValueError if no state has a value, or a state has not a value for each position.
    """
    label = sanitise(data.label)
    values = [floats(state.values) for state in data.states]
    if any(along.size != len(data.positions) for along in values):
        raise ValueError(f"{label}: a state has not a value for each of {len(data.positions)} positions")
    known = finite(*values)
    if not known.size:
        raise ValueError(f"{label}: no position has a value")
    ends = [end for end in (data.low, data.high) if end is not None and math.isfinite(end)]
    spreads = [
        edge for along, state in zip(values, data.states, strict=True) for sign in (-1, 1)
        for edge in finite(along + sign * state.half_width).tolist()
    ]  # fmt: skip
    limits = padded_limits(finite(known, spreads, ends), below=0.1, above=0.1)
    height = 150.0 if size.narrow else 190.0
    values_up = ticks(limits, height, 36)
    left = label_width(tick_labels(values_up), size.small)
    entries = [
        LegendEntry(sanitise(state.label), series_style(index), line_colour(index), linewidth=0.0)
        for index, state in enumerate(data.states)
    ]
    if ends:
        entries.append(LegendEntry(f"Spec: {_limits_text(data)}", None, QUIET))
    canvas = Canvas(size.width, 30 + height + 26 + legend_height(entries) + 14, size)
    box = (left, 30.0, size.width - left - 10, height)
    axes = Axes(canvas, box, (-0.5, len(data.positions) - 0.5), limits)
    axes.title(label, sanitise(data.unit))
    _draw_limits(axes, data.low, data.high)
    axes.gridlines(values_up)
    step = min(0.22, 0.66 / max(1, len(data.states)))
    for index, (along, state) in enumerate(zip(values, data.states, strict=True)):
        offset = (index - (len(data.states) - 1) / 2) * step
        _draw_state(axes, floats(np.arange(along.size) + offset), along, state.half_width, index)
    room = axes.width / len(data.positions)
    every = max(1, math.ceil((max(width(sanitise(p), size.small) for p in data.positions) + 6) / room))
    for index, position in enumerate(data.positions):
        if index % every == 0:
            text = truncate(position, room * every - 2, size.small)
            canvas.text(
                axes.x(index), axes.bottom + 6 + size.small, text, anchor="center", colour=QUIET, size=size.small
            )
    draw_legend(canvas, entries, axes.bottom + 30 + size.small)
    return canvas.to_drawing(name, f"{label} at each position, over the life of the engine", _wear_description(data))


def _draw_state(axes: Axes, x: Floats, values: Floats, half_width: float, index: int) -> None:
    """Draw the points of one state, each with a bar of its expanded uncertainty where that can be seen."""
    colour = line_colour(index)
    xs: list[float] = []
    ys: list[float] = []
    for place, value in zip(x.tolist(), values.tolist(), strict=True):
        if math.isfinite(value) and half_width > 0:
            low, high, middle = axes.y(value - half_width), axes.y(value + half_width), axes.x(place)
            xs += [middle, middle, math.nan, middle - 2.5, middle + 2.5, math.nan, middle - 2.5, middle + 2.5, math.nan]
            ys += [low, high, math.nan, low, low, math.nan, high, high, math.nan]
    if xs:
        axes.canvas.line(xs, ys, colour, linewidth=1.2)
    known = np.isfinite(values)
    axes.points(x[known], values[known], colour, series_style(index).marker, 6.5)


def _draw_limits(axes: Axes, low: float | None, high: float | None) -> None:
    """Draw what is allowed behind the points, a line at each limit."""
    if low is None and high is None:
        return
    top = axes.y(high) if high is not None else axes.top
    bottom = axes.y(low) if low is not None else axes.bottom
    axes.canvas.box(axes.left, min(top, bottom), axes.width, abs(bottom - top), BAND, zorder=-1)
    for end in (low, high):
        if end is not None:
            axes.level(end, QUIET, linewidth=1.0, zorder=-0.8)


def _limits_text(data: WearPositions) -> str:
    unit = sanitise(data.unit)
    if data.low is not None and data.high is not None:
        return f"{number(data.low, data.decimals)} to {with_unit(number(data.high, data.decimals), unit)}"
    if data.low is not None:
        return f"min. {with_unit(number(data.low, data.decimals), unit)}"
    return f"max. {with_unit(number(data.high, data.decimals), unit)}" if data.high is not None else ""


def _wear_description(data: WearPositions) -> str:
    parts = []
    for state in data.states:
        readings = [
            f"{sanitise(position)} {number(value, data.decimals)}"
            for position, value in zip(data.positions, state.values, strict=True)
            if math.isfinite(value)
        ]
        half = f", ± {exact(state.half_width)}" if state.half_width > 0 else ""
        parts.append(f"{sanitise(state.label)}: {join_and(readings)} {sanitise(data.unit)}{half}.")
    limits = f" Spec: {_limits_text(data)}." if _limits_text(data) else ""
    return f"{sanitise(data.label)} at {len(data.positions)} positions. {' '.join(parts)}{limits}"


@chart
def over_hours(data: OverHours, *, name: str = "over_hours", size: Size = WIDE) -> Drawing:
    """Draw readings over the hours run, each series with its own mark, and the shop's limit as a line.

    Raises ValueError if there is no reading with its hours.
    """
    label = sanitise(data.label)
    lines = [(floats(series.hours), floats(series.values)) for series in data.series]
    known = finite(*(values[np.isfinite(hours)] for hours, values in lines))
    if not known.size:
        raise ValueError(f"{label}: no reading has its hours")
    limit = data.limit if data.limit is not None and math.isfinite(data.limit) else None
    hours = finite(*(hours for hours, _ in lines))
    x_limits = padded_limits(hours, below=0.04, above=0.06, start=0.0)
    y_limits = padded_limits(finite(known, [] if limit is None else [limit]), below=0.06, above=0.14, start=0.0)
    height = 130.0 if size.narrow else 180.0
    values_up = ticks(y_limits, height, 36)
    left = label_width(tick_labels(values_up), size.small)
    entries = [
        LegendEntry(sanitise(series.label), series_style(index), line_colour(index))
        for index, series in enumerate(data.series)
        if len(data.series) > 1
    ]
    canvas = Canvas(size.width, 30 + height + 48 + legend_height(entries), size)
    axes = Axes(canvas, (left, 30.0, size.width - left - 12, height), x_limits, y_limits)
    title_width = axes.title(label, sanitise(data.unit))
    axes.gridlines(values_up)
    if limit is not None:
        # Next to the title: at the line itself it would cover a curve that crosses the limit.
        axes.level(limit, CAUTION, linewidth=1.3, linestyle=(0, (5, 3)), zorder=0.7)
        text = truncate(_limit_text(data), axes.width - title_width - 12, size.small)
        canvas.text(axes.right, axes.top - 11, text, anchor="right", colour=CAUTION, size=size.small)
    for index, (along, values) in enumerate(lines):
        mark = series_style(index)
        axes.curve(along, values, line_colour(index), Mark("", mark.dashes), linewidth=1.4)
        axes.points(along, values, line_colour(index), mark.marker, 6.5)
    axes.x_axis(ticks(x_limits, axes.width, 60))
    axes.x_title("Hours since delivery")
    draw_legend(canvas, entries, axes.bottom + 48 + size.small)
    return canvas.to_drawing(name, f"{label} over running hours", _hours_description(data))


def _limit_text(data: OverHours) -> str:
    assert data.limit is not None
    text = with_unit(number(data.limit, data.decimals), sanitise(data.unit))
    return f"{'min.' if data.limit_is_least else 'max.'} {text}"


def _hours_description(data: OverHours) -> str:
    parts = []
    for series in data.series:
        readings = [
            f"{with_unit(number(value, data.decimals), sanitise(data.unit))} at {hours:g} h"
            for hours, value in zip(series.hours, series.values, strict=True)
            if math.isfinite(hours) and math.isfinite(value)
        ]
        parts.append(f"{sanitise(series.label)}: {join_and(readings)}.")
    limit = f" Limit: {_limit_text(data)}." if data.limit is not None else ""
    return f"{sanitise(data.label)} over running hours. {' '.join(parts)}{limit}"
