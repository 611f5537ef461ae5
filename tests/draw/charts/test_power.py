"""Torque and power: curves, labels that do not overlap, and the description."""

from __future__ import annotations

import math

import numpy as np
import pytest

from builder.draw.charts.power import Overlay, Peak, PowerCurves, PullCurves, overlay, power_curves
from builder.draw.drawing import Drawing
from builder.draw.style import NARROW, WIDE, Size
from tests.support.svg import SVG, label_conflicts, labels, parse_svg, path_points

LBF_FT_RPM_PER_HP = 5252.113  # 33,000 ft lbf/min a horsepower over 2 pi: the trade's own constant


def pull(label: str, gain: float = 0.0, **more: object) -> PullCurves:
    speed = np.linspace(2400.0, 5600.0, 50)
    torque = (445 - ((speed - 3400) / 300) ** 2) * (1 + gain)
    return PullCurves(label, speed, torque, torque * speed / LBF_FT_RPM_PER_HP, **more)  # type: ignore[arg-type]


def several(count: int) -> PowerCurves:
    return PowerCurves(tuple(pull(f"Pull {i + 1}", -0.002 * i) for i in range(count)))


@pytest.mark.parametrize("size", [WIDE, NARROW])
@pytest.mark.parametrize("count", [1, 2, 3, 10, 25])
def test_no_label_gets_in_the_way(count: int, size: Size) -> None:
    assert label_conflicts(power_curves(several(count), size=size)) == []


def test_the_peaks_are_labelled_and_described_with_their_speeds() -> None:
    drawing = power_curves(several(2))
    texts = [label.text for label in labels(drawing)]
    at = 2400 + 15 * 3200 / 49  # the point of the curve nearest to its top at 3,400
    assert any(t == f"445 lbf ft at {at:,.0f} rpm" for t in texts)
    assert "Pull 1: peak torque 445 lbf ft" in drawing.description
    assert "Pull 2: peak torque 444 lbf ft" in drawing.description
    assert f"at {at:,.0f} rpm" in drawing.description


def test_a_given_peak_wins_over_the_curve() -> None:
    drawing = power_curves(PowerCurves((pull("Pull 1", peak_torque=Peak(3300, 451.2)),)))
    assert "peak torque 451 lbf ft at 3,300 rpm" in drawing.description


def test_the_label_of_the_peak_is_above_every_curve_under_it() -> None:
    # The best by power is not the best by torque: its torque label must clear the higher curve.
    low = pull("Low", -0.03)
    drawing = power_curves(PowerCurves((low, pull("High", 0.03)), delivered=0))
    words = next(label for label in labels(drawing) if label.text.startswith("432 lbf ft at"))
    high_peak = next(label for label in labels(drawing) if label.text == "450")
    assert words.bottom < (high_peak.top + high_peak.bottom) / 2  # the rule at 450 lies below the highest curve


def marker_corners(drawing: Drawing) -> set[int]:
    """Return how many corners the markers in the drawing have."""
    (shapes,) = parse_svg(drawing).iter(f"{SVG}defs")
    return {len(set(path_points(shape.get("d", ""))[0])) for shape in shapes}


def test_a_pull_has_one_marker_whichever_is_best() -> None:
    pulls = several(3).pulls
    assert marker_corners(power_curves(PowerCurves(pulls, delivered=0))) >= {3, 4}
    # The second of the record is a square, alone and as the best as well.
    alone = power_curves(PowerCurves((pull("Pull 2", position=1),)))
    assert marker_corners(alone) == {4}


def test_a_caution_is_written_below_and_described() -> None:
    cautions = ("Factor outside the standard's range", "No barometer reading")
    drawing = power_curves(PowerCurves(several(2).pulls, cautions=cautions))
    written = [label.text for label in labels(drawing)]
    assert {"Factor outside the standard's range", "No barometer reading"} <= set(written)
    assert "Caution: Factor outside the standard's range." in drawing.description
    assert "Caution: No barometer reading." in drawing.description


def test_one_point_gaps_and_one_column_are_drawn() -> None:
    gap = PullCurves("Gap", [2000, 2500, 3000, 3500, 4000], [300, math.nan, 320, math.inf, 310])
    point = PullCurves("One reading", [3000], [250])
    drawing = power_curves(PowerCurves((gap, point)))
    assert "320 lbf ft at 3,000 rpm" in drawing.description
    assert "power" not in drawing.description.lower()
    assert label_conflicts(drawing) == []


@pytest.mark.parametrize("scale", [1e-9, 1e-3, 1.0, 1e6, 1e15, 1e120])
def test_any_size_of_numbers(scale: float) -> None:
    base = pull("Pull 1")
    scaled = PullCurves("Pull 1", base.speed, np.asarray(base.torque) * scale, np.asarray(base.power) * scale)
    assert label_conflicts(power_curves(PowerCurves((scaled,)))) == []


def test_identical_values_are_a_level_line() -> None:
    level = PullCurves("Level", [2000, 3000, 4000], [100, 100, 100], [0, 0, 0])
    assert label_conflicts(power_curves(PowerCurves((level,)))) == []


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (PowerCurves(()), "no pull"),
        (PowerCurves((PullCurves("Empty", []),)), "no known point"),
        (PowerCurves((PullCurves("Gaps", [1000, 2000], [math.nan, math.nan]),)), "no known point"),
        (PowerCurves(several(2).pulls, delivered=2), "pull 2 is not among 2"),
        (PowerCurves((PullCurves("Odd", [1000, 2000, 3000], [100, 200]),)), "Odd, torque: 3 values along and 2 up"),
    ],
)
def test_nothing_to_draw_is_refused(data: PowerCurves, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        power_curves(data)


@pytest.mark.parametrize("size", [WIDE, NARROW])
def test_builds_over_each_other_differ_in_more_than_colour(size: Size) -> None:
    builds = tuple(pull(f"Build {i}", 0.02 * i) for i in range(4))
    drawing = overlay(Overlay(builds, "lbf ft/L", "hp/L"), size=size)
    assert label_conflicts(drawing) == []
    dashes = {part.split('"')[1] for part in drawing.svg.split("stroke-dasharray=")[1:]}
    assert len(dashes) == 3  # and the first is unbroken
    assert "peak torque 472 lbf ft/L" in drawing.description


def test_an_empty_overlay_is_refused() -> None:
    with pytest.raises(ValueError, match="no build"):
        overlay(Overlay(()))
