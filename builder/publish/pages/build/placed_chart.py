"""A chart with its place on the page: as a request, and drawn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from builder.draw.chart_cache import ChartCache, ChartRequest, draw_all
from builder.draw.drawing import Drawing


@dataclass(frozen=True)
class PlacedChart:
    """A chart that is to be drawn, where on the page it belongs, and what to see in it."""

    section: str
    request: ChartRequest
    caption: str

    def drawn(self, drawing: Drawing) -> PlacedDrawing:
        """Return the same place and caption with the drawing."""
        return PlacedDrawing(self.section, drawing, self.caption)


@dataclass(frozen=True)
class PlacedDrawing:
    """A drawing, where on the page it belongs, and what to see in it."""

    section: str
    drawing: Drawing
    caption: str


def draw_placed(charts: Sequence[PlacedChart], cache: ChartCache) -> tuple[PlacedDrawing, ...]:
    """Return these charts drawn, or as the cache has them."""
    return with_drawings(charts, draw_all([chart.request for chart in charts], cache))


def with_drawings(charts: Sequence[PlacedChart], drawings: Sequence[Drawing]) -> tuple[PlacedDrawing, ...]:
    """Return each chart's place with its drawing; raises ValueError where they are not as many."""
    return tuple(chart.drawn(drawing) for chart, drawing in zip(charts, drawings, strict=True))
