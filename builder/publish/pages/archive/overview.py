"""The page of overviews: every build as a point in a drawing, each point a link."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from builder.archive.fields import System
from builder.archive.groupings import overview_points
from builder.archive.summary import Summary, newest_first
from builder.draw.chart_cache import ChartCache, ChartRequest
from builder.draw.charts.scatter import Dot, Scatter, scatter


@dataclass(frozen=True)
class Overview:
    """One chart of the page with its title."""

    title: str
    request: ChartRequest


def overview_charts(summaries: Sequence[Summary], system: System) -> list[Overview]:
    """Return every overview of these builds."""
    charts = []
    for overview in overview_points(newest_first(summaries)):
        x, y = overview.x.unit(system), overview.y.unit(system)
        dots = tuple(
            Dot(
                point.x * x.factor,
                point.y * y.factor,
                point.summary.title,
                f"builds/{point.summary.slug}/index.html",
            )
            for point in overview.points
        )
        data = Scatter(overview.x.title, x.label, overview.y.title, y.label, dots, whole_x=overview.x.slug == "year")
        charts.append(Overview(overview.title, scatter.request(data, name=overview.slug)))
    return charts


def draw_overviews(charts: Sequence[Overview], cache: ChartCache) -> list[tuple[str, Markup]]:
    """Return the titles and the SVG of the charts, ready to be set into the page."""
    return [(chart.title, Markup(cache.draw(chart.request).inline_svg)) for chart in charts]
