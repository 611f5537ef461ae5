"""The legend below a chart: a sample of each line with its marker, a name, and what else is known of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from builder.draw.canvas import Canvas
from builder.draw.labels import truncate, width
from builder.draw.style import BAND, INK, QUIET, WIDE, Mark

_STEP = 20.0  # from one line to the next [px]
_SAMPLE = (4.0, 36.0)  # from where to where a sample line is drawn [px]
_TEXT_X = 46.0


@dataclass(frozen=True)
class LegendEntry:
    """One line or shaded area of a chart; without a mark it is an area.

    ``details`` follow the label, the first on its line and each further one below it; ``value`` is at the right end.
    """

    label: str
    mark: Mark | None
    colour: str
    linewidth: float = 1.4
    text_colour: str = INK
    bold: bool = False
    details: tuple[str, ...] = ()
    value: str = ""

    @property
    def lines(self) -> int:
        """How many lines the entry takes."""
        return max(1, len(self.details))


def legend_height(entries: Sequence[LegendEntry]) -> float:
    """Return the room that the legend takes [px]."""
    return _STEP * sum(entry.lines for entry in entries)


def line_sample(entry: LegendEntry, name: str) -> str:
    """Return the SVG elements of the piece of line of an entry, 40 px wide and 16 px high, for a legend in HTML."""
    canvas = Canvas(40, 16, WIDE)
    _draw_sample(canvas, 8, entry.colour, entry.mark or Mark("", ()), entry.linewidth)
    return canvas.body(name, decimals=1)


def draw_legend(canvas: Canvas, entries: Sequence[LegendEntry], baseline: float) -> None:
    """Write the entries below each other, the first on this baseline."""
    size = canvas.size.small
    for entry in entries:
        if entry.mark is None:
            canvas.box(10, baseline - size + 2, 20, size - 2, BAND, edgecolor=QUIET, linewidth=0.8)
        else:
            _draw_sample(canvas, baseline - size * 0.36, entry.colour, entry.mark, entry.linewidth)
        value_width = width(entry.value, size, entry.bold) + 14 if entry.value else 6
        canvas.text(canvas.width - 4, baseline, entry.value, anchor="right", size=size, bold=entry.bold)
        label = truncate(entry.label, canvas.width - _TEXT_X - value_width, size, entry.bold)
        first = entry.details[0] if entry.details else ""
        canvas.text(
            _TEXT_X, baseline, label, colour=entry.text_colour, size=size, bold=entry.bold,
            suffix=first, suffix_colour=INK,
        )  # fmt: skip
        for n, line in enumerate(entry.details[1:], start=1):
            x = _TEXT_X + width(label, size, entry.bold) + 8
            canvas.text(x, baseline + n * _STEP, line, size=size)
        baseline += _STEP * entry.lines


def _draw_sample(canvas: Canvas, y: float, colour: str, mark: Mark, linewidth: float) -> None:
    """Draw a short piece of a curve with its marker."""
    dashes = {"linestyle": (0, mark.dashes)} if mark.dashes else {}
    canvas.line(_SAMPLE, [y, y], colour, linewidth=linewidth, **dashes)
    canvas.line([sum(_SAMPLE) / 2], [y], colour, marker=mark.marker, markersize=6.0, markeredgewidth=1.0)
