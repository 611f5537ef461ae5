"""From matplotlib's SVG to one worth publishing: small, the same bytes every time, real text, described.

matplotlib writes a group for every artist, a style for every element and six decimals for every number.
What is kept here are the shapes, as presentation attributes in the light colours of the palette, so that
the picture is right even where no style sheet is understood.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from xml.etree import ElementTree
from xml.sax.saxutils import escape, quoteattr

from builder.draw.style import FONT_STACK, INK, formula_sheet, style_sheet

SVG = "http://www.w3.org/2000/svg"
# What a run of neighbours may share in one group around them.
_SHARED = (
    "fill",
    "stroke",
    "stroke-width",
    "stroke-dasharray",
    "stroke-linecap",
    "font-size",
    "font-weight",
    "text-anchor",
    "opacity",
    "fill-opacity",
    "stroke-opacity",
    "clip-path",
)
_DEFAULTS = {
    "stroke-linecap": "butt",
    "stroke-width": "1",
    "stroke-dashoffset": "0",
    "text-anchor": "start",
    "font-weight": "400",
}
_TOKEN = re.compile(r"[MLQCzZ]|-?\d+(?:\.\d+)?(?:e-?\d+)?")
_ARGUMENTS = {"M": 2, "L": 2, "Q": 4, "C": 6, "Z": 0}
_SHORTHAND = re.compile(r"(?:(\d{3}|bold) )?([\d.]+)px")


@dataclass
class _Node:
    tag: str
    attributes: dict[str, str]
    children: list[_Node] = field(default_factory=list)
    text: str = ""


@dataclass(frozen=True)
class Link:
    """Where a marked thing in the drawing leads, and what it says when pointed at."""

    href: str
    title: str

    def __post_init__(self) -> None:
        """Refuse what could run as script: a link is relative, or http(s)."""
        scheme = re.match(r"([a-zA-Z][a-zA-Z0-9+.-]*):", self.href)
        if any(c <= " " or c == "\x7f" for c in self.href):
            raise ValueError(f"a link must not hold blanks or control characters: {self.href!r}")
        if scheme and scheme.group(1).lower() not in ("http", "https"):
            raise ValueError(f"a link must be relative, or http or https, not {self.href!r}")


@dataclass(frozen=True)
class Tail:
    """More text on the same line in another look, right after a label however wide its type turns out."""

    text: str
    colour: str


def format_number(value: float, decimals: int = 2) -> str:
    """A coordinate without what the eye cannot see: ``-0.50`` becomes ``-.5``."""
    text = f"{value:.{decimals}f}".rstrip("0").rstrip(".")
    if text in ("-0", ""):
        return "0"
    return text.replace("0.", ".", 1) if text.startswith(("0.", "-0.")) else text


def simplified(points: list[tuple[float, float]], tolerance: float = 0.12) -> list[tuple[float, float]]:
    """The polyline without points that lie within ``tolerance`` [px] of it (Douglas and Peucker, 1973)."""
    last = len(points) - 1
    keep = {0, last}
    spans = [(0, last)] if last > 1 else []
    while spans:
        first, final = spans.pop()
        x0, y0 = points[first]
        dx, dy = points[final][0] - x0, points[final][1] - y0
        square = dx * dx + dy * dy
        worst, at = tolerance * tolerance, -1
        for i in range(first + 1, final):
            x, y = points[i][0] - x0, points[i][1] - y0
            t = min(1.0, max(0.0, (x * dx + y * dy) / square)) if square else 0.0
            off = (x - t * dx) ** 2 + (y - t * dy) ** 2
            if off > worst:
                worst, at = off, i
        if at >= 0:
            keep.add(at)
            spans += [(i, j) for i, j in ((first, at), (at, final)) if j - i > 1]
    return [points[i] for i in sorted(keep)]


def _path(data: str, decimals: int) -> str:
    """The same path in fewer characters: straight runs relative to where they are, rounded without drift."""
    tokens = _TOKEN.findall(data)
    out: list[str] = []
    at = (0.0, 0.0)  # where a reader of the rounded numbers is
    i = 0
    while i < len(tokens):
        command = tokens[i].upper()
        i += 1
        if command == "Z":
            out.append("z")
            continue
        run: list[tuple[float, float]] = []
        count = _ARGUMENTS[command]
        if command in "ML":
            run = [(float(tokens[i]), float(tokens[i + 1]))]
            i += 2
            # A line, written by matplotlib as M then L, L, L.
            while i < len(tokens) and tokens[i] == "L":
                run.append((float(tokens[i + 1]), float(tokens[i + 2])))
                i += 3
            closed = i < len(tokens) and tokens[i] in "zZ"
            if len(run) > 12 and not closed:
                run = simplified(run)
            start = run[0] if command == "M" else None
            if start is not None:
                out.append(f"M{format_number(start[0], decimals)} {format_number(start[1], decimals)}")
                at = (round(start[0], decimals), round(start[1], decimals))
            steps = []
            for x, y in run[1:] if command == "M" else run:
                dx, dy = format_number(x - at[0], decimals), format_number(y - at[1], decimals)
                steps.append(f"{dx}{'' if dy.startswith('-') else ' '}{dy}")
                at = (at[0] + float(dx), at[1] + float(dy))
            if steps:
                out.append("l" + "".join(s if s.startswith("-") or n == 0 else f" {s}" for n, s in enumerate(steps)))
        else:
            numbers = [float(n) for n in tokens[i : i + count]]
            i += count
            out.append(command + " ".join(format_number(n, decimals) for n in numbers))
            at = (round(numbers[-2], decimals), round(numbers[-1], decimals))
    return "".join(out)


def _style(text: str) -> dict[str, str]:
    attributes = {}
    for part in text.split(";"):
        key, colon, value = part.partition(":")
        key, value = key.strip(), value.strip()
        if not colon or key in ("font-family", "stroke-linejoin", "stroke-miterlimit"):
            continue  # said once, for the whole drawing
        if key == "font":  # the way matplotlib before 3.11 wrote it
            match = _SHORTHAND.search(value)
            if match:
                attributes["font-size"] = match.group(2)
                if match.group(1):
                    attributes["font-weight"] = match.group(1)
            continue
        if key in (
            "font-size",
            "stroke-width",
            "stroke-dasharray",
            "opacity",
            "fill-opacity",
            "stroke-opacity",
        ):
            value = ",".join(format_number(float(n)) for n in value.replace("px", "").split(","))
        attributes[key] = value
    if attributes.get("fill-opacity") == "0":  # how matplotlib writes a hollow marker
        del attributes["fill-opacity"]
        attributes["fill"] = "none"
    if attributes.get("stroke") == "none" or "stroke" not in attributes:
        for key in [k for k in attributes if k.startswith("stroke")]:
            del attributes[key]
    return {k: v for k, v in attributes.items() if _DEFAULTS.get(k) != v}


class _Tidy:
    """Walks matplotlib's tree and builds ours."""

    def __init__(
        self, name: str, links: Mapping[str, Sequence[Link]], tails: Mapping[str, Tail], colour: str, decimals: int
    ) -> None:
        self.name, self.links, self.tails, self.colour, self.decimals = name, links, tails, colour, decimals
        self.definitions: list[_Node] = []
        self.ids: dict[str, str] = {}
        self.known: dict[str, str] = {}

    def reference(self, old: str) -> str:
        return self.ids.setdefault(old, f"{self.name}-{len(self.ids) + 1}")

    def attributes(self, element: ElementTree.Element) -> dict[str, str]:
        out = dict(_style(element.get("style", "")))
        for key, value in element.attrib.items():
            key = key.rsplit("}", 1)[-1]
            if key in ("style", "id", "target"):
                continue
            if key == "d":
                value = _path(value, self.decimals)
            elif key == "transform":
                value = re.sub(r"rotate\(-?0(?: [^)]*)?\)", "", value).strip()
                value = re.sub(r"-?\d+\.\d+", lambda m: format_number(float(m.group()), 3), value)
            elif key == "clip-path" or value.startswith("url(#"):
                value = f"url(#{self.reference(value[5:-1])})"
            elif key == "href" and value.startswith("#"):
                value = f"#{self.reference(value[1:])}"
            elif key in ("x", "y", "width", "height"):
                value = format_number(float(value))
            if value:
                out[key] = value
        for key in ("fill", "stroke"):
            if out.get(key, "").startswith("url(#"):
                inner = out[key][5:-1]
                out[key] = f"url(#{inner if inner.startswith(self.name) else self.reference(inner)})"
        return out

    def visit(self, element: ElementTree.Element) -> list[_Node]:
        tag = element.tag.rsplit("}", 1)[-1]
        if tag in ("metadata", "style"):
            return []
        if tag == "defs":
            for child in element:
                self.define(child)
            return []
        children = [node for child in element for node in self.visit(child)]
        if tag == "g":
            return self.group(element, children)
        attributes = self.attributes(element)
        if tag == "path":
            if not attributes.get("d") or (attributes.get("fill") == "none" and "stroke" not in attributes):
                return []
            if "fill" not in attributes and "stroke" not in attributes and self.colour != "currentColor":
                attributes["fill"] = "#000000"
        return [_Node(tag, attributes, children, element.text or "")]

    def define(self, element: ElementTree.Element) -> None:
        tag = element.tag.rsplit("}", 1)[-1]
        if tag == "style":
            return
        if tag == "path":
            # A marker takes its look from where it is used: a style sheet does not reach into it there.
            element.attrib.pop("style", None)
        old, attributes = element.get("id", ""), self.attributes(element)
        children = [node for child in element for node in self.visit(child)]
        same = self.known.setdefault("".join(_written([_Node(tag, attributes, children)])), old)
        if same != old:
            self.ids[old] = self.reference(same)
            return
        self.definitions.append(_Node(tag, {"id": self.reference(old), **attributes}, children))

    def group(self, element: ElementTree.Element, children: list[_Node]) -> list[_Node]:
        gid = element.get("id", "")
        if not children:
            return []
        if gid.startswith("dots-"):
            return [_dots(children, gid.removeprefix("dots-"))]
        if gid in self.links:
            return _linked(children, self.links[gid])
        if gid in self.tails and children[0].tag == "text":
            tail = self.tails[gid]
            look = {"fill": tail.colour, "font-weight": "400", "dx": "8"}
            children[0].children.append(_Node("tspan", look, text=tail.text))
        attributes = self.attributes(element)
        return [_Node("g", attributes, children)] if attributes else children


