"""Where the fasteners of a joint are, and in which order they are tightened."""

from __future__ import annotations

import math
from dataclasses import dataclass

from builder.draw.canvas import Canvas
from builder.draw.chart_cache import chart
from builder.draw.drawing import Drawing
from builder.draw.footnotes import draw_notes, notes_height
from builder.draw.labels import sanitise, truncate
from builder.draw.style import INK, METAL, QUIET, RULE, WIDE, Size


@dataclass(frozen=True)
class TighteningPattern:
    """Fasteners at (x, y), in the order of tightening, in any one unit; y grows upwards.

    ``remark`` is a note below (steps and torques).
    """

    label: str
    fasteners: tuple[tuple[float, float], ...]
    remark: str = ""


@chart
def tightening_pattern(data: TighteningPattern, *, name: str = "tightening_pattern", size: Size = WIDE) -> Drawing:
    """Draw numbered fasteners to scale, a fine line leading from each to the next.

    Raises ValueError without fasteners, or where a position is not a number.
    """
    label, points = sanitise(data.label), data.fasteners
    if not points:
        raise ValueError(f"{label}: no fastener to draw")
    if not all(math.isfinite(v) and abs(v) < 1e9 for p in points for v in p):
        raise ValueError(f"{label}: every fastener needs a position in numbers")
    left, right = min(x for x, _ in points), max(x for x, _ in points)
    low, high = min(y for _, y in points), max(y for _, y in points)
    scale = min(
        (size.width - 60) / (right - left) if right > left else math.inf,
        (340.0 if size.narrow else 300.0) / (high - low) if high > low else math.inf,
    )
    scale = 1.0 if math.isinf(scale) else scale
    span_x, span_y = (right - left) * scale, (high - low) * scale
    nearest = min((math.dist(p, q) for i, p in enumerate(points) for q in points[i + 1 :] if p != q), default=math.inf)
    radius = max(min(15.0, nearest * scale * 0.46), 5.0)
    height = span_y + 2 * radius + 34
    canvas = Canvas(size.width, 26 + height + notes_height((), size, data.remark), size)
    canvas.text(4, 16, truncate(label, size.width - 8, size.text, True), bold=True)
    start, top, edge = (size.width - span_x) / 2, 26 + 17 + radius, radius + 10
    pixels = [(start + (x - left) * scale, top + (high - y) * scale) for x, y in points]
    canvas.box(
        start - edge, top - edge, span_x + 2 * edge, span_y + 2 * edge, edgecolor=RULE, linewidth=1.2, zorder=0.1
    )
    path = {"linewidth": 0.9, "linestyle": (0, (2, 2)), "zorder": 0.5}
    canvas.line([x for x, _ in pixels], [y for _, y in pixels], QUIET, **path)
    letters = min(size.text, radius * 1.15)
    for n, (x, y) in enumerate(pixels, start=1):
        canvas.circle(x, y, radius, METAL, INK, linewidth=2.0 if n == 1 else 1.1, zorder=1 + n * 1e-4)
        canvas.text(x, y + letters * 0.36, str(n), anchor="center", size=letters, bold=True)
    draw_notes(canvas, (), 26 + height - 8, data.remark)
    count = f"{len(points)} {'fastener' if len(points) == 1 else 'fasteners'}"
    description = f"{label}: {count} numbered in the order of tightening. "
    description += _order_path(points, left, right, low, high)
    description += f" {sanitise(data.remark)}" if data.remark else ""
    return canvas.to_drawing(name, f"{label}: order of tightening", description)


def _order_path(points: tuple[tuple[float, float], ...], left: float, right: float, low: float, high: float) -> str:
    """Return roughly where each number is, for readers who cannot see the pattern."""

    def third(value: float, first: float, last: float, names: tuple[str, str, str]) -> str:
        if last == first:
            return ""
        return names[min(2, int(3 * (value - first) / (last - first)))]

    places = []
    for n, (x, y) in enumerate(points, start=1):
        parts = [third(y, low, high, ("lower", "middle", "upper")), third(x, left, right, ("left", "center", "right"))]
        places.append(" ".join(part for part in (str(n), *parts) if part))
    return f"Places: {', '.join(places)}."
