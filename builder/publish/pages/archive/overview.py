"""The page of overviews: every build as a point in a drawing, each point a link."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from markupsafe import Markup

from builder.archive.fields import System
from builder.archive.groupings import overviews
from builder.archive.summary import Summary, newest_first
from builder.draw.canvas import Drawing
from builder.draw.chart_cache import reuse
from builder.draw.charts.scatter import Dot, Scatter, scatter

if TYPE_CHECKING:
    from pathlib import Path


@dataclass(frozen=True)
class Overview:
    """What one drawing of the page is made from."""

    title: str
    name: str
    of: Scatter


def overviews_of(summaries: Sequence[Summary], system: System) -> list[Overview]:
    """Every overview of these builds."""
    found = []
    for overview in overviews(newest_first(summaries)):
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
        of = Scatter(overview.x.title, x.label, overview.y.title, y.label, dots, whole_x=overview.x.slug == "year")
        found.append(Overview(overview.title, overview.slug, of))
    return found


def draw_overviews(of: Sequence[Overview], stood: Path | None) -> list[tuple[str, Markup]]:
    """The titles and drawings, ready to be set into the page; those that stand in the page as it `stood` are taken
    from there.
    """
    with reuse([stood.read_text(encoding="utf-8")] if stood else []):
        return [(each.title, inline_svg(scatter(each.of, name=each.name))) for each in of]


def inline_svg(drawing: Drawing) -> Markup:
    """A drawing to be set into a page itself, without its style sheet: that of the pages knows its colours."""
    return Markup(re.sub(r"<style>.*?</style>", "", drawing.svg, flags=re.DOTALL))
