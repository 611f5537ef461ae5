"""Many builds as points: one figure against another, every point leading to its build."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

from builder.draw.axes import Axes, Box, finite, label_width, overlap, padded_limits, tick_labels, ticks, zero_note
from builder.draw.canvas import Canvas
from builder.draw.chart_cache import chart
from builder.draw.drawing import Drawing, Link
from builder.draw.labels import number, sanitise, truncate, width, with_unit, wrap
from builder.draw.style import INK, QUIET, WIDE, Size, line_colour, series_style
from builder.record.wording import in_sentence


@dataclass(frozen=True)
class Dot:
    """One build: its two values, its name, and where its page is."""

    x: float
    y: float
    label: str
    href: str = ""


@dataclass(frozen=True)
class Scatter:
    """One figure against another for every build; points that lack either are left out."""

    x_label: str
    x_unit: str
    y_label: str
    y_unit: str
    dots: tuple[Dot, ...]
    whole_x: bool = False  # the horizontal values are years or the like: no thousands, no decimals


_MAX_NAMED = 40  # with more points than this, none is named in the chart


_INDENT, _GAP = 19.0, 16.0  # before a name below the chart, for its number, and after it [px]


@dataclass(frozen=True)
class _Entry:
    """A name below the chart, with the number that stands for it in the chart."""

    label: str
    number: str


@chart
def scatter(data: Scatter, *, name: str = "scatter", size: Size = WIDE) -> Drawing:
    """Draw points, each a link.

    A point is named next to it, on two lines where one has no room; where points crowd, a number stands for the
    name, and the names are below. Of very many points none is named in the chart, only where it is pointed at.

    Raises ValueError if no point has both values, or a link is neither relative nor http(s).
    """
    x_name, y_name = sanitise(data.x_label), sanitise(data.y_label)
    dots = [dot for dot in data.dots if finite([dot.x, dot.y]).size == 2]
    if not dots:
        raise ValueError(f"{y_name} vs {x_name}: no build has both")
    height = 280.0 if size.narrow else 330.0
    x_limits = padded_limits(finite([dot.x for dot in dots]), below=0.07, above=0.07)
    y_limits = padded_limits(finite([dot.y for dot in dots]), below=0.1, above=0.1)
    y_ticks = ticks(y_limits, height, 44)
    left = label_width(tick_labels(y_ticks), size.small)
    box = (left, 30.0, size.width - left - 14, height)
    labels, numbered = (
        _place_labels(Axes(Canvas(size.width, 30 + height, size), box, x_limits, y_limits), dots)
        if len(dots) <= _MAX_NAMED
        else ([], [])
    )
    # A name too long for the canvas goes on in the next row, without a number.
    names = [
        _Entry(line, "" if n else str(index))
        for index, label in numbered
        for n, line in enumerate(wrap(label, size.width - 40, size.small))
    ]
    rows = _rows(names, size)
    canvas = Canvas(size.width, 30 + height + 48 + (20 * len(rows) + 6 if rows else 0), size)
    axes = Axes(canvas, box, x_limits, y_limits)
    axes.title(y_name, data.y_unit)
    axes.gridlines(y_ticks)
    _draw_points(axes, data, dots)
    for label in labels:
        for n, line in enumerate(label.lines):
            baseline = label.baseline + n * (size.small + 2)
            canvas.text(label.start, baseline, line, colour=label.colour, size=size.small, bold=label.bold)
    x_ticks = [v for v in ticks(x_limits, axes.width, 70) if not data.whole_x or v == round(v)]
    axes.x_axis(x_ticks, [f"{v:.0f}" for v in x_ticks] if data.whole_x else None)
    limits = [(y_name.lower(), y_limits)] if data.whole_x else [(y_name.lower(), y_limits), (x_name.lower(), x_limits)]
    axes.x_title(", ".join(t for t in (x_name, sanitise(data.x_unit)) if t), note=zero_note(limits))
    for n, row in enumerate(rows):
        _draw_row(canvas, row, axes.bottom + 64 + 20 * n)
    title = f"{y_name} vs {in_sentence(x_name)}"
    return canvas.to_drawing(name, title, _description(data, dots))


def _rows(entries: list[_Entry], size: Size) -> list[list[_Entry]]:
    """Return the entries in as few rows as they fit."""
    rows: list[list[_Entry]] = []
    x = math.inf
    for entry in entries:
        label = truncate(entry.label, size.width - 40, size.small)
        room = _INDENT + _GAP + width(label, size.small)
        if x + room > size.width:
            rows.append([])
            x = 8.0
        rows[-1].append(replace(entry, label=label))
        x += room
    return rows


def _draw_row(canvas: Canvas, row: list[_Entry], baseline: float) -> None:
    size = canvas.size.small
    x = 8.0
    for entry in row:
        canvas.text(x + 8, baseline, entry.number, anchor="center", colour=QUIET, size=size, bold=True)
        canvas.text(x + _INDENT, baseline, entry.label, size=size)
        x += _INDENT + width(entry.label, size) + _GAP


def _draw_points(axes: Axes, data: Scatter, dots: list[Dot]) -> None:
    """Draw the points, each with its link if it has one."""
    colour, marker = line_colour(0), series_style(0).marker
    linked, bare = [dot for dot in dots if dot.href], [dot for dot in dots if not dot.href]
    for some in (linked, bare):
        if some:
            links = [Link(dot.href, _title(data, dot)) for dot in some if dot.href]
            axes.points([dot.x for dot in some], [dot.y for dot in some], colour, marker, 9.0, links=links)


def _values(data: Scatter, dot: Dot) -> tuple[str, str]:
    x = f"{dot.x:.0f}" if data.whole_x else number(dot.x)
    return with_unit(x, data.x_unit), with_unit(number(dot.y), data.y_unit)


def _title(data: Scatter, dot: Dot) -> str:
    x, y = _values(data, dot)
    return (
        f"{sanitise(dot.label)}: {in_sentence(sanitise(data.x_label))} {x}, {in_sentence(sanitise(data.y_label))} {y}"
    )


@dataclass(frozen=True)
class _Label:
    """A label in the chart: its lines, where the first begins, and its style."""

    lines: tuple[str, ...]
    start: float
    baseline: float
    colour: str = INK
    bold: bool = False

    def box(self, size: Size) -> Box:
        """Return the room that the label takes."""
        room = max(width(line, size.small, self.bold) for line in self.lines)
        more = (len(self.lines) - 1) * (size.small + 2)
        top, bottom = self.baseline - size.small * 0.8, self.baseline + more + size.small * 0.25
        return self.start, top, self.start + room, bottom


def _place_labels(axes: Axes, dots: list[Dot]) -> tuple[list[_Label], list[tuple[int, str]]]:
    """Return every point's name or number where it covers neither a point nor a label; and the names by number."""
    size = axes.canvas.size
    taken = [(axes.x(d.x) - 6, axes.y(d.y) - 6, axes.x(d.x) + 6, axes.y(d.y) + 6) for d in dots]
    labels: list[_Label] = []

    def place(dot: Dot, forms: list[tuple[str, ...]], colour: str, bold: bool, distances: tuple[float, ...]) -> bool:
        for lines in forms:
            for start, baseline in _places(axes, dot, lines, bold, distances):
                label = _Label(lines, start, baseline, colour, bold)
                box = label.box(size)
                if _inside(box, axes) and not any(overlap(box, taken_box) for taken_box in taken):
                    taken.append(box)
                    labels.append(label)
                    return True
        return False

    crowded: list[Dot] = []
    for dot in sorted(dots, key=lambda d: (-d.y, d.x, d.label)):
        text = sanitise(dot.label)
        if text and not place(dot, [(text,), *_halves(text)], INK, False, (9.0,)):
            crowded.append(dot)
    numbered: list[tuple[int, str]] = []
    marked: list[Dot] = []
    for dot in sorted(crowded, key=lambda d: (d.x, -d.y, d.label)):
        index = next((n for n, m in enumerate(marked, 1) if _distance(axes, dot, m) < 5), 0)
        if not index:
            marked.append(dot)
            index = len(marked)
            place(dot, [(str(index),)], QUIET, True, (9.0, 14.0, 20.0))
        numbered.append((index, sanitise(dot.label)))
    return labels, numbered


