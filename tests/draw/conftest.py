"""Reading an SVG back: its texts with the boxes they take, and whether any of them get in each other's way."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from xml.etree import ElementTree

import pytest

from builder.draw import labels as measured
from builder.draw.drawing import Drawing

SVG = "{http://www.w3.org/2000/svg}"


@dataclass(frozen=True)
class Label:
    text: str
    left: float
    top: float
    right: float
    bottom: float
    fill: str

    def overlaps(self, other: Label) -> bool:
        # Labels that only touch are still apart: the type that is measured is wider than what is shown.
        return (
            min(self.right, other.right) - max(self.left, other.left) > 0.5
            and min(self.bottom, other.bottom) - max(self.top, other.top) > 0.5
        )


def read(drawing: Drawing) -> ElementTree.Element:
    return ElementTree.fromstring(drawing.svg)


def labels(drawing: Drawing) -> list[Label]:
    """Every text of the drawing with its box [px], from what it inherits and the measuring font."""
    found: list[Label] = []

    def walk(element: ElementTree.Element, inherited: dict[str, str]) -> None:
        here = {**inherited, **element.attrib}
        if element.tag == f"{SVG}text":
            text = "".join(element.itertext())
            size = float(here["font-size"])
            wide = measured.width(element.text or "", size, here.get("font-weight", "400") == "700")
            for tail in element:
                wide += float(tail.get("dx", 0)) + measured.width(tail.text or "", size)
            x, y = float(element.attrib["x"]), float(element.attrib["y"])
            start = {"middle": -wide / 2, "end": -wide}.get(here.get("text-anchor", "start"), 0.0)
            corners = [(start, -0.76 * size), (start + wide, 0.2 * size)]
            turn = re.search(r"rotate\((-?[\d.]+)", element.attrib.get("transform", ""))
            angle = math.radians(float(turn.group(1))) if turn else 0.0
            cos, sin = math.cos(angle), math.sin(angle)
            xs = [x + a * cos - b * sin for a, b in corners]
            ys = [y + a * sin + b * cos for a, b in corners]
            found.append(Label(text, min(xs), min(ys), max(xs), max(ys), here.get("fill", "")))
        for child in element:
            walk(child, here)

    walk(read(drawing), {})
    return found


def in_the_way(drawing: Drawing) -> list[str]:
    """What is wrong with the labels: two over each other, or one outside the drawing."""
    all_labels = labels(drawing)
    wrong = [
        f"{a.text!r} over {b.text!r}" for i, a in enumerate(all_labels) for b in all_labels[i + 1 :] if a.overlaps(b)
    ]
    wrong += [
        f"{a.text!r} outside"
        for a in all_labels
        if a.left < -0.5 or a.top < -0.5 or a.right > drawing.width + 0.5 or a.bottom > drawing.height + 0.5
    ]
    return wrong


@pytest.fixture
def read_svg() -> Callable[[Drawing], ElementTree.Element]:
    return read


@pytest.fixture
def labels_of() -> Callable[[Drawing], list[Label]]:
    return labels


@pytest.fixture
def trouble() -> Callable[[Drawing], list[str]]:
    return in_the_way
