"""The SVG backend: paths made small without drift, markers once, styles shared, text as text."""

from __future__ import annotations

import math
from itertools import pairwise
from xml.etree import ElementTree

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.path import Path
from matplotlib.transforms import IdentityTransform

from builder.draw.canvas import Canvas
from builder.draw.style import ACCENT, INK, PAPER, QUIET, SECOND, WIDE
from builder.draw.svg_backend import path_data, simplified
from tests.support.svg import SVG, path_points

points_strategy = st.tuples(st.floats(-2000, 2000), st.floats(-2000, 2000))


def off_line(point: tuple[float, float], a: tuple[float, float], b: tuple[float, float]) -> float:
    along = np.subtract(b, a)
    length = float(along @ along)
    t = 0.0 if length == 0 else min(1.0, max(0.0, float(np.subtract(point, a) @ along) / length))
    return float(np.hypot(*(np.subtract(point, a) - t * along)))


@given(st.lists(st.tuples(st.floats(0, 700), st.floats(0, 300)), min_size=2, max_size=40))
def test_a_simplified_line_leaves_no_point_behind_it(points: list[tuple[float, float]]) -> None:
    points = sorted(points)  # as a curve over speed is
    simpler = simplified(points, 0.5)
    assert simpler[0] == points[0]
    assert simpler[-1] == points[-1]
    for p in points:
        assert min(off_line(p, a, b) for a, b in pairwise(simpler)) <= 0.5 + 1e-6


@given(st.lists(points_strategy, min_size=2, max_size=12), st.booleans())
def test_a_shortened_path_does_not_drift(points: list[tuple[float, float]], closed: bool) -> None:
    codes = [Path.MOVETO, *[Path.LINETO] * (len(points) - 1)] + [Path.CLOSEPOLY] * closed
    path = Path(np.array(points + [(0.0, 0.0)] * closed), codes)
    (read,) = path_points(path_data(path, IdentityTransform()))
    rounded = [points[0], *(p for q, p in pairwise(np.round(points, 2).tolist()) if p != q)]
    if len(read) == len(rounded):  # a step of no length is left out
        assert np.abs(np.array(read) - np.array(rounded)).max() <= 0.0051
    assert np.abs(np.array(read[-1]) - points[-1]).max() <= 0.0051


def test_curves_end_where_they_should() -> None:
    circle = Path.unit_circle()
    (read,) = path_points(path_data(circle.transformed(IdentityTransform()), IdentityTransform()))
    assert read[-1] == pytest.approx(read[0], abs=0.011)
    assert min(x for x, _ in read) == pytest.approx(-1, abs=0.011)


def test_gaps_break_a_line_and_a_point_of_no_length_stays() -> None:
    nan = math.nan
    line = Path(np.array([(0, 0), (5, 0), (nan, nan), (9, 9), (9, 9), (nan, nan), (20, 1), (20, 5)]))
    assert path_points(path_data(line, IdentityTransform())) == [
        [(0, 0), (5, 0)],
        [(9, 9), (9, 9)],
        [(20, 1), (20, 5)],
    ]


def test_a_line_of_gaps_alone_is_no_path() -> None:
    assert path_data(Path(np.full((3, 2), math.nan)), IdentityTransform()) == ""


def drawn(canvas: Canvas) -> ElementTree.Element:
    return ElementTree.fromstring(canvas.to_drawing("test", "Title", "Description.").svg)


def test_each_marker_shape_is_written_once() -> None:
    canvas = Canvas(100, 100, WIDE)
    for colour in (ACCENT, SECOND):
        canvas.line([10, 20, math.nan], [30, 40, 50], colour, linestyle="none", marker="s")
    svg = drawn(canvas)
    (shape,) = svg.iter(f"{SVG}defs")
    assert [element.get("id") for element in shape] == ["test-1"]
    uses = list(svg.iter(f"{SVG}use"))
    assert [(use.get("x"), use.get("y")) for use in uses] == [("10", "30"), ("20", "40")] * 2
    assert {use.get("href") for use in uses} == {"#test-1"}


def test_a_triangle_points_up() -> None:
    canvas = Canvas(100, 100, WIDE)
    canvas.line([50], [50], ACCENT, marker="^")
    (shape,) = drawn(canvas).iter(f"{SVG}defs")
    (corners,) = path_points(shape[0].get("d", ""))
    above = [x for x, y in corners if y < 0]
    assert above == [0]  # the one corner above the middle


def test_neighbours_of_one_style_share_a_group() -> None:
    canvas = Canvas(100, 100, WIDE)
    canvas.line([0, 9], [0, 0], QUIET)
    canvas.line([0, 9], [5, 5], QUIET)
    canvas.line([0, 9], [9, 9], SECOND)
    svg = drawn(canvas)
    (group,) = svg.iter(f"{SVG}g")
    assert (group.get("stroke"), len(group)) == (QUIET, 2)
    assert [path.get("stroke") for path in svg.iter(f"{SVG}path")] == [None, None, SECOND]


def test_what_is_behind_comes_first_and_labels_last() -> None:
    canvas = Canvas(100, 100, WIDE)
    canvas.text(10, 20, "in front")
    canvas.box(0, 0, 50, 50, PAPER, zorder=1)
    canvas.line([0, 9], [0, 0], QUIET, zorder=0)
    tags = [element.tag.removeprefix(SVG) for element in drawn(canvas)]
    assert tags == ["title", "desc", "style", "path", "path", "text"]


def test_a_label_is_text_with_its_suffix() -> None:
    canvas = Canvas(300, 100, WIDE)
    canvas.text(290, 20, "Torque <&>", anchor="right", colour=ACCENT, bold=True, size=20)
    canvas.text(10, 60, "Power", suffix="hp")
    first, second = drawn(canvas).iter(f"{SVG}text")
    assert first.attrib == {
        "x": "290",
        "y": "20",
        "fill": ACCENT,
        "font-size": "20",
        "font-weight": "700",
        "text-anchor": "end",
    }
    assert first.text == "Torque <&>"
    assert second.get("fill") is None  # the drawing's own ink
    assert [(span.text, span.get("fill")) for span in second] == [("hp", QUIET)]
    assert INK in canvas.to_drawing("test", "", "").for_pdf()
