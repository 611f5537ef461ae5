"""Many builds as points: one figure against another, every point leading to its build."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from builder.draw.axes import Axes, finite, floats, label_width, padded_limits, tick_labels, ticks
from builder.draw.canvas import Canvas
from builder.draw.chart_cache import chart
from builder.draw.drawing import Drawing, Link
from builder.draw.labels import number, sanitise, truncate, width, with_unit, wrap
from builder.draw.style import ACCENT, INK, QUIET, WIDE, Size, line_colour, series_style


@dataclass(frozen=True)
class Dot:
    """One build: where it stands, what it is called, and where its page is.

    ``group`` is the index of its family in the picture's groups. ``title`` is what is said when the point
    is pointed at; left out, it is the label with both values. ``here`` brings a point forward.
    """

    x: float
    y: float
    label: str
    href: str = ""
    group: int = 0
    title: str = ""
    here: bool = False


@dataclass(frozen=True)
class Scatter:
    """One figure against another for every build; points that lack either are left out."""

    x_label: str
    x_unit: str
    y_label: str
    y_unit: str
    dots: tuple[Dot, ...]
    groups: tuple[str, ...] = ()
    whole_x: bool = False  # the horizontal values are years or the like: no thousands, no parts


_NAMED = 40  # with more points than this, none is named in the picture


@chart
def scatter(of: Scatter, *, name: str = "scatter", size: Size = WIDE) -> Drawing:
    """Points with a marker and a colour for each family, each a link.

    A point is named beside it, on two lines where one has no room; where points crowd, a number stands for the
    name, and the names below. Of very many points none is named in the picture, only where it is pointed at.

    Raises ValueError if no point has both values, or a link is neither relative nor http(s).
    """
    dots = [d for d in of.dots if floats([d.x, d.y]).size == finite([d.x, d.y]).size]
    if not dots:
        raise ValueError(f"{sanitise(of.y_label)} against {sanitise(of.x_label)}: no build has both")
    tall = 280.0 if size.narrow else 330.0
    across = padded_limits(finite([d.x for d in dots]), below=0.07, above=0.07)
    up = padded_limits(finite([d.y for d in dots]), below=0.1, above=0.1)
    at = ticks(up, tall, 44)
    left = label_width(tick_labels(at), size.small)
    used = sorted({d.group for d in dots})
    named = [(g, sanitise(of.groups[g])) for g in used if 0 <= g < len(of.groups)]
    rows = _key_rows(named, size)
    box = (left, 30.0, size.width - left - 14, tall)
    names, numbered = (
        _placed(Axes(Canvas(size.width, 30 + tall, size), box, across, up), dots) if len(dots) <= _NAMED else ([], [])
    )
    # A name too long for the sheet goes on in the next row, without a number.
    lines = [(which, wrap(label, size.width - 40, size.small)) for which, label in numbered]
    below = _key_rows([(which * (not n), line) for which, some in lines for n, line in enumerate(some)], size)
    count = len(rows) + len(below)
    sheet = Canvas(size.width, 30 + tall + 48 + 20 * count + (6 if count else 0), size)
    panel = Axes(sheet, box, across, up)
    panel.title(sanitise(of.y_label), of.y_unit)
    panel.gridlines(at)
    for group in used:
        _points(panel, of, group, [d for d in dots if d.group == group])
    for d in dots:
        if d.here:
            panel.points(d.x, d.y, ACCENT, "o", 15.0, face="none", markeredgewidth=1.8)
    for name_of in names:
        for n, line in enumerate(name_of.lines):
            base = name_of.base + n * (size.small + 2)
            sheet.text(name_of.start, base, line, colour=name_of.colour, size=size.small, bold=name_of.bold)
    foot = [v for v in ticks(across, panel.width, 70) if not of.whole_x or v == round(v)]
    panel.x_axis(foot, [f"{v:.0f}" for v in foot] if of.whole_x else None)
    words = ", ".join(t for t in (sanitise(of.x_label), sanitise(of.x_unit)) if t)
    sheet.text(panel.right, panel.bottom + 38, truncate(words, panel.width, size.text), anchor="right", colour=QUIET)
    for n, row in enumerate(rows):
        x = 8.0
        base = panel.bottom + 64 + 20 * n
        for group, label in row:
            sheet.line(
                [x + 4],
                [base - size.small * 0.36],
                line_colour(group),
                marker=series_style(group).marker,
                markersize=8.0,
            )
            sheet.text(x + 15, base, label, size=size.small)
            x += 15 + width(label, size.small) + 20
    for n, row in enumerate(below, start=len(rows)):
        x = 8.0
        for which, label in row:
            base = panel.bottom + 64 + 20 * n
            sheet.text(x + 8, base, str(which or ""), anchor="center", colour=QUIET, size=size.small, bold=True)
            sheet.text(x + 19, base, label, size=size.small)
            x += 19 + width(label, size.small) + 16
    title = f"{sanitise(of.y_label)} against {sanitise(of.x_label).lower()}"
    return sheet.to_drawing(name, title, _description(of, dots, named))


def _key_rows(named: list[tuple[int, str]], size: Size) -> list[list[tuple[int, str]]]:
    """Names, each with its marker or number before it, in as few rows as they fit."""
    rows: list[list[tuple[int, str]]] = []
    x = math.inf
    for group, label in named:
        label = truncate(label, size.width - 40, size.small)
        wide = 35 + width(label, size.small)
        if x + wide > size.width:
            rows.append([])
            x = 8.0
        rows[-1].append((group, label))
        x += wide
    return rows


def _points(panel: Axes, of: Scatter, group: int, dots: list[Dot]) -> None:
    """One family's points, those with a link as one run of links."""
    linked = [d for d in dots if d.href]
    for some, gid in ((linked, f"links-{group}"), ([d for d in dots if not d.href], "")):
        if not some:
            continue
        colour, look = line_colour(group), series_style(group)
        made = panel.points([d.x for d in some], [d.y for d in some], colour, look.marker, 9.0)
        if gid:
            made.set_gid(gid)
            panel.sheet.links[gid] = [Link(d.href, _title(of, d)) for d in some]


