"""A chart of a page with its section and caption: as a request, and drawn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from builder.draw.chart_cache import ChartCache, ChartRequest, draw_all
from builder.draw.drawing import Drawing


@dataclass(frozen=True)
class PageChart:
    """A chart that is to be drawn, where on the page it belongs, and what to see in it."""

    section: str
    request: ChartRequest
    caption: str

    def drawn(self, drawing: Drawing) -> PageDrawing:
        """Return the drawing with the same section and caption."""
        return PageDrawing(self.section, drawing, self.caption)


@dataclass(frozen=True)
class PageDrawing:
    """A drawing, where on the page it belongs, and what to see in it."""

    section: str
    drawing: Drawing
    caption: str


def draw_page_charts(charts: Sequence[PageChart], cache: ChartCache) -> tuple[PageDrawing, ...]:
    """Return these charts drawn, or as the cache has them."""
    return with_drawings(charts, draw_all([chart.request for chart in charts], cache))


def with_drawings(charts: Sequence[PageChart], drawings: Sequence[Drawing]) -> tuple[PageDrawing, ...]:
    """Return the charts with their drawings; raises ValueError where they are not as many."""
    return tuple(chart.drawn(drawing) for chart, drawing in zip(charts, drawings, strict=True))
