"""Readings at every position, and bores at every depth."""

from __future__ import annotations

import math

import pytest

from builder.draw.charts.positions import BoreMap, BoreReadings, Position, Positions, bore_map, positions
from builder.draw.style import ACCENT, CAUTION, Size
from tests.support.draw_examples import SIZES
from tests.support.svg import SVG, label_conflicts, parse_svg

NAN = math.nan


def strip(
    values: list[float], low: float | None = None, high: float | None = None, outlier: int | None = None
) -> Positions:
    at = tuple(Position(str(i + 1), v) for i, v in enumerate(values))
    return Positions("Oil clearance", "in", at, low, high, outlier, decimals=4)


def test_out_of_range_is_another_marker_and_is_described() -> None:
    drawing = positions(strip([0.0024, 0.0031, 0.0025], 0.002, 0.003, 1))
    assert "Out of spec: 2. 2 differs from the rest." in drawing.description
    assert "Spec 0.0020 to 0.0030 in" in drawing.description
    looks = [{**outer.attrib, **e.attrib} for outer in parse_svg(drawing).iter() for e in outer if e.tag == f"{SVG}use"]
    hollow = [e for e in looks if e["fill"] == "none"]
    assert {e["stroke"] for e in hollow} == {CAUTION, ACCENT}  # the diamond, and the ring around it
    assert len(hollow) == 2
    good = positions(strip([0.0024, 0.0025], 0.002, 0.003))
    assert "All within spec." in good.description


def test_a_value_on_the_limit_is_within() -> None:
    assert "All within spec" in positions(strip([0.002, 0.003], 0.002, 0.003)).description


@SIZES
@pytest.mark.parametrize(
    "data",
    [
        strip([0.0025]),
        strip([0.0025] * 8),
        strip([0.0025] * 8, 0.0025, 0.0025),
        strip([NAN, 0.002, NAN, 0.003]),
        strip([0.002, 0.0031], high=0.003),
        strip([0.002, 0.0031], low=0.0025, outlier=0),
        strip([0.001 + 0.0001 * (i % 7) for i in range(48)], 0.0012, 0.0014, 17),
        strip([1e-12, 5e-12]),
        strip([1e12, 5.0]),
        strip([-5.0, 5.0], -1, 1),
    ],
)
def test_any_positions(data: Positions, size: Size) -> None:
    assert label_conflicts(positions(data, size=size)) == []


def test_positions_without_values_are_refused() -> None:
    with pytest.raises(ValueError, match="no position has a value"):
        positions(strip([NAN, math.inf]))
    with pytest.raises(ValueError, match="no position has a value"):
        positions(strip([]))
    with pytest.raises(ValueError, match="not among 2"):
        positions(strip([1.0, 2.0], outlier=2))


def test_taper_and_out_of_round_are_the_largest_differences() -> None:
    # By hand: down the first axis 4.0305-4.0301 = 0.0004, down the second 0.0002; across at most 0.0003.
    bore = BoreReadings("Cyl 1", [[4.0301, 4.0304], [4.0303, 4.0305], [4.0305, 4.0306]])
    drawing = bore_map(BoreMap("in", ("Top", "Middle", "Bottom"), ("Along", "Across"), (bore,)))
    assert "Cyl 1: 4.0301 to 4.0306, taper 0.0004, out of round 0.0003." in drawing.description


@SIZES
@pytest.mark.parametrize("count", [1, 3, 8, 16])
def test_any_number_of_bores(count: int, size: Size) -> None:
    bores = tuple(BoreReadings(f"Cyl {i + 1}", [[80.01, NAN], [80.02, 80.02 + i / 1e3]]) for i in range(count))
    data = BoreMap("mm", ("20 mm down", "60 mm down"), ("Thrust", "Pin"), bores, 3)
    assert label_conflicts(bore_map(data, size=size)) == []


def test_bores_that_do_not_fit_their_depths_are_refused() -> None:
    with pytest.raises(ValueError, match="readings are 1 by 3, depths and axes 2 by 1"):
        bore_map(BoreMap("mm", ("a", "b"), ("x",), (BoreReadings("Cyl 1", [[1, 2, 3]]),)))
    with pytest.raises(ValueError, match="no bore was measured"):
        bore_map(BoreMap("mm", ("a",), ("x",), (BoreReadings("Cyl 1", [[NAN]]),)))
    with pytest.raises(ValueError, match="no bore was measured"):
        bore_map(BoreMap("mm", ("a",), ("x",), ()))