def _value(of: Scatter, d: Dot) -> tuple[str, str]:
    x = f"{d.x:.0f}" if of.whole_x else number(d.x)
    return with_unit(x, of.x_unit), with_unit(number(d.y), of.y_unit)


def _title(of: Scatter, d: Dot) -> str:
    if d.title:
        return sanitise(d.title)
    x, y = _value(of, d)
    return f"{sanitise(d.label)}: {sanitise(of.x_label).lower()} {x}, {sanitise(of.y_label).lower()} {y}"


@dataclass(frozen=True)
class _Label:
    """Words in the picture: their lines, where the first begins, and their look."""

    lines: tuple[str, ...]
    start: float
    base: float
    colour: str = INK
    bold: bool = False


_Box = tuple[float, float, float, float]


def _placed(panel: Axes, dots: list[Dot]) -> tuple[list[_Label], list[tuple[int, str]]]:
    """Every point's name or number where it covers neither a point nor other words; and the names by number."""
    size = panel.sheet.size
    boxes = [(panel.x(d.x) - 6, panel.y(d.y) - 6, panel.x(d.x) + 6, panel.y(d.y) + 6) for d in dots]
    labels: list[_Label] = []
    crowded: list[Dot] = []

    def place(d: Dot, forms: list[tuple[str, ...]], colour: str, bold: bool, far: tuple[float, ...]) -> bool:
        for lines in forms:
            for start, base in _places(panel, d, lines, bold, far):
                box = _box(lines, start, base, size, bold)
                if _inside(box, panel) and not any(_over(box, other) for other in boxes):
                    boxes.append(box)
                    labels.append(_Label(lines, start, base, colour, bold))
                    return True
        return False

    for d in sorted(dots, key=lambda d: (not d.here, -d.y, d.x, d.label)):
        text = sanitise(d.label)
        colour = ACCENT if d.here else INK
        if text and not place(d, [(text,), *_halves(text)], colour, d.here, (12.0 if d.here else 9.0,)):
            crowded.append(d)
    named: list[tuple[int, str]] = []
    marked: list[Dot] = []
    for d in sorted(crowded, key=lambda d: (d.x, -d.y, d.label)):
        at = next((n for n, m in enumerate(marked, 1) if _distance(panel, d, m) < 5), 0)
        if not at:
            marked.append(d)
            at = len(marked)
            place(d, [(str(at),)], QUIET, True, (9.0, 14.0, 20.0))
        named.append((at, sanitise(d.label)))
    return labels, named


