"""The order of tightening."""

from __future__ import annotations

import math

import pytest

from builder.draw.charts.tightening import TighteningPattern, tightening_pattern
from builder.draw.style import Size
from tests.support.draw_examples import SIZES
from tests.support.svg import label_conflicts, labels

NAN = math.nan


@SIZES
@pytest.mark.parametrize(
    "at",
    [
        ((0.0, 0.0),),
        ((0.0, 0.0), (1.0, 0.0)),
        ((0.0, 0.0), (0.0, 900.0)),
        tuple((float(i % 2), float(i)) for i in range(30)),
        tuple((math.cos(i * 2.4) * 50, math.sin(i * 2.4) * 50) for i in range(20)),
    ],
)
def test_any_pattern(at: tuple[tuple[float, float], ...], size: Size) -> None:
    drawing = tightening_pattern(TighteningPattern("Flange", at, "In two steps."), size=size)
    assert label_conflicts(drawing) == []


def test_the_pattern_is_numbered_in_its_order_with_y_upwards() -> None:
    drawing = tightening_pattern(TighteningPattern("Cap", ((0, 0), (10, 0), (0, 5))))
    at = {label.text: ((label.left + label.right) / 2, (label.top + label.bottom) / 2) for label in labels(drawing)}
    assert at["1"][0] < at["2"][0]
    assert at["3"][1] < at["1"][1]
    assert "1 lower left, 2 lower right, 3 upper left" in drawing.description


def test_patterns_without_positions_are_refused() -> None:
    with pytest.raises(ValueError, match="no fastener"):
        tightening_pattern(TighteningPattern("Cap", ()))
    with pytest.raises(ValueError, match="position in numbers"):
        tightening_pattern(TighteningPattern("Cap", ((0.0, NAN),)))
