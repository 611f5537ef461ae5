"""Piston speed against crank angle."""

from __future__ import annotations

import math

import numpy as np
import pytest

from builder.draw.charts.piston_speed import PistonSpeed, piston_speed
from builder.draw.style import Size
from tests.support.draw_examples import SIZES
from tests.support.svg import label_conflicts

NAN = math.nan


@SIZES
@pytest.mark.parametrize("values", [[3.0], [0.0, 0.0], [1e-6, 2e-6], [1e9, -1e9], [NAN, 5.0], [-3.0, -1.0]])
def test_any_piston_speed(values: list[float], size: Size) -> None:
    angle = np.linspace(0, 180, len(values))
    assert label_conflicts(piston_speed(PistonSpeed(angle, values, "m/s", "6,000 rpm", 2.0), size=size)) == []


def test_piston_speed_tells_its_greatest_and_mean() -> None:
    drawing = piston_speed(PistonSpeed([0, 76, 180], [0, 24.96, 0], "m/s", "6,000 rpm", 15.3))
    assert "greatest 25.0 m/s at 76 degrees" in drawing.description
    assert "mean 15.3 m/s" in drawing.description
    with pytest.raises(ValueError, match="no known point"):
        piston_speed(PistonSpeed([], [], "m/s", "6,000 rpm"))
