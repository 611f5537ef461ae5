"""A matplotlib renderer that writes small, readable SVG: real text, short numbers, each marker's shape once.

Artists draw themselves in pixels that count from the top left, as SVG does. Colors are written as attributes in
the light values of the palette, so that the drawing is right even where no style sheet is read. Imported only when
something is drawn.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import lru_cache
from itertools import groupby
from typing import Any
from xml.sax.saxutils import escape, quoteattr

import numpy as np
from matplotlib.artist import Artist
from matplotlib.backend_bases import GraphicsContextBase, RendererBase
from matplotlib.colors import to_hex
from matplotlib.path import Path
from matplotlib.text import Text
from matplotlib.transforms import Affine2D, Transform

from builder.draw.drawing import Link, format_number
from builder.draw.style import INK

_UPRIGHT = Affine2D().scale(1.0, -1.0)  # markers are defined with y upwards
_ANCHORS = {"left": "", "center": "middle", "right": "end"}
_CAPS = {"butt": "", "round": "round", "projecting": "square"}
_MOVE, _LINE, _CLOSE, _STOP = (int(code) for code in (Path.MOVETO, Path.LINETO, Path.CLOSEPOLY, Path.STOP))
_CURVES = {int(Path.CURVE3): ("q", 2), int(Path.CURVE4): ("c", 3)}
_SIMPLIFY_FROM = 12  # points; shapes with fewer have corners that are meant


class Label(Text):
    """One level line of text that begins, ends or is centered at its position, so that it needs no layout."""

    def __init__(self, *args: Any, suffix: str = "", suffix_colour: str = INK, **style: Any) -> None:
        """Set the label; the suffix follows it on the line in plain weight and its own color."""
        super().__init__(*args, **style)
        self.suffix, self.suffix_colour = suffix, suffix_colour

    def draw(self, renderer: Any) -> None:
        """Write the label."""
        renderer.open_group("text", self.get_gid())
        context = renderer.new_gc()
        context.set_foreground(self.get_color())
        x, y = self.get_unitless_position()
        renderer.draw_text(context, x, y, self.get_text(), self.get_fontproperties(), 0.0, mtext=self)
        context.restore()
        renderer.close_group("text")


class SvgRenderer(RendererBase):
    """Collects SVG elements from artists; ``links`` are, by the id of a group of markers, where each leads."""

    def __init__(self, name: str, links: Mapping[str, Sequence[Link]], decimals: int = 2) -> None:
        """Begin an empty drawing whose ids begin with this name."""
        super().__init__()
        self._name, self._links, self._decimals = name, links, decimals
        self._group_links: Sequence[Link] = ()
        self._series = ""
        self._shapes: dict[str, str] = {}  # marker ids by path data
        self._elements: list[tuple[str, str, str]] = []  # tag, style attributes, the rest of the element

    def flipy(self) -> bool:
        """Whether y counts downwards: it does."""
        return True

    def open_group(self, s: str, gid: str | None = None) -> None:
        """Begin an artist; a group of markers with this id may have links, or be part of a series."""
        self._group_links = self._links.get(gid or "", ())
        self._series = f' data-series="{gid[7:]}"' if gid and gid.startswith("series-") else ""

    def close_group(self, s: str) -> None:
        """End an artist."""
        self._series = ""

    def draw_path(self, gc: GraphicsContextBase, path: Path, transform: Transform, rgbFace: Any = None) -> None:
        """Write a path that is stroked, filled or both."""
        style = _style(gc, rgbFace) + self._series
        if (rgbFace is not None or gc.get_linewidth()) and (data := path_data(path, transform, self._decimals)):
            self._elements.append(("path", style, f' d="{data}"/>'))

    def draw_markers(
        self,
        gc: GraphicsContextBase,
        marker_path: Path,
        marker_trans: Transform,
        path: Path,
        trans: Transform,
        rgbFace: Any = None,
    ) -> None:
        """Write a reference to the marker's shape at each finite vertex, as a link where it leads anywhere."""
        shape = path_data(marker_path, marker_trans + _UPRIGHT, self._decimals)
        target = self._shapes.setdefault(shape, f"{self._name}-{len(self._shapes) + 1}")
        hollow = rgbFace is None or (len(rgbFace) == 4 and rgbFace[3] == 0)
        style = _style(gc, None if hollow else rgbFace) + self._series
        points = trans.transform(path.vertices)
        points = points[np.isfinite(points).all(axis=1)]
        for i, (x, y) in enumerate(points):
            use = f' href="#{target}" x="{format_number(x)}" y="{format_number(y)}"/>'
            if self._group_links:
                link = self._group_links[i]
                attributes = f" href={quoteattr(link.href)} aria-label={quoteattr(link.title)}"
                self._elements.append(("a", style, f"{attributes}><title>{escape(link.title)}</title><use{use}</a>"))
            else:
                self._elements.append(("use", style, use))

    def draw_text(
        self,
        gc: GraphicsContextBase,
        x: float,
        y: float,
        s: str,
        prop: Any,
        angle: float,
        ismath: Any = False,
        mtext: Any = None,
    ) -> None:
        """Write a label as text, with its suffix."""
        colour = _hex(gc.get_rgb())
        style = _attributes({
            "fill": "" if colour == INK else colour,
            "font-size": format_number(prop.get_size_in_points()),
            "font-weight": "700" if prop.get_weight() == "bold" else "",
            "text-anchor": _ANCHORS[mtext.get_horizontalalignment()],
        }) + self._series  # fmt: skip
        suffix = ""
        if mtext.suffix:
            look = _attributes({"dx": "8", "fill": mtext.suffix_colour, "font-weight": "400"})
            suffix = f"<tspan{look}>{escape(mtext.suffix)}</tspan>"
        place = f' x="{format_number(x)}" y="{format_number(y)}"'
        self._elements.append(("text", style, f"{place}>{escape(s)}{suffix}</text>"))

    def body(self) -> str:
        """Return the elements drawn so far, neighbors of one style in a group that carries it."""
        shapes = "".join(f'<path id="{target}" d="{shape}"/>' for shape, target in self._shapes.items())
        parts = [f"<defs>{shapes}</defs>"] if shapes else []
        for (tag, style), run in groupby(self._elements, key=lambda element: element[:2]):
            elements = [element[2] for element in run]
            if len(elements) > 1 and style:
                inner = "".join(f"<{tag}{rest}" for rest in elements)
                parts.append(f"<g{style}>{inner}</g>")
            else:
                parts += [f"<{tag}{style}{rest}" for rest in elements]
        return "".join(parts)


