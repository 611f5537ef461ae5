"""Notes under a chart: cautions and plain remarks."""

from __future__ import annotations

from collections.abc import Sequence

from builder.draw.canvas import Canvas
from builder.draw.labels import wrap
from builder.draw.style import CAUTION, QUIET, Size

_INDENT = 32.0  # of a caution, for the sign before it [px]


def _lines(text: str, size: Size, indent: float) -> list[str]:
    return wrap(text, size.width - indent - 6, size.small, 4)


def notes_height(cautions: Sequence[str], size: Size, remark: str = "") -> float:
    """Return the room that the notes take [px]."""
    count = sum(len(_lines(text, size, _INDENT)) for text in cautions) + (len(_lines(remark, size, 4)) if remark else 0)
    return count * (size.small + 5) + (12 if count else 0)


def _caution_sign(canvas: Canvas, x: float, baseline: float) -> None:
    """Draw a small triangle with a stroke in it on the baseline."""
    top = baseline - canvas.size.small + 1
    corners_y = [top, baseline + 0.5, baseline + 0.5]
    canvas.area([x, x + 7, x - 7], corners_y, "none", edgecolor=CAUTION, linewidth=1.4)
    canvas.line([x, x], [baseline - 7, baseline - 3.6], CAUTION, linewidth=1.4)


def draw_notes(canvas: Canvas, cautions: Sequence[str], y: float, remark: str = "") -> None:
    """Write the notes from this height down."""
    size = canvas.size
    step = size.small + 5
    y += 4
    for caution in cautions:
        for n, line in enumerate(_lines(caution, size, _INDENT)):
            y += step
            if n == 0:
                _caution_sign(canvas, 15, y)
            canvas.text(_INDENT, y, line, colour=CAUTION, size=size.small)
    for line in _lines(remark, size, 4) if remark else []:
        y += step
        canvas.text(4, y, line, colour=QUIET, size=size.small)
