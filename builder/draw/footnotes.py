"""Notes under a drawing: cautions, with the sample of the hatching that they explain, and plain remarks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from builder.draw.canvas import Canvas
from builder.draw.labels import number, sanitise, wrap
from builder.draw.style import BAND, CAUTION, QUIET, Size


@dataclass(frozen=True)
class Caution:
    """Something to be careful about, over a range of the horizontal axis or (without one) everywhere."""

    text: str
    start: float | None = None
    end: float | None = None

    def sentence(self, unit: str) -> str:
        """The caution as a sentence with its range."""
        text = sanitise(self.text).rstrip(".")
        if self.start is None or self.end is None:
            return f"{text}."
        return f"{text}, from {number(self.start, 0)} to {number(self.end, 0)} {unit}."


def _lines(text: str, size: Size, indent: float) -> list[str]:
    return wrap(text, size.width - indent - 6, size.small, 4)


def notes_height(cautions: Sequence[Caution], size: Size, remark: str = "") -> float:
    """Room that the notes take [px]."""
    count = sum(len(_lines(c.text, size, 32)) for c in cautions) + (len(_lines(remark, size, 4)) if remark else 0)
    return count * (size.small + 5) + (12 if count else 0)


def zone(sheet: Canvas, x: float, y: float, width: float, height: float) -> None:
    """The look of a region that a caution covers."""
    sheet.box(x, y, width, height, BAND, zorder=-1)
    sheet.hatched(x, y, width, height, CAUTION, 8.0 if height > 30 else 5.0)


def caution_sign(sheet: Canvas, x: float, y: float) -> None:
    """A small triangle with a stroke in it, standing on the baseline y."""
    top = y - sheet.size.small + 1
    sheet.area([x, x + 7, x - 7], [top, y + 0.5, y + 0.5], "none", edgecolor=CAUTION, linewidth=1.4)
    sheet.line([x, x], [y - 7, y - 3.6], CAUTION, linewidth=1.4)


def notes(sheet: Canvas, cautions: Sequence[Caution], y: float, remark: str = "") -> None:
    """Write the notes from this height down."""
    size = sheet.size
    step = size.small + 5
    y += 4
    for caution in cautions:
        for n, line in enumerate(_lines(caution.text, size, 32)):
            y += step
            if n == 0:
                if caution.start is not None:
                    zone(sheet, 5, y - size.small + 2, 20, size.small - 2)
                else:
                    caution_sign(sheet, 15, y)
            sheet.text(32, y, line, colour=CAUTION, size=size.small)
    for line in _lines(remark, size, 4) if remark else []:
        y += step
        sheet.text(4, y, line, colour=QUIET, size=size.small)
