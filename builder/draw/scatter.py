"""Many builds as points: one figure against another, every point leading to its build."""

from __future__ import annotations

import math
from dataclasses import dataclass

from builder.draw.chart import Panel, finite, floats, limits, margin, tick_labels, ticks
from builder.draw.drawing import Drawing, Sheet
from builder.draw.picture import picture
from builder.draw.style import ACCENT, INK, QUIET, WIDE, Size, line_colour, mark
from builder.draw.svg import Link
from builder.draw.text import clean, fit, number, width, with_unit


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


@picture
def scatter(of: Scatter, *, name: str = "scatter", size: Size = WIDE) -> Drawing:
    """Points with a marker and a colour for each family, named where there is room, each a link.

    Raises ValueError if no point has both values, or a link is neither relative nor http(s).
    """
    dots = [d for d in of.dots if floats([d.x, d.y]).size == finite([d.x, d.y]).size]
    if not dots:
        raise ValueError(f"{clean(of.y_label)} against {clean(of.x_label)}: no build has both")
    tall = 280.0 if size.narrow else 330.0
    across = limits(finite([d.x for d in dots]), below=0.07, above=0.07)
    up = limits(finite([d.y for d in dots]), below=0.1, above=0.1)
    at = ticks(up, tall, 44)
    left = margin(tick_labels(at), size.small)
    used = sorted({d.group for d in dots})
    named = [(g, clean(of.groups[g])) for g in used if 0 <= g < len(of.groups)]
    rows = _key_rows(named, size)
    sheet = Sheet(size.width, 30 + tall + 48 + 20 * len(rows) + (6 if rows else 0), size)
    panel = Panel(sheet, (left, 30, size.width - left - 14, tall), across, up)
    panel.title(clean(of.y_label), of.y_unit)
    panel.rules(at)
    for group in used:
        _points(panel, of, group, [d for d in dots if d.group == group])
    for d in dots:
        if d.here:
            panel.points(d.x, d.y, ACCENT, "o", 15.0, face="none", markeredgewidth=1.8)
    if len(dots) <= _NAMED:
        _names(panel, dots)
    foot = [v for v in ticks(across, panel.width, 70) if not of.whole_x or v == round(v)]
    panel.foot(foot, [f"{v:.0f}" for v in foot] if of.whole_x else None)
    words = ", ".join(t for t in (clean(of.x_label), clean(of.x_unit)) if t)
    sheet.text(panel.right, panel.bottom + 38, fit(words, panel.width, size.text), anchor="right", colour=QUIET)
    for n, row in enumerate(rows):
        x = 8.0
        base = panel.bottom + 64 + 20 * n
        for group, label in row:
            sheet.line(
                [x + 4], [base - size.small * 0.36], line_colour(group), marker=mark(group).marker, markersize=8.0
            )
            sheet.text(x + 15, base, label, size=size.small)
            x += 15 + width(label, size.small) + 20
    title = f"{clean(of.y_label)} against {clean(of.x_label).lower()}"
    return sheet.finished(name, title, _told(of, dots, named))


def _key_rows(named: list[tuple[int, str]], size: Size) -> list[list[tuple[int, str]]]:
    """The families' names in as few rows as they fit."""
    rows: list[list[tuple[int, str]]] = []
    x = math.inf
    for group, label in named:
        label = fit(label, size.width - 40, size.small)
        wide = 35 + width(label, size.small)
        if x + wide > size.width:
            rows.append([])
            x = 8.0
        rows[-1].append((group, label))
        x += wide
    return rows


def _points(panel: Panel, of: Scatter, group: int, dots: list[Dot]) -> None:
    """One family's points, those with a link as one run of links."""
    linked = [d for d in dots if d.href]
    for some, gid in ((linked, f"links-{group}"), ([d for d in dots if not d.href], "")):
        if not some:
            continue
        colour, look = line_colour(group), mark(group)
        made = panel.points([d.x for d in some], [d.y for d in some], colour, look.marker, 9.0)
        if gid:
            made.set_gid(gid)
            panel.sheet.links[gid] = [Link(d.href, _title(of, d)) for d in some]


def _value(of: Scatter, d: Dot) -> tuple[str, str]:
    x = f"{d.x:.0f}" if of.whole_x else number(d.x)
    return with_unit(x, of.x_unit), with_unit(number(d.y), of.y_unit)


def _title(of: Scatter, d: Dot) -> str:
    if d.title:
        return clean(d.title)
    x, y = _value(of, d)
    return f"{clean(d.label)}: {clean(of.x_label).lower()} {x}, {clean(of.y_label).lower()} {y}"


def _names(panel: Panel, dots: list[Dot]) -> None:
    """Names beside their points wherever they cover neither a point nor another name."""
    sheet, size = panel.sheet, panel.sheet.size
    boxes = [(panel.x(d.x) - 6, panel.y(d.y) - 6, panel.x(d.x) + 6, panel.y(d.y) + 6) for d in dots]
    for d in sorted(dots, key=lambda d: (not d.here, -d.y, d.x, d.label)):
        x, y = panel.x(d.x), panel.y(d.y)
        text = fit(d.label, 130 if size.narrow else 190, size.small, d.here)
        wide = width(text, size.small, d.here)
        gap = 12.0 if d.here else 9.0
        for start, base in (
            (x + gap, y + size.small * 0.36),
            (x - gap - wide, y + size.small * 0.36),
            (x - wide / 2, y - gap - 1),
            (x - wide / 2, y + gap + size.small * 0.8),
            (x + gap, y - 8),
            (x + gap, y + 8 + size.small * 0.6),
        ):
            box = (start, base - size.small * 0.8, start + wide, base + size.small * 0.25)
            inside = (
                box[0] > panel.left and box[2] < sheet.width - 2 and box[1] > panel.top - 4 and box[3] < panel.bottom
            )
            if inside and not any(
                box[0] < other[2] and other[0] < box[2] and box[1] < other[3] and other[1] < box[3] for other in boxes
            ):
                boxes.append(box)
                colour = ACCENT if d.here else INK
                sheet.text(start, base, text, colour=colour, size=size.small, bold=d.here)
                break


def _told(of: Scatter, dots: list[Dot], named: list[tuple[int, str]]) -> str:
    xs, ys = floats([d.x for d in dots]), floats([d.y for d in dots])
    low, high = (dots[int(i)] for i in (ys.argmin(), ys.argmax()))
    count = "One build" if len(dots) == 1 else f"{len(dots)} builds"
    left, right = (_value(of, dots[int(i)])[0] for i in (xs.argmin(), xs.argmax()))
    told = f"{count}, {clean(of.y_label).lower()} against {clean(of.x_label).lower()}. "
    told += f"{clean(of.x_label)} from {left} to {right}; {clean(of.y_label).lower()} from "
    told += f"{_value(of, low)[1]} ({clean(low.label)}) to {_value(of, high)[1]} ({clean(high.label)})."
    if len(named) > 1:
        told += f" Families: {', '.join(label for _, label in named)}."
    here = [_title(of, d) for d in dots if d.here]
    return told + "".join(f" Marked: {t}." for t in here)
