"""A chart of a page with its section and caption: as a request, and drawn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

from builder.draw.chart_cache import ChartCache, ChartRequest
from builder.draw.drawing import Drawing
from builder.figures.core.guard import Guard
from builder.record.problem import Problem


@dataclass(frozen=True)
class PageChart:
    """A chart that is to be drawn, where on the page it belongs, and what to see in it."""

    section: str
    request: ChartRequest
    caption: str

    def drawn(self, drawing: Drawing) -> PageDrawing:
        """Return the drawing with the same section and caption."""
        return PageDrawing(self.section, drawing, self.caption, self.request.key)


@dataclass(frozen=True)
class PageDrawing:
    """A drawing, where on the page it belongs, and what to see in it."""

    section: str
    drawing: Drawing
    caption: str
    key: str
    """The key of the chart's request."""


def chart_guard(slug: str) -> Guard:
    """Return a guard that leaves out the charts of a build that cannot be drawn, with a warning for each."""
    return Guard(slug, "drawn", "warning")


def draw_page_charts(
    charts: Sequence[PageChart], cache: ChartCache, slug: str
) -> tuple[tuple[PageDrawing, ...], tuple[Problem, ...]]:
    """Return the charts of a build drawn, or as the cache has them, and a warning for each that cannot be drawn."""
    guard = chart_guard(slug)
    drawings = [guard.run(_name(chart), partial(_draw, chart, cache), None) for chart in charts]
    return tuple(drawing for drawing in drawings if drawing is not None), guard.problems


def _name(chart: PageChart) -> str:
    return f"the chart {chart.request.name.replace('_', ' ')!r}"


def _draw(chart: PageChart, cache: ChartCache) -> PageDrawing:
    return chart.drawn(cache.draw(chart.request))