def render(artists: Sequence[Artist], name: str, links: Mapping[str, Sequence[Link]], decimals: int = 2) -> str:
    """Return the artists as SVG elements, those of a lower order first."""
    renderer = SvgRenderer(name, links, decimals)
    for artist in sorted(artists, key=Artist.get_zorder):
        artist.draw(renderer)
    return renderer.body()


@lru_cache(maxsize=256)
def _hex(colour: Any) -> str:
    return to_hex(colour)


def _attributes(values: Mapping[str, str]) -> str:
    return "".join(f' {name}="{value}"' for name, value in values.items() if value)


def _style(gc: GraphicsContextBase, face: Any) -> str:
    """Return the attributes of fill and stroke, leaving out what is SVG's default or the drawing's."""
    fill = "none" if face is None else _hex(tuple(face[:3]))
    values = {"fill": "" if fill in (INK, "#000000") else fill}
    forced_alpha = gc.get_forced_alpha()
    if forced_alpha and gc.get_alpha() != 1.0:
        values["opacity"] = format_number(gc.get_alpha())
    if not forced_alpha and face is not None and len(face) == 4 and face[3] != 1.0:
        values["fill-opacity"] = format_number(face[3])
    if width := gc.get_linewidth():
        colour = gc.get_rgb()
        values["stroke"] = _hex(tuple(colour[:3]))
        values["stroke-width"] = "" if width == 1.0 else format_number(width)
        values["stroke-linecap"] = _CAPS[gc.get_capstyle()]
        if not forced_alpha and colour[3] != 1.0:
            values["stroke-opacity"] = format_number(colour[3])
        dashes: Any = gc.get_dashes()[1]
        values["stroke-dasharray"] = ",".join(format_number(dash) for dash in dashes or ())
    return _attributes(values)


