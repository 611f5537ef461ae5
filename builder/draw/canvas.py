"""The finished drawing, and the sheet it is made on: a figure measured in pixels from the top left."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from builder.draw.labels import sanitise, truncate, width
from builder.draw.style import FONT_STACK, INK, MEASURING_FONT, QUIET, Size
from builder.draw.svg_backend import Link, Tail, tidied

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.lines import Line2D

_WIDE = re.compile(r"<svg [^>]*><style>[^<]*</style><svg [^>]*>(<svg .*?</svg>\n)</svg>", re.DOTALL)
_STYLE = re.compile(r"<style>.*?</style>", re.DOTALL)
_NAME = re.compile(r"[a-z][a-z0-9_-]{0,79}")
_SETTINGS = {
    "svg.fonttype": "none",
    "svg.hashsalt": "millbook",
    "svg.image_inline": True,
    "text.parse_math": False,
    "font.family": [MEASURING_FONT],
    "axes.unicode_minus": True,
    "path.simplify": False,
    "lines.scale_dashes": False,
    "mathtext.fontset": "stix",
}


@dataclass(frozen=True)
class Drawing:
    """One picture: the SVG, its size [px], and the same told in words with the numbers.

    ``name`` prefixes every id in the SVG, so several drawings can stand inlined on one page. ``narrow`` is the size
    of the narrow form where the SVG holds one beside the wide form (see forms.py).
    """

    name: str
    svg: str
    title: str
    description: str
    width: int
    height: int
    narrow: tuple[int, int] | None = None

    def for_pdf(self, font: str = FONT_STACK) -> str:
        """The SVG for a reader that knows no style sheets (a PDF maker): wide, in light colours, in the given type."""
        from xml.sax.saxutils import quoteattr

        wide = found[1] if self.narrow and (found := _WIDE.match(self.svg)) else self.svg
        bare = _STYLE.sub("", wide, count=1).replace('fill="currentColor"', f'fill="{INK}"', 1)
        return bare.replace(f"font-family={quoteattr(FONT_STACK)}", f"font-family={quoteattr(font)}", 1)


class Canvas:
    """What is drawn, addressed in pixels from the top left, as the page and the SVG are."""

    def __init__(self, width: float, height: float, size: Size) -> None:
        """An empty sheet of this width and height [px]."""
        from builder.draw.svg_canvas import downwards

        self.width, self.height, self.size = float(width), float(height), size
        self._down = downwards(self.height)
        self._shapes: list[Artist] = []
        self._labels: list[Artist] = []
        self.links: dict[str, Sequence[Link]] = {}
        self.tails: dict[str, Tail] = {}

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
        then: str = "",
        then_colour: str = QUIET,
    ) -> None:
        """A label whose baseline starts (ends, is centred) at x, y [px].

        ``then`` follows it on the line in plain weight and its own colour. What would leave the sheet is cut.
        """
        from builder.draw.svg_canvas import Label

        size = size or self.size.text
        room = {"left": self.width - x, "right": x, "center": 2 * min(x, self.width - x)}[anchor]
        text = truncate(text, room, size, bold)
        if then:
            then = truncate(then, room - width(text, size, bold) - 9, size)
        if not text:
            return
        weight = "bold" if bold else "normal"
        made = Label(x, y, text, ha=anchor, color=colour, size=size, weight=weight, transform=self._down)
        self._labels.append(made)
        if then:
            gid = f"tail-{len(self.tails)}"
            made.set_gid(gid)
            # After a word that runs leftwards the tail would be drawn into it, but for a mark that ends it.
            turned = unicodedata.bidirectional(text[-1]) in ("R", "AL")
            self.tails[gid] = Tail(f"\u200e{then}" if turned else then, then_colour)

    def line(self, xs: npt.ArrayLike, ys: npt.ArrayLike, colour: str = QUIET, **look: Any) -> Line2D:
        """A polyline through pixels; NaN breaks it. ``look`` goes to matplotlib's Line2D."""
        from matplotlib.lines import Line2D

        look = {"linewidth": 1.0, "solid_capstyle": "butt", "dash_capstyle": "butt", **look}
        made = Line2D(np.asarray(xs), np.asarray(ys), color=colour, transform=self._down, **look)
        self._shapes.append(made)
        return made

    def area(self, xs: npt.ArrayLike, ys: npt.ArrayLike, fill: str = "none", **look: Any) -> None:
        """A closed shape through pixels."""
        from matplotlib.patches import Polygon

        look = {"linewidth": 0.0, **look}
        corners = np.column_stack([np.asarray(xs), np.asarray(ys)])
        self._shapes.append(Polygon(corners, closed=True, facecolor=fill, transform=self._down, **look))

    def box(self, x: float, y: float, width: float, height: float, fill: str = "none", **look: Any) -> None:
        """A rectangle with its top left at x, y [px]."""
        self.area([x, x + width, x + width, x], [y, y, y + height, y + height], fill, **look)

    def hatched(self, x: float, y: float, width: float, height: float, colour: str, apart: float = 8.0) -> None:
        """Slanting lines over a rectangle: a region that can be told without colour, and read through."""
        xs: list[float] = []
        ys: list[float] = []
        nan = float("nan")
        start = -height + (height % apart) / 2 + apart / 2
        while start < width:
            # From the lower left upwards: x runs with start, y against it, cut to the rectangle.
            first, last = max(start, 0.0), min(start + height, width)
            if last > first:
                xs += [x + first, x + last, nan]
                ys += [y + height - (first - start), y + height - (last - start), nan]
            start += apart
        if xs:
            self.line(xs, ys, colour, linewidth=0.8, alpha=0.45, zorder=-0.5)

    def to_drawing(self, name: str, title: str, description: str) -> Drawing:
        """The drawing of everything put on the sheet."""
        from builder.draw.svg_canvas import render

        size = (self.width, self.height)
        made = render([*self._shapes, *self._labels], *size)  # of the same order, labels lie over shapes
        return make_drawing(made, name, title, description, size, self.links, self.tails)


def make_drawing(
    made: str,
    name: str,
    title: str,
    description: str,
    size: tuple[float, float],
    links: Mapping[str, Sequence[Link]] | None = None,
    tails: Mapping[str, Tail] | None = None,
    colour: str = INK,
    decimals: int = 2,
) -> Drawing:
    """The drawing of what matplotlib made. Raises ValueError where the name cannot stand in an id."""
    if not _NAME.fullmatch(name):
        raise ValueError(f"a drawing's name is of small letters, digits, - and _, not {name!r}")
    title, description = sanitise(title), sanitise(description)
    svg = tidied(
        made,
        name=name,
        size=size,
        title=title,
        description=description,
        links=links,
        tails=tails,
        colour=colour,
        decimals=decimals,
    )
    return Drawing(name, svg, title, description, round(size[0]), round(size[1]))


@lru_cache(maxsize=1)
def _all_settings() -> Any:
    """matplotlib's own defaults where a drawing depends on them, and ours over them."""
    import matplotlib

    groups = ("font.", "text.", "svg.", "lines.", "patch.", "hatch.", "path.", "mathtext.", "markers.", "agg.")
    merged: dict[str, Any] = {k: v for k, v in matplotlib.rcParamsDefault.items() if k.startswith(groups)}
    merged.update(_SETTINGS)
    return merged


@contextmanager
def rc_settings() -> Iterator[None]:
    """matplotlib set for our drawings, whatever the reader's own matplotlibrc says, and put back after."""
    import matplotlib

    with matplotlib.rc_context(_all_settings()):
        yield