def _linked(children: list[_Node], links: Sequence[Link]) -> list[_Node]:
    """Every marker of a run as the link at its place."""
    uses = [leaf for node in children for leaf in ([node] if node.tag == "use" else node.children)]
    return [
        _Node("a", {"href": k.href, "aria-label": k.title}, [_Node("title", {}, text=k.title), use])
        for use, k in zip(uses, links, strict=True)
    ]


def _dots(children: list[_Node], diameter: str) -> _Node:
    """Many small round points as one path of strokes without length, instead of an element each."""
    uses = [leaf for node in children for leaf in ([node] if node.tag == "use" else node.children)]
    spots = [(float(u.attributes["x"]), float(u.attributes["y"])) for u in uses]
    where = "".join(f"M{format_number(x, 1)} {format_number(y, 1)}h0" for x, y in spots)
    first = uses[0].attributes
    attributes = {
        "d": where,
        "fill": "none",
        "stroke": first.get("fill", INK),
        "stroke-width": diameter,
        "stroke-linecap": "round",
    }
    for key in ("opacity", "fill-opacity"):
        if key in first:
            attributes["stroke-opacity"] = first[key]
    return _Node("path", attributes)


def _grouped(nodes: list[_Node]) -> list[_Node]:
    """Neighbours of the same look in one group that carries it."""
    out: list[_Node] = []
    i = 0
    while i < len(nodes):
        look = {k: v for k, v in nodes[i].attributes.items() if k in _SHARED}
        j = i + 1
        while (
            j < len(nodes)
            and nodes[j].tag == nodes[i].tag
            and {k: v for k, v in nodes[j].attributes.items() if k in _SHARED} == look
        ):
            j += 1
        if j - i > 1 and look and nodes[i].tag not in ("g", "a"):
            for node in nodes[i:j]:
                node.attributes = {k: v for k, v in node.attributes.items() if k not in look}
            out.append(_Node("g", look, nodes[i:j]))
        else:
            for node in nodes[i:j]:
                node.children = _grouped(node.children)
            out.extend(nodes[i:j])
        i = j
    return out