def path_data(path: Path, transform: Transform, decimals: int = 2) -> str:
    """Return a path in few characters: relative to the last point, rounded to one grid and so without drift."""
    cleaned = path.cleaned(transform=transform, remove_nans=True, curves=True)
    vertices: Any = cleaned.vertices
    codes: list[int] = np.asarray(cleaned.codes).tolist()
    starts = [i for i, code in enumerate(codes) if code == _MOVE]
    if not starts:
        return ""
    ends = [*starts[1:], codes.index(_STOP) if _STOP in codes else len(codes)]
    return "".join(
        "".join(_subpath(codes[start:end], vertices[start:end], decimals))
        for start, end in zip(starts, ends, strict=True)
        if end - start > 1
    )


def _subpath(codes: list[int], vertices: Any, decimals: int) -> Iterator[str]:
    closed = codes[-1] == _CLOSE
    if closed:
        codes, vertices = codes[:-1], vertices[:-1]
    if len(codes) > _SIMPLIFY_FROM and all(code == _LINE for code in codes[1:]):
        vertices = np.array(simplified(vertices.tolist(), 0.12 if decimals > 1 else 0.25))
        codes = codes[: len(vertices)]
    grid = np.rint(vertices * 10**decimals).astype(int).tolist()
    (x, y), last = grid[0], ""
    yield f"M{_short(x, decimals)}{_next(y, decimals)}"
    i = 1
    while i < len(codes):
        letter, count = _CURVES.get(codes[i], ("l", 1))
        points = [(px - x, py - y) for px, py in grid[i : i + count]]
        i += count
        dx, dy = points[-1]
        x, y = x + dx, y + dy
        numbers = [value for point in points for value in point]
        if letter == "l":
            if dy == 0 and (dx or len(codes) == 2):
                letter, numbers = "h", [dx]
            elif dx == 0 and dy:
                letter, numbers = "v", [dy]
            elif dx == dy == 0:
                continue
        first = _next(numbers[0], decimals) if letter == last else letter + _short(numbers[0], decimals)
        yield first + "".join(_next(number, decimals) for number in numbers[1:])
        last = letter
    if closed:
        yield "z"


@lru_cache(maxsize=65536)
def _short(value: int, decimals: int) -> str:
    return format_number(value / 10**decimals, decimals)


def _next(value: int, decimals: int) -> str:
    """Return a number that follows another: a minus separates as well as a space."""
    return _short(value, decimals) if value < 0 else f" {_short(value, decimals)}"


def simplified(points: Sequence[Sequence[float]], tolerance: float = 0.12) -> list[Sequence[float]]:
    """Return the polyline without points that are within ``tolerance`` [px] of it (Douglas and Peucker, 1973)."""
    last = len(points) - 1
    indices = {0, last}
    spans = [(0, last)] if last > 1 else []
    while spans:
        first, final = spans.pop()
        x0, y0 = points[first]
        dx, dy = points[final][0] - x0, points[final][1] - y0
        square = dx * dx + dy * dy
        largest, index = tolerance * tolerance, -1
        for i in range(first + 1, final):
            x, y = points[i][0] - x0, points[i][1] - y0
            t = min(1.0, max(0.0, (x * dx + y * dy) / square)) if square else 0.0
            distance = (x - t * dx) ** 2 + (y - t * dy) ** 2
            if distance > largest:
                largest, index = distance, i
        if index >= 0:
            indices.add(index)
            spans += [(i, j) for i, j in ((first, index), (index, final)) if j - i > 1]
    return [points[i] for i in sorted(indices)]