def _halves(text: str) -> list[tuple[str, ...]]:
    """The words on two lines of about one length."""
    words = text.split(" ")
    parted = [(" ".join(words[:n]), " ".join(words[n:])) for n in range(1, len(words))]
    return [min(parted, key=lambda pair: max(map(len, pair)))] if parted else []


def _places(
    panel: Axes, d: Dot, lines: tuple[str, ...], bold: bool, far: tuple[float, ...]
) -> Iterator[tuple[float, float]]:
    """Where words may begin: beside the point, over it, under it, at its corners."""
    small = panel.sheet.size.small
    x, y = panel.x(d.x), panel.y(d.y)
    wide = max(width(line, small, bold) for line in lines)
    more = (len(lines) - 1) * (small + 2)
    middle = y + small * 0.36 - more / 2
    for gap in far:
        over, under = y - gap - 1 - more, y + gap + small * 0.8
        yield x + gap, middle
        yield x - gap - wide, middle
        yield x - wide / 2, over
        yield x - wide / 2, under
        yield x + gap, y - gap + 1 - more
        yield x + gap, y + gap - 1 + small * 0.6
        yield x - gap - wide, y - gap + 1 - more
        yield x - gap - wide, y + gap - 1 + small * 0.6


def _box(lines: tuple[str, ...], start: float, base: float, size: Size, bold: bool) -> _Box:
    wide = max(width(line, size.small, bold) for line in lines)
    more = (len(lines) - 1) * (size.small + 2)
    return start, base - size.small * 0.8, start + wide, base + more + size.small * 0.25


def _inside(box: _Box, panel: Axes) -> bool:
    return box[0] > panel.left and box[2] < panel.sheet.width - 2 and box[1] > panel.top - 4 and box[3] < panel.bottom


def _over(one: _Box, other: _Box) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def _distance(panel: Axes, one: Dot, other: Dot) -> float:
    return math.hypot(panel.x(one.x) - panel.x(other.x), panel.y(one.y) - panel.y(other.y))


def _description(of: Scatter, dots: list[Dot], named: list[tuple[int, str]]) -> str:
    xs, ys = floats([d.x for d in dots]), floats([d.y for d in dots])
    low, high = (dots[int(i)] for i in (ys.argmin(), ys.argmax()))
    count = "One build" if len(dots) == 1 else f"{len(dots)} builds"
    left, right = (_value(of, dots[int(i)])[0] for i in (xs.argmin(), xs.argmax()))
    told = f"{count}, {sanitise(of.y_label).lower()} against {sanitise(of.x_label).lower()}. "
    told += f"{sanitise(of.x_label)} from {left} to {right}; {sanitise(of.y_label).lower()} from "
    told += f"{_value(of, low)[1]} ({sanitise(low.label)}) to {_value(of, high)[1]} ({sanitise(high.label)})."
    if len(named) > 1:
        told += f" Families: {', '.join(label for _, label in named)}."
    here = [_title(of, d) for d in dots if d.here]
    return told + "".join(f" Marked: {t}." for t in here)
