"""The page of charts: every build as a point. Without its script it shows a few charts and a table of their values."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from builder.archive.fields import BY_SLUG, System, choice_of, number_of
from builder.archive.groupings import overview_points
from builder.archive.summary import Summary, newest_first
from builder.draw.chart_cache import ChartCache, ChartRequest
from builder.draw.charts.scatter import Dot, Scatter, scatter

_TABLE_CHOICES = ("family", "fuel")
_MAX_ROWS = 400
"""With more builds than that, the page has no table: the list of all builds is a page of its own."""


@dataclass(frozen=True)
class Overview:
    """One chart of the page with its title."""

    title: str
    request: ChartRequest


@dataclass(frozen=True)
class OverviewTable:
    """The values of the charts: the titles of the columns, and for each build its slug and its cells."""

    head: tuple[str, ...]
    rows: tuple[tuple[str, tuple[str, ...]], ...]
    first_number: int
    """The index of the first column of numbers; all that follow are numbers."""


def overview_pairs(summaries: Sequence[Summary]) -> str:
    """Return the fields of each chart as the page's script reads them, `y/x y/x`."""
    return " ".join(f"{overview.y.slug}/{overview.x.slug}" for overview in overview_points(summaries))


def overview_table(summaries: Sequence[Summary], system: System) -> OverviewTable | None:
    """Return the values of all charts, newest build first; None where there are none, or too many for a page."""
    points = overview_points(summaries)
    slugs = {point.summary.slug for overview in points for point in overview.points}
    if not 0 < len(slugs) <= _MAX_ROWS:
        return None
    numbers = list(dict.fromkeys(field for overview in points for field in (overview.x, overview.y)))
    choices = [BY_SLUG[slug] for slug in _TABLE_CHOICES]
    head = [
        ", ".join(filter(None, (field.title, field.unit(system).label if field in numbers else "")))
        for field in (*choices, *numbers)
    ]
    rows = []
    for summary in newest_first(summaries):
        if summary.slug not in slugs:
            continue
        values = ((field, number_of(summary, field)) for field in numbers)
        cells = ("–" if value is None else field.unit(system).show(value) for field, value in values)
        rows.append((summary.slug, (summary.title, *(choice_of(summary, field) or "–" for field in choices), *cells)))
    return OverviewTable(("Build", *head), tuple(rows), 1 + len(choices))


def overview_charts(summaries: Sequence[Summary], system: System) -> list[Overview]:
    """Return every overview of these builds."""
    charts = []
    for overview in overview_points(newest_first(summaries)):
        x, y = overview.x.unit(system), overview.y.unit(system)
        dots = tuple(
            Dot(point.x * x.factor, point.y * y.factor, point.summary.title, f"builds/{point.summary.slug}/index.html")
            for point in overview.points
        )
        data = Scatter(overview.x.title, x.label, overview.y.title, y.label, dots, whole_x=overview.x.slug == "year")
        charts.append(Overview(overview.title, scatter.request(data, name=overview.slug)))
    return charts


def draw_overviews(charts: Sequence[Overview], cache: ChartCache) -> list[tuple[str, Markup]]:
    """Return the titles and the SVG of the charts, ready to be set into the page."""
    return [(chart.title, Markup(cache.draw(chart.request).inline_svg)) for chart in charts]
