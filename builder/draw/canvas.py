"""The canvas that a chart is drawn on, measured in pixels from the top left."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from builder.draw.drawing import Drawing, Link, PlotArea
from builder.draw.labels import sanitise, truncate, width
from builder.draw.style import INK, MEASURING_FONT, QUIET, Size

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.lines import Line2D

_SETTINGS = {
    "text.parse_math": False,
    "font.family": [MEASURING_FONT],
    "axes.unicode_minus": True,
    "lines.scale_dashes": False,
    "mathtext.fontset": "stix",
}


class Canvas:
    """Collects shapes and labels, whose positions are pixels from the top left, as in a page and in SVG."""

    def __init__(self, width: float, height: float, size: Size) -> None:
        """Begin an empty canvas of this width and height [px]."""
        self.width, self.height, self.size = float(width), float(height), size
        self._shapes: list[Artist] = []
        self._labels: list[Artist] = []
        self._links: dict[str, Sequence[Link]] = {}

    def text(
        self,
        x: float,
        y: float,
        text: str,
        *,
        anchor: str = "left",
        colour: str = INK,
        size: float | None = None,
        bold: bool = False,
        suffix: str = "",
        suffix_colour: str = QUIET,
        series: int | None = None,
    ) -> None:
        """Write a label whose baseline starts (ends, is centered) at x, y [px].

        The suffix follows it on the line in plain weight and its own color. What would leave the canvas is cut.
        A label that belongs to one of several lines carries the index of that line as its ``series``.
        """
        from builder.draw.svg_backend import Label

        size = size or self.size.text
        room = {"left": self.width - x, "right": x, "center": 2 * min(x, self.width - x)}[anchor]
        text = truncate(text, room, size, bold)
        if not text:
            return
        if suffix:
            suffix = truncate(suffix, room - width(text, size, bold) - 9, size)
        if suffix and unicodedata.bidirectional(text[-1]) in ("R", "AL"):
            # After a word that runs leftwards the suffix would be drawn into it, but for a mark that ends it.
            suffix = f"\u200e{suffix}"
        weight = "bold" if bold else "normal"
        style = {"ha": anchor, "color": colour, "size": size, "weight": weight, "gid": series_id(series)}
        self._labels.append(Label(x, y, text, suffix=suffix, suffix_colour=suffix_colour, **style))

    def line(self, xs: npt.ArrayLike, ys: npt.ArrayLike, colour: str = QUIET, **style: Any) -> Line2D:
        """Draw a polyline through pixels and return it; NaN breaks it. ``style`` goes to matplotlib's Line2D."""
        from matplotlib.lines import Line2D

        style = {"linewidth": 1.0, "solid_capstyle": "butt", "dash_capstyle": "butt", **style}
        line = Line2D(np.asarray(xs), np.asarray(ys), color=colour, **style)
        self._shapes.append(line)
        return line

    def area(self, xs: npt.ArrayLike, ys: npt.ArrayLike, fill: str = "none", **style: Any) -> None:
        """Draw a closed shape through pixels."""
        from matplotlib.patches import Polygon

        style = {"linewidth": 0.0, **style}
        corners = np.column_stack([np.asarray(xs), np.asarray(ys)])
        self._shapes.append(Polygon(corners, closed=True, facecolor=fill, **style))

    def box(self, x: float, y: float, width: float, height: float, fill: str = "none", **style: Any) -> None:
        """Draw a rectangle with its top left at x, y [px]."""
        self.area([x, x + width, x + width, x], [y, y, y + height, y + height], fill, **style)

    def circle(self, x: float, y: float, radius: float, fill: str, edge: str, linewidth: float, zorder: float) -> None:
        """Draw a circle around x, y [px]."""
        style = {"markersize": 2 * radius, "markerfacecolor": fill, "markeredgewidth": linewidth, "zorder": zorder}
        self.line([x], [y], edge, marker="o", **style)

    def add_links(self, markers: Line2D, links: Sequence[Link]) -> None:
        """Make each marker of a line lead where its link says."""
        group_id = f"links-{len(self._links)}"
        markers.set_gid(group_id)
        self._links[group_id] = links

    def to_drawing(
        self,
        name: str,
        title: str,
        description: str,
        *,
        plots: Sequence[PlotArea] = (),
        samples: Sequence[str] = (),
        decimals: int = 2,
    ) -> Drawing:
        """Return the drawing of everything on the canvas; of the same order, labels are over shapes."""
        body, size = self.body(name, decimals), (self.width, self.height)
        return Drawing(
            name, sanitise(title), sanitise(description), size, body, has_links=bool(self._links),
            plots=tuple(plots), samples=tuple(samples),
        )  # fmt: skip

    def body(self, name: str, decimals: int = 2) -> str:
        """Return the SVG elements of everything on the canvas; their ids begin with the name."""
        from builder.draw.svg_backend import render

        return render([*self._shapes, *self._labels], name, self._links, decimals)


def series_id(series: int | None) -> str | None:
    """Return the id that marks an artist as part of one of several lines, None for what belongs to all."""
    return None if series is None else f"series-{series}"


@lru_cache(maxsize=1)
def _all_settings() -> Any:
    """Return matplotlib's own defaults where a drawing depends on them, with ours over them."""
    import matplotlib

    groups = ("font.", "text.", "lines.", "patch.", "hatch.", "path.", "mathtext.", "markers.")
    merged: dict[str, Any] = {k: v for k, v in matplotlib.rcParamsDefault.items() if k.startswith(groups)}
    merged.update(_SETTINGS)
    return merged


@contextmanager
def rc_settings() -> Iterator[None]:
    """Set matplotlib for our drawings, whatever the user's own matplotlibrc says, and put it back after."""
    import matplotlib

    with matplotlib.rc_context(_all_settings()):
        yield
