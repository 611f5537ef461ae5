"""Preload, stretch and the plausibility of a torque."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from builder.engine import fasteners
from builder.engine.fasteners import TorqueCheck
from builder.engine.validation import InputConflict

INCH = 0.0254
POUND_FOOT = 1.355_817_948
POUND_INCH = POUND_FOOT / 12


def test_preload_scales_with_torque_and_against_friction() -> None:
    preload = fasteners.fastener_preload(np.array([50.0, 100.0]), 0.2, 0.010)
    np.testing.assert_allclose(preload, [25_000.0, 50_000.0])
    assert fasteners.fastener_preload(50.0, 0.1, 0.010) == pytest.approx(50_000.0)
    with pytest.raises(InputConflict, match="nut factor"):
        fasteners.fastener_preload(50.0, 0.0, 0.010)


@given(friction=st.floats(0.05, 0.3))
def test_more_friction_takes_more_torque(friction: float) -> None:
    slick = fasteners.nut_factor(0.012, 0.00175, friction, friction)
    rough = fasteners.nut_factor(0.012, 0.00175, friction + 0.01, friction + 0.01)
    assert rough > slick > 0


def test_without_friction_a_turn_of_torque_is_a_pitch_of_work() -> None:
    factor = fasteners.nut_factor(0.012, 0.00175, 0.0, 0.0)
    assert factor * 0.012 * 2 * np.pi == pytest.approx(0.00175)


@given(preload=st.floats(1e3, 2e5))
def test_the_stretch_of_both_sections_gives_the_force_back(preload: float) -> None:
    shank, thread = 0.030 / (np.pi / 4 * 0.009**2), 0.012 / 5.8e-5
    found = fasteners.preload_from_stretch(preload / 207e9 * (shank + thread), 0.030, 0.009, 0.012, 5.8e-5)
    assert found == pytest.approx(preload)


def test_a_bolt_may_be_all_shank_or_all_thread_but_not_nothing() -> None:
    only_shank = fasteners.preload_from_stretch(1e-4, 0.040, 0.009, 0.0, 5.8e-5)
    assert only_shank == pytest.approx(207e9 * 1e-4 / 0.040 * np.pi / 4 * 0.009**2)
    only_thread = fasteners.preload_from_stretch(np.array([1e-4, 2e-4]), 0.0, 0.009, 0.040, 5.8e-5, modulus=110e9)
    np.testing.assert_allclose(only_thread, 110e9 * np.array([1e-4, 2e-4]) / 0.040 * 5.8e-5)
    with pytest.raises(InputConflict, match="no length"):
        fasteners.preload_from_stretch(1e-4, 0.0, 0.009, 0.0, 5.8e-5)


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
    assert fasteners.check_torque(torque, diameter).verdict == "plausible"
    band = fasteners.plausible_torque(diameter)
    assert band.minimum < torque < band.maximum


@pytest.mark.parametrize(
    ("diameter", "feet"), [(1 / 2, 110), (7 / 16, 65), (3 / 8, 45), (3 / 8, 30), (5 / 16, 20), (1 / 4, 8)]
)
def test_inches_where_feet_were_meant_are_caught(diameter: float, feet: float) -> None:
    assert fasteners.check_torque(feet * POUND_INCH, diameter * INCH) == TorqueCheck("too low", inch_foot_mix_up=True)


@pytest.mark.parametrize(("diameter", "inches"), [(1 / 4, 30), (5 / 16, 100), (3 / 8, 120), (7 / 16, 240)])
def test_feet_where_inches_were_meant_are_caught(diameter: float, inches: float) -> None:
    assert fasteners.check_torque(inches * POUND_FOOT, diameter * INCH) == TorqueCheck(
        "too high", inch_foot_mix_up=True
    )


def test_what_twelve_does_not_explain_is_only_too_high_or_too_low() -> None:
    assert fasteners.check_torque(9000.0, 0.010) == TorqueCheck("too high")
    assert fasteners.check_torque(0.1, 0.010) == TorqueCheck("too low")
    with pytest.raises(InputConflict, match="torque"):
        fasteners.check_torque(0.0, 0.010)


def test_the_band_takes_many_sizes_at_once() -> None:
    band = fasteners.plausible_torque(np.array([0.006, 0.012]))
    np.testing.assert_allclose(band.maximum[1] / band.maximum[0], 8.0)


def test_a_pitch_too_coarse_for_its_diameter_is_refused() -> None:
    with pytest.raises(InputConflict, match="too coarse"):
        fasteners.tensile_stress_area(0.006, 0.0065)
    with pytest.raises(InputConflict, match="too coarse"):
        fasteners.nut_factor(0.001, 0.002, 0.15, 0.15)


def test_friction_that_no_thread_could_turn_against_is_refused() -> None:
    with pytest.raises(InputConflict, match="cannot turn") as refused:
        fasteners.nut_factor(0.010, 0.0015, 20.0, 0.15)
    assert refused.value.inputs == ("thread_friction",)
