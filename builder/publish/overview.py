"""The page of overviews: every build as a point in a drawing, each point a link."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from markupsafe import Markup

from builder.archive.fields import System
from builder.archive.lists import overviews
from builder.archive.summary import Summary, newest_first
from builder.draw.scatter import Dot, Scatter, scatter
from builder.publish.pages import Files, system_of_shop, writer
from builder.record.shop import Shop

if TYPE_CHECKING:
    import jinja2

    from builder.draw.drawing import Drawing


def overview_page(summaries: Sequence[Summary], shop: Shop, environment: jinja2.Environment) -> Files:
    """The page, by its path below the pages folder."""
    drawn = [(title, inlined(drawing)) for title, drawing in _drawings(summaries, system_of_shop(shop))]
    return {"overview.md": writer(shop, environment)("overview", drawings=drawn)}


def _drawings(summaries: Sequence[Summary], system: System) -> Iterator[tuple[str, Drawing]]:
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
        yield overview.title, scatter(of, name=overview.slug)


def inlined(drawing: Drawing) -> Markup:
    """A drawing to be set into a page itself, without its style sheet: that of the pages knows its colours."""
    return Markup(re.sub(r"<style>.*?</style>", "", drawing.svg, flags=re.DOTALL))
