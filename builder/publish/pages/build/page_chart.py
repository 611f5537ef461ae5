"""A chart of a page with its section and caption: as a request, and drawn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

from markupsafe import Markup

from builder.draw.chart_cache import ChartCache, ChartRequest
from builder.draw.drawing import Drawing
from builder.figures.core.guard import Guard
from builder.publish.english import English
from builder.publish.pages.build.readout import Readout
from builder.record.problem import Problem


@dataclass(frozen=True)
class PageChart:
    """A chart that is to be drawn, where on the page it belongs, and what to see in it.

    An inline chart is part of the page, any other a file of its own. With a readout it can be read off.
    """

    section: str
    request: ChartRequest
    caption: str
    readout: Readout | None = None
    inline: bool = False

    def drawn(self, drawing: Drawing) -> PageDrawing:
        """Return the drawing with the same section and caption."""
        return PageDrawing(self.section, drawing, self.caption, self.request.key, self.readout, self.inline)


@dataclass(frozen=True)
class PageDrawing:
    """A drawing, where on the page it belongs, and what to see in it."""

    section: str
    drawing: Drawing
    caption: str
    key: str
    """The key of the chart's request."""
    readout: Readout | None = None
    inline: bool = False

    @property
    def forms(self) -> Sequence[Markup]:
        """The SVG of the chart and of its narrow form, to be set into the page."""
        return [Markup(form.inline_svg.strip()) for form in self.drawing.forms]

    @property
    def readout_json(self) -> Markup:
        """The data for reading the chart off, to be set into the page."""
        return Markup(self.readout.json(self.drawing)) if self.readout else Markup("")

    @property
    def samples(self) -> Sequence[Markup]:
        """The SVG elements of a piece of each line, for the legend."""
        return [Markup(sample) for sample in self.drawing.samples]


def chart_files(drawings: Sequence[PageDrawing], english: English) -> dict[str, bytes]:
    """Return the files of the charts that are not part of the page itself, by name."""
    files = (item.drawing for item in drawings if not item.inline)
    return {f"{drawing.name}.svg": english.markup(drawing.svg).encode() for drawing in files}


def chart_guard(slug: str) -> Guard:
    """Return a guard that leaves out the charts of a build that cannot be drawn, with a warning for each."""
    return Guard(slug, "drawn", "warning")


def draw_page_charts(
    charts: Sequence[PageChart], cache: ChartCache, slug: str
) -> tuple[tuple[PageDrawing, ...], tuple[Problem, ...]]:
    """Return the charts of a build drawn, or as the cache has them, and a warning for each that cannot be drawn."""
    guard = chart_guard(slug)
    cache.draw_ahead(chart.request for chart in charts)
    drawings = [guard.run(_name(chart), partial(_draw, chart, cache), None) for chart in charts]
    return tuple(drawing for drawing in drawings if drawing is not None), guard.problems


def _name(chart: PageChart) -> str:
    return f"the chart {chart.request.name.replace('_', ' ')!r}"


def _draw(chart: PageChart, cache: ChartCache) -> PageDrawing:
    return chart.drawn(cache.draw(chart.request))
