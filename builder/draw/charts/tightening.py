"""Where the fasteners of a joint are, and in which order they are tightened."""

from __future__ import annotations

import math
from dataclasses import dataclass

from builder.draw.canvas import Canvas
from builder.draw.chart_cache import chart
from builder.draw.drawing import Drawing
from builder.draw.footnotes import notes, notes_height
from builder.draw.labels import sanitise, truncate, width
from builder.draw.style import INK, METAL, QUIET, RULE, WIDE, Size


@dataclass(frozen=True)
class TighteningPattern:
    """Fasteners at (x, y), in the order of tightening, in any one unit; y grows upwards.

    ``left`` and ``right`` say what lies beyond the sides of the joint ("front"); ``remark`` is a note below
    (steps and torques).
    """

    label: str
    fasteners: tuple[tuple[float, float], ...]
    left: str = ""
    right: str = ""
    remark: str = ""


@chart
def tightening_pattern(of: TighteningPattern, *, name: str = "tightening_pattern", size: Size = WIDE) -> Drawing:
    """Numbered fasteners to scale, a fine line leading from each to the next.

    Raises ValueError without fasteners, or where a position is not a number.
    """
    points = of.fasteners
    if not points:
        raise ValueError(f"{sanitise(of.label)}: no fastener to draw")
    if not all(math.isfinite(v) and abs(v) < 1e9 for p in points for v in p):
        raise ValueError(f"{sanitise(of.label)}: every fastener needs a position in numbers")
    left, right = min(x for x, _ in points), max(x for x, _ in points)
    low, high = min(y for _, y in points), max(y for _, y in points)
    sides = [truncate(t, size.width * 0.2, size.small) for t in (of.left, of.right)]
    border = max(width(t, size.small) for t in sides) + (46 if any(sides) else 30)
    room = size.width - 2 * border
    across, up = right - left, high - low
    scale = min(room / across if across else math.inf, (340.0 if size.narrow else 300.0) / up if up else math.inf)
    scale = 1.0 if math.isinf(scale) else scale
    nearest = min(
        (math.dist(p, q) for i, p in enumerate(points) for q in points[i + 1 :] if p != q),
        default=math.inf,
    )
    radius = max(min(15.0, nearest * scale * 0.46), 5.0)
    tall = up * scale + 2 * radius + 34
    sheet = Canvas(size.width, 26 + tall + notes_height((), size, of.remark), size)
    sheet.text(4, 16, truncate(of.label, size.width - 8, size.text, True), bold=True)
    start = (size.width - across * scale) / 2

    def at(p: tuple[float, float]) -> tuple[float, float]:
        return start + (p[0] - left) * scale, 26 + 17 + radius + (high - p[1]) * scale

    where = [at(p) for p in points]
    edge = radius + 10
    sheet.box(
        start - edge, _top(where) - edge, across * scale + 2 * edge, up * scale + 2 * edge,
        "none", edgecolor=RULE, linewidth=1.2, zorder=0.1,
    )  # fmt: skip
    sheet.line([x for x, _ in where], [y for _, y in where], QUIET, linewidth=0.9, linestyle=(0, (2, 2)), zorder=0.5)
    letters = min(size.text, radius * 1.15)
    for n, (x, y) in enumerate(where, start=1):
        sheet.circle(x, y, radius, METAL, INK, linewidth=2.0 if n == 1 else 1.1, zorder=1 + n * 1e-4)
        sheet.text(x, y + letters * 0.36, str(n), anchor="center", size=letters, bold=True)
    middle = (min(y for _, y in where) + max(y for _, y in where)) / 2 + size.small * 0.36
    if sides[0]:
        sheet.text(start - edge - 8, middle, sides[0], anchor="right", colour=QUIET, size=size.small)
    if sides[1]:
        sheet.text(start + across * scale + edge + 8, middle, sides[1], colour=QUIET, size=size.small)
    notes(sheet, (), 26 + tall - 8, of.remark)
    told = (
        f"{sanitise(of.label)}: {len(points)} {'fastener' if len(points) == 1 else 'fasteners'} numbered in the order "
    )
    told += "of tightening. " + _order_path(points, left, right, low, high)
    told += f" {sanitise(of.remark)}" if of.remark else ""
    return sheet.to_drawing(name, f"{sanitise(of.label)}: order of tightening", told)


def _top(where: list[tuple[float, float]]) -> float:
    """Height on the sheet of the uppermost fastener [px]."""
    return min(y for _, y in where)


def _order_path(points: tuple[tuple[float, float], ...], left: float, right: float, low: float, high: float) -> str:
    """Roughly where each number is, for who cannot see the pattern."""

    def part(value: float, first: float, last: float, names: tuple[str, str, str]) -> str:
        if last == first:
            return ""
        return names[min(2, int(3 * (value - first) / (last - first)))]

    places = []
    for n, (x, y) in enumerate(points, start=1):
        words = [part(y, low, high, ("lower", "middle", "upper")), part(x, left, right, ("left", "centre", "right"))]
        place = " ".join(w for w in words if w)
        places.append(f"{n} {place}".strip())
    return f"Places: {', '.join(places)}."