def _halves(text: str) -> list[tuple[str, ...]]:
    """Return the text on two lines of about one length, if it has more than one word."""
    words = text.split(" ")
    splits = [(" ".join(words[:n]), " ".join(words[n:])) for n in range(1, len(words))]
    return [min(splits, key=lambda pair: max(map(len, pair)))] if splits else []


def _places(
    axes: Axes, dot: Dot, lines: tuple[str, ...], bold: bool, distances: tuple[float, ...]
) -> Iterator[tuple[float, float]]:
    """Yield where a label may begin: next to the point, over it, under it, at its corners."""
    small = axes.canvas.size.small
    x, y = axes.x(dot.x), axes.y(dot.y)
    room = max(width(line, small, bold) for line in lines)
    more = (len(lines) - 1) * (small + 2)
    middle = y + small * 0.36 - more / 2
    for gap in distances:
        over, under = y - gap - 1 - more, y + gap + small * 0.8
        yield x + gap, middle
        yield x - gap - room, middle
        yield x - room / 2, over
        yield x - room / 2, under
        yield x + gap, y - gap + 1 - more
        yield x + gap, y + gap - 1 + small * 0.6
        yield x - gap - room, y - gap + 1 - more
        yield x - gap - room, y + gap - 1 + small * 0.6


def _inside(box: Box, axes: Axes) -> bool:
    return box[0] > axes.left and box[2] < axes.canvas.width - 2 and box[1] > axes.top - 4 and box[3] < axes.bottom


def _distance(axes: Axes, one: Dot, another: Dot) -> float:
    return math.hypot(axes.x(one.x) - axes.x(another.x), axes.y(one.y) - axes.y(another.y))


def _description(data: Scatter, dots: list[Dot]) -> str:
    x_name, y_name = sanitise(data.x_label), sanitise(data.y_label)
    left, right = (_values(data, f(dots, key=lambda d: d.x))[0] for f in (min, max))
    low, high = min(dots, key=lambda d: d.y), max(dots, key=lambda d: d.y)
    count = "One build" if len(dots) == 1 else f"{len(dots)} builds"
    return (
        f"{count}, {in_sentence(y_name)} vs {in_sentence(x_name)}. {x_name} from {left} to {right}; "
        f"{in_sentence(y_name)} from "
        f"{_values(data, low)[1]} ({sanitise(low.label)}) to {_values(data, high)[1]} ({sanitise(high.label)})."
    )
