"""Reading an SVG back: its texts with the boxes they take, and the points of its paths."""

from __future__ import annotations

import re
from dataclasses import dataclass
from xml.etree import ElementTree

from builder.draw import labels as measured
from builder.draw.drawing import Drawing

SVG = "{http://www.w3.org/2000/svg}"
_TOKEN = re.compile(r"[a-zA-Z]|-?(?:\d+\.?\d*|\.\d+)")


def path_points(data: str) -> list[list[tuple[float, float]]]:
    """Return the points that each subpath of this path data goes through, control points left out."""
    tokens = _TOKEN.findall(data)
    subpaths: list[list[tuple[float, float]]] = []
    x = y = 0.0
    command = ""
    i = 0

    def take(count: int) -> list[float]:
        nonlocal i
        i += count
        return [float(token) for token in tokens[i - count : i]]

    while i < len(tokens):
        if tokens[i].isalpha():
            command = tokens[i]
            i += 1
        if command == "z":
            continue
        if command == "M":
            x, y = take(2)
            subpaths.append([])
        elif command == "h":
            x += take(1)[0]
        elif command == "v":
            y += take(1)[0]
        else:
            dx, dy = take({"l": 2, "q": 4, "c": 6}[command])[-2:]
            x, y = x + dx, y + dy
        subpaths[-1].append((round(x, 6), round(y, 6)))
    return subpaths


@dataclass(frozen=True)
class Label:
    """One text of a drawing with the box [px] that it takes."""

    text: str
    left: float
    top: float
    right: float
    bottom: float

    def overlaps(self, other: Label) -> bool:
        """Return whether two labels cover each other by more than touching: shown type is narrower than measured."""
        return (
            min(self.right, other.right) - max(self.left, other.left) > 0.5
            and min(self.bottom, other.bottom) - max(self.top, other.top) > 0.5
        )


def parse_svg(drawing: Drawing) -> ElementTree.Element:
    """Return the root of a drawing's SVG."""
    return ElementTree.fromstring(drawing.svg)


def labels(drawing: Drawing) -> list[Label]:
    """Return every text of the drawing with its box, from what it inherits and the measuring font."""
    texts: list[Label] = []

    def walk(element: ElementTree.Element, inherited: dict[str, str]) -> None:
        attributes = {**inherited, **element.attrib}
        if element.tag == f"{SVG}text":
            text = "".join(element.itertext())
            size = float(attributes["font-size"])
            room = measured.width(element.text or "", size, attributes.get("font-weight", "400") == "700")
            for suffix in element:
                room += float(suffix.get("dx", 0)) + measured.width(suffix.text or "", size)
            x, y = float(element.attrib["x"]), float(element.attrib["y"])
            start = {"middle": -room / 2, "end": -room}.get(attributes.get("text-anchor", "start"), 0.0)
            texts.append(Label(text, x + start, y - 0.76 * size, x + start + room, y + 0.2 * size))
        for child in element:
            walk(child, attributes)

    walk(parse_svg(drawing), {})
    return texts


def label_conflicts(drawing: Drawing) -> list[str]:
    """Return what is wrong with the labels: two over each other, or one outside the drawing."""
    all_labels = labels(drawing)
    conflicts = [
        f"{a.text!r} over {b.text!r}" for i, a in enumerate(all_labels) for b in all_labels[i + 1 :] if a.overlaps(b)
    ]
    conflicts += [
        f"{a.text!r} outside"
        for a in all_labels
        if a.left < -0.5 or a.top < -0.5 or a.right > drawing.width + 0.5 or a.bottom > drawing.height + 0.5
    ]
    return conflicts


def label_texts(drawing: Drawing) -> list[str]:
    """Return the texts of a drawing."""
    return [label.text for label in labels(drawing)]
