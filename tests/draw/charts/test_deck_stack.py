"""The deck stack-up: what it must show, and what it refuses."""

from __future__ import annotations

import math

import pytest

from builder.draw.charts.deck_stack import StackUp, stack_up
from builder.draw.style import CAUTION, Size
from tests.support.draw_examples import SIZES
from tests.support.svg import SVG, label_conflicts, label_texts, parse_svg, path_points

NAN = math.nan


def test_a_short_piston_is_shown_against_its_listing() -> None:
    # 9.500 - (1.80 + 6.2 + 1.400) = 0.100 below the deck; as listed it would have been level. With a gasket of
    # 0.040 the quench is 0.140. (Sums, by hand.)
    data = StackUp("in", 1.80, 6.2, 1.400, 9.500, 4.2, 0.040, None, 1.500)
    drawing = stack_up(data)
    shown = label_texts(drawing)
    assert {"0.100 in", "0.040 in", "0.140 in", "listed 1.500 in", "level"} <= set(shown)
    assert "the crown is 0.100 in below the deck" in drawing.description
    assert "the quench is 0.140 in" in drawing.description
    assert "level with the deck" in drawing.description
    assert f'stroke="{CAUTION}"' in drawing.svg
    assert CAUTION not in stack_up(StackUp("in", 1.80, 6.2, 1.500, 9.500, 4.2)).svg.split("</style>")[1]


def test_the_section_is_to_scale() -> None:
    drawing = stack_up(StackUp("mm", 43.0, 144.0, 30.2, 217.5, 86.0, 1.2))
    lines = [line for e in parse_svg(drawing).iter(f"{SVG}path") for line in path_points(e.get("d", ""))]
    # The upright lines of two points are those of the dimensions.
    lengths = [abs(line[1][1] - line[0][1]) for line in lines if len(line) == 2 and line[0][0] == line[1][0]]
    ratios = {round(b / a, 2) for a in lengths for b in lengths if a > 20}
    assert round(144.0 / 43.0, 2) in ratios
    assert round(217.5 / 144.0, 2) in ratios


def test_a_proud_piston_and_a_measured_deck_clearance() -> None:
    drawing = stack_up(StackUp("mm", 43.0, 144.0, 30.2, 217.0, 86.0, 1.2, deck_clearance=-0.25, decimals=2))
    assert "0.25 mm above the deck" in drawing.description
    assert "Crown above deck" in label_texts(drawing)
    assert label_conflicts(drawing) == []


@SIZES
@pytest.mark.parametrize(
    "data",
    [
        StackUp("in", 0.5, 1.9, 0.6, 3.0, 1.2, 0.01),  # a small single
        StackUp("mm", 600.0, 2400.0, 700.0, 3700.0, 900.0, 3.0, decimals=1),  # a ship's
        StackUp("in", 1.75, 6.0, 1.46, 9.21, 4.0),  # no gasket, level
        StackUp("in", 1.75, 6.0, 1.46, 9.21, 0.1, 0.04),  # a bore far too small
        StackUp("in", 1.75, 6.0, 1.46, 9.21, 40.0, 0.04),  # far too large
        StackUp("in", 1.75, 6.0, 4.9, 9.2, 4.0, 0.04, None, 0.4),  # nonsense, but drawable
    ],
)
def test_any_stack_up_keeps_its_labels_apart(data: StackUp, size: Size) -> None:
    assert label_conflicts(stack_up(data, size=size)) == []


@pytest.mark.parametrize("bad", [0.0, -1.0, NAN, math.inf])
def test_a_length_that_is_none_is_refused(bad: float) -> None:
    with pytest.raises(ValueError, match="rod must be a length above nought"):
        stack_up(StackUp("in", 1.75, bad, 1.46, 9.2, 4.0))
    with pytest.raises(ValueError, match="bore"):
        stack_up(StackUp("in", 1.75, 6.0, 1.46, 9.2, bad))
