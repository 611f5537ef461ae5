"""Notes under a chart: cautions, with the sample of the hatching that they explain, and plain remarks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from builder.draw.axes import Axes
from builder.draw.canvas import Canvas
from builder.draw.labels import number, sanitise, wrap
from builder.draw.style import BAND, CAUTION, QUIET, Size

_INDENT = 32.0  # of a caution, for the sign before it [px]


@dataclass(frozen=True)
class CautionNote:
    """Something to be careful about, over a range of the horizontal axis or (without one) everywhere."""

    text: str
    start: float | None = None
    end: float | None = None

    def sentence(self, unit: str) -> str:
        """Return the caution as a sentence with its range."""
        text = sanitise(self.text).rstrip(".")
        if self.start is None or self.end is None:
            return f"{text}."
        return f"{text}, from {number(self.start, 0)} to {number(self.end, 0)} {unit}."


def _lines(text: str, size: Size, indent: float) -> list[str]:
    return wrap(text, size.width - indent - 6, size.small, 4)


def notes_height(cautions: Sequence[CautionNote], size: Size, remark: str = "") -> float:
    """Return the room that the notes take [px]."""
    count = sum(len(_lines(c.text, size, _INDENT)) for c in cautions) + (len(_lines(remark, size, 4)) if remark else 0)
    return count * (size.small + 5) + (12 if count else 0)


def caution_band(axes: Axes, caution: CautionNote) -> None:
    """Hatch the range of the horizontal axis that a caution covers."""
    if caution.start is None or caution.end is None:
        return
    low, high = sorted((caution.start, caution.end))
    low, high = max(low, axes.x_limits[0]), min(high, axes.x_limits[1])
    if high > low:
        _hatched_area(axes.canvas, axes.x(low), axes.top, axes.x(high) - axes.x(low), axes.height)


def _hatched_area(canvas: Canvas, x: float, y: float, width: float, height: float) -> None:
    canvas.box(x, y, width, height, BAND, zorder=-1)
    canvas.hatched(x, y, width, height, CAUTION, 8.0 if height > 30 else 5.0)


def _caution_sign(canvas: Canvas, x: float, baseline: float) -> None:
    """Draw a small triangle with a stroke in it on the baseline."""
    top = baseline - canvas.size.small + 1
    corners_y = [top, baseline + 0.5, baseline + 0.5]
    canvas.area([x, x + 7, x - 7], corners_y, "none", edgecolor=CAUTION, linewidth=1.4)
    canvas.line([x, x], [baseline - 7, baseline - 3.6], CAUTION, linewidth=1.4)


def draw_notes(canvas: Canvas, cautions: Sequence[CautionNote], y: float, remark: str = "") -> None:
    """Write the notes from this height down."""
    size = canvas.size
    step = size.small + 5
    y += 4
    for caution in cautions:
        for n, line in enumerate(_lines(caution.text, size, _INDENT)):
            y += step
            if n == 0:
                if caution.start is not None:
                    _hatched_area(canvas, 5, y - size.small + 2, 20, size.small - 2)
                else:
                    _caution_sign(canvas, 15, y)
            canvas.text(_INDENT, y, line, colour=CAUTION, size=size.small)
    for line in _lines(remark, size, 4) if remark else []:
        y += step
        canvas.text(4, y, line, colour=QUIET, size=size.small)