def _written(nodes: list[_Node]) -> Iterator[str]:
    for node in nodes:
        attributes = "".join(f" {k}={quoteattr(v)}" for k, v in sorted(node.attributes.items()))
        text = escape(node.text) if node.tag in ("text", "title", "tspan") else ""
        if node.children or text:
            yield f"<{node.tag}{attributes}>{text}"
            yield from _written(node.children)
            yield f"</{node.tag}>"
        else:
            yield f"<{node.tag}{attributes}/>"


def tidied(
    made: str,
    *,
    name: str,
    size: tuple[float, float],
    title: str,
    description: str,
    links: Mapping[str, Sequence[Link]] | None = None,
    tails: Mapping[str, Tail] | None = None,
    colour: str = INK,
    decimals: int = 2,
) -> str:
    """The published SVG of what matplotlib made, ``size`` being width and height [px]."""
    tidy = _Tidy(name, links or {}, tails or {}, colour, decimals)
    nodes = [node for child in ElementTree.fromstring(made) for node in tidy.visit(child)]
    if colour == "currentColor":
        for node in nodes + tidy.definitions:
            node.attributes = {k: v for k, v in node.attributes.items() if v != "#000000"}
    if tidy.definitions:
        nodes.insert(0, _Node("defs", {}, tidy.definitions))
    body = "".join(_written(_grouped(nodes)))
    sheet, kind = (formula_sheet(), "drawn-formula") if colour == "currentColor" else (style_sheet(), "drawing")
    width, height = format_number(size[0]), format_number(size[1])
    # Links inside an image would be hidden from a screen reader; a group lets them be reached.
    role = "group" if links else "img"
    return (
        f'<svg xmlns="{SVG}" class="{kind}" id="{name}" role="{role}" width="{width}" height="{height}" '
        f'viewBox="0 0 {width} {height}" aria-labelledby="{name}-title {name}-desc" '
        f'font-family={quoteattr(FONT_STACK)} fill={quoteattr(colour)} stroke-linejoin="round">'
        f'<title id="{name}-title">{escape(title)}</title><desc id="{name}-desc">{escape(description)}</desc>'
        f"<style>{sheet}</style>{body}</svg>\n"
    )
