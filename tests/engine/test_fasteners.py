"""Preload, stretch and the plausibility of a torque."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from builder.engine import fasteners
from builder.engine.values import Conflict

INCH = 0.0254
POUND_FOOT = 1.355_817_948
POUND_INCH = POUND_FOOT / 12


def test_preload_scales_with_torque_and_against_friction() -> None:
    preload = fasteners.fastener_preload(np.array([50.0, 100.0]), 0.2, 0.010)
    np.testing.assert_allclose(preload, [25_000.0, 50_000.0])
    assert fasteners.fastener_preload(50.0, 0.1, 0.010) == pytest.approx(50_000.0)
    with pytest.raises(Conflict, match="nut factor"):
        fasteners.fastener_preload(50.0, 0.0, 0.010)


def test_stretch_is_known_better_than_torque_and_torque_better_than_feel() -> None:
    widths = []
    for way in ("stretch", "angle", "torque", "feel"):
        band = fasteners.preload_band(40_000.0, way)
        assert band.least < 40_000.0 < band.most
        widths.append(band.most - band.least)
    assert widths == sorted(widths)
    assert fasteners.preload_band(40_000.0).least == pytest.approx(30_000.0)


@given(friction=st.floats(0.05, 0.3))
def test_more_friction_takes_more_torque(friction: float) -> None:
    slick = fasteners.nut_factor(0.012, 0.00175, friction, friction)
    rough = fasteners.nut_factor(0.012, 0.00175, friction + 0.01, friction + 0.01)
    assert rough > slick > 0


def test_without_friction_a_turn_of_torque_is_a_pitch_of_work() -> None:
    factor = fasteners.nut_factor(0.012, 0.00175, 0.0, 0.0)
    assert factor * 0.012 * 2 * np.pi == pytest.approx(0.00175)


@given(preload=st.floats(1e3, 2e5))
def test_stretch_and_preload_undo_each_other(preload: float) -> None:
    lengths, areas = [0.030, 0.012], [6.5e-5, 5.8e-5]
    stretch = fasteners.bolt_stretch(preload, lengths, areas)
    assert fasteners.preload_from_stretch(stretch, lengths, areas) == pytest.approx(preload)
    by_hand = preload / 207e9 * (0.030 / 6.5e-5 + 0.012 / 5.8e-5)
    assert stretch == pytest.approx(by_hand)


def test_a_bolt_of_one_section_needs_no_lists() -> None:
    assert fasteners.bolt_stretch(40_000.0, 0.042, 6.5e-5) == pytest.approx(40_000 * 0.042 / 6.5e-5 / 207e9)
    with pytest.raises(Conflict, match="one area"):
        fasteners.bolt_stretch(40_000.0, [0.03, 0.01], [6e-5])


# Torques as they are given in shops for these sizes, light covers to highly strung rod bolts.
COMMON = [
    (1 / 4 * INCH, 30 * POUND_INCH),
    (1 / 4 * INCH, 12 * POUND_FOOT),
    (5 / 16 * INCH, 80 * POUND_INCH),
    (5 / 16 * INCH, 20 * POUND_FOOT),
    (3 / 8 * INCH, 10 * POUND_FOOT),
    (3 / 8 * INCH, 50 * POUND_FOOT),
    (7 / 16 * INCH, 22 * POUND_FOOT),
    (7 / 16 * INCH, 90 * POUND_FOOT),
    (1 / 2 * INCH, 40 * POUND_FOOT),
    (1 / 2 * INCH, 120 * POUND_FOOT),
    (0.006, 10.0),
    (0.008, 25.0),
    (0.010, 70.0),
    (0.012, 110.0),
    (0.016, 250.0),
]


@pytest.mark.parametrize(("diameter", "torque"), COMMON)
def test_common_torques_are_plausible(diameter: float, torque: float) -> None:
    assert fasteners.judge_torque(torque, diameter) == "plausible"
    band = fasteners.plausible_torque(diameter)
    assert band.least < torque < band.most


@pytest.mark.parametrize(
    ("diameter", "feet"), [(1 / 2, 110), (7 / 16, 65), (3 / 8, 45), (3 / 8, 30), (5 / 16, 20), (1 / 4, 8)]
)
def test_inches_where_feet_were_meant_are_caught(diameter: float, feet: float) -> None:
    assert fasteners.judge_torque(feet * POUND_INCH, diameter * INCH) == "twelve times too low"


@pytest.mark.parametrize(("diameter", "inches"), [(1 / 4, 30), (5 / 16, 100), (3 / 8, 120), (7 / 16, 240)])
def test_feet_where_inches_were_meant_are_caught(diameter: float, inches: float) -> None:
    assert fasteners.judge_torque(inches * POUND_FOOT, diameter * INCH) == "twelve times too high"


def test_what_twelve_does_not_explain_is_only_too_high_or_too_low() -> None:
    assert fasteners.judge_torque(9000.0, 0.010) == "too high"
    assert fasteners.judge_torque(0.1, 0.010) == "too low"
    with pytest.raises(Conflict, match="torque"):
        fasteners.judge_torque(0.0, 0.010)


def test_the_band_takes_many_sizes_at_once() -> None:
    band = fasteners.plausible_torque(np.array([0.006, 0.012]))
    np.testing.assert_allclose(band.most[1] / band.most[0], 8.0)


def test_a_pitch_too_coarse_for_its_diameter_is_refused() -> None:
    with pytest.raises(Conflict, match="too coarse"):
        fasteners.tensile_stress_area(0.006, 0.0065)
    with pytest.raises(Conflict, match="too coarse"):
        fasteners.nut_factor(0.001, 0.002, 0.15, 0.15)
