"""Wear at every position, and readings over running hours."""

from __future__ import annotations

import math

import pytest

from builder.draw.charts.engine_history import (
    HoursSeries,
    OverHours,
    WearPositions,
    WearState,
    over_hours,
    wear_positions,
)
from builder.draw.style import CAUTION, LINE_COLOURS, Size
from tests.support.draw_examples import SIZES
from tests.support.svg import label_conflicts

NAN = math.nan


def wear(*states: tuple[float, ...], half_width: float = 0.0, **limits: float) -> WearPositions:
    places = tuple(str(index + 1) for index in range(len(states[0])))
    named = tuple(WearState(f"state {index}", values, half_width) for index, values in enumerate(states))
    return WearPositions("Main journals", "in", places, named, decimals=4, **limits)


def test_states_have_their_own_color_and_mark_and_are_described() -> None:
    drawing = wear_positions(wear((2.448, 2.4481), (2.4475, NAN), (2.438, 2.4381), half_width=0.0001, low=2.4375))
    for colour in LINE_COLOURS[:3]:
        assert colour in drawing.svg
    assert "state 1: 1 2.4475 in, ± 0.0001" in drawing.description
    assert "Spec: min. 2.4375 in" in drawing.description


def test_the_limit_over_hours_is_drawn_and_described() -> None:
    series = HoursSeries("build 1", (10.0, 20.0), (12.0, 31.0))
    drawing = over_hours(OverHours("Iron", "ppm", (series,), 30.0, decimals=0))
    assert CAUTION in drawing.svg
    assert "12 ppm at 10 h and 31 ppm at 20 h. Limit: max. 30 ppm" in drawing.description
    assert CAUTION not in over_hours(OverHours("Iron", "ppm", (series,))).svg


@SIZES
@pytest.mark.parametrize(
    "data",
    [
        wear((4.03,)),
        wear((4.03,) * 8, (4.031,) * 8, (4.04,) * 8, half_width=0.0002, high=4.035),
        wear((NAN, 2.0), (NAN, 2.1), low=1.9, high=2.2),
        wear(*((0.01 * k,) * 16 for k in range(1, 6)), half_width=0.001),
        wear((0.0, 0.0)),
    ],
)
def test_any_states(data: WearPositions, size: Size) -> None:
    assert label_conflicts(wear_positions(data, size=size)) == []


@SIZES
@pytest.mark.parametrize(("hours", "values"), [((5.0,), (3.0,)), ((0.0, 900.0), (0.0, 0.0)), ((1.0, NAN), (2.0, 4.0))])
def test_any_readings_over_hours(hours: tuple[float, ...], values: tuple[float, ...], size: Size) -> None:
    drawing = over_hours(OverHours("Leak-down", "%", (HoursSeries("worst", hours, values),), 20.0), size=size)
    assert label_conflicts(drawing) == []


def test_charts_without_values_are_refused() -> None:
    with pytest.raises(ValueError, match="no position has a value"):
        wear_positions(wear((NAN, NAN)))
    with pytest.raises(ValueError, match="not a value for each"):
        wear_positions(WearPositions("x", "in", ("1", "2"), (WearState("a", (1.0,)),)))
    with pytest.raises(ValueError, match="no reading"):
        over_hours(OverHours("x", "ppm", (HoursSeries("a", (NAN,), (1.0,)),)))
