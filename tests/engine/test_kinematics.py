"""The exact slider-crank: where the piston is, how fast, how hard it is turned round."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from builder.engine import kinematics
from builder.engine.validation import InputConflict

STROKE, ROD, SPEED = 0.09, 0.15, 100.0


def motion_of(
    theta: float | np.ndarray, stroke: float, rod: float, offset: float = 0.0
) -> tuple[float | np.ndarray, float | np.ndarray, float | np.ndarray]:
    """Position, speed and acceleration at crank angles."""
    return (
        kinematics.piston_position(theta, stroke, rod, offset),
        kinematics.piston_speed(theta, stroke, rod, SPEED, offset),
        kinematics.piston_acceleration(theta, stroke, rod, SPEED, offset),
    )


@st.composite
def cranks(draw: st.DrawFn) -> tuple[float, float, float]:
    """Stroke, rod and pin offset that can turn."""
    stroke = draw(st.floats(0.03, 0.2))
    rod = stroke * draw(st.floats(1.1, 3.0))
    return stroke, rod, stroke * draw(st.floats(-0.1, 0.1))


@given(crank=cranks())
def test_at_the_top_the_piston_is_up_and_still(crank: tuple[float, float, float]) -> None:
    stroke, rod, offset = crank
    position, speed, acceleration = motion_of(0.0, stroke, rod, offset)
    assert position == pytest.approx(0.0, abs=1e-15)
    assert speed == pytest.approx(0.0, abs=1e-11)
    assert acceleration > 0


@given(crank=cranks(), theta=st.floats(0.0, 2 * np.pi))
def test_the_piston_stays_between_its_dead_centres(crank: tuple[float, float, float], theta: float) -> None:
    stroke, rod, offset = crank
    # From the crank stretched out straight to folded up, along the cylinder's axis.
    travel = np.sqrt((rod + stroke / 2) ** 2 - offset**2) - np.sqrt((rod - stroke / 2) ** 2 - offset**2)
    assert -1e-15 <= kinematics.piston_position(theta, stroke, rod, offset) <= travel + 1e-15
    bottom = kinematics.bottom_dead_centre(stroke, rod, offset)
    assert kinematics.piston_position(bottom, stroke, rod, offset) == pytest.approx(travel, rel=1e-13)
    assert kinematics.piston_speed(bottom, stroke, rod, SPEED, offset) == pytest.approx(0.0, abs=1e-11)


@given(crank=cranks(), theta=st.floats(-7.0, 7.0))
def test_the_mirrored_offset_runs_the_same_film_backwards(crank: tuple[float, float, float], theta: float) -> None:
    stroke, rod, offset = crank
    there, back = motion_of(theta, stroke, rod, offset), motion_of(-theta, stroke, rod, -offset)
    assert there[0] == pytest.approx(back[0], abs=1e-14)
    assert there[1] == pytest.approx(-back[1], abs=1e-9)
    assert there[2] == pytest.approx(back[2], rel=1e-9, abs=1e-6)


def test_an_offset_towards_the_thrust_side_brings_bottom_dead_centre_forward() -> None:
    assert kinematics.bottom_dead_centre(STROKE, ROD, 0.001) < np.pi
    assert kinematics.bottom_dead_centre(STROKE, ROD) == np.pi


@given(crank=cranks())
def test_the_peak_speed_is_the_fastest_of_the_way_down(crank: tuple[float, float, float]) -> None:
    stroke, rod, offset = crank
    angle = kinematics.peak_speed_angle(stroke, rod, offset)
    peak = kinematics.piston_speed(angle, stroke, rod, SPEED, offset)
    down = np.linspace(0, kinematics.bottom_dead_centre(stroke, rod, offset), 721)
    assert np.max(kinematics.piston_speed(down, stroke, rod, SPEED, offset)) <= peak * (1 + 1e-12)


def test_a_very_long_rod_makes_the_motion_a_sine() -> None:
    theta = np.linspace(0, 2 * np.pi, 100)
    position, speed, acceleration = motion_of(theta, STROKE, 1e4)
    omega = 2 * np.pi * SPEED
    np.testing.assert_allclose(position, STROKE / 2 * (1 - np.cos(theta)), atol=1e-6)
    np.testing.assert_allclose(speed, STROKE / 2 * omega * np.sin(theta), atol=1e-3)
    np.testing.assert_allclose(acceleration, STROKE / 2 * omega**2 * np.cos(theta), atol=1.0)


@pytest.mark.parametrize(("rod", "offset"), [(0.045, 0.0), (0.0455, 0.001), (0.0455, -0.001), (-0.1, 0.0)])
def test_a_crank_that_cannot_turn_is_refused(rod: float, offset: float) -> None:
    for refused_by in (
        lambda: kinematics.piston_position(0.0, STROKE, rod, offset),
        lambda: kinematics.piston_speed(0.0, STROKE, rod, SPEED, offset),
        lambda: kinematics.piston_acceleration(0.0, STROKE, rod, SPEED, offset),
        lambda: kinematics.peak_speed_angle(STROKE, rod, offset),
    ):
        with pytest.raises(InputConflict):
            refused_by()


def test_shapes_broadcast_over_cylinders_and_angles() -> None:
    strokes = np.array([0.08, 0.09, 0.1])[:, None]
    assert np.shape(kinematics.piston_position(np.linspace(0, 1, 5), strokes, ROD)) == (3, 5)
    assert np.shape(kinematics.peak_speed_angle(strokes, ROD)) == (3, 1)
    assert type(kinematics.piston_position(0.3, STROKE, ROD)) is float
    assert type(kinematics.peak_speed_angle(STROKE, ROD)) is float


def test_cylinder_volume_at_the_top_is_the_clearance_volume() -> None:
    assert kinematics.cylinder_volume(0.0, 0.1, STROKE, ROD, 7e-5) == pytest.approx(7e-5)


def test_inertia_force_is_mass_times_the_acceleration_at_the_top() -> None:
    force = kinematics.inertia_force_tdc(0.6, STROKE, ROD, SPEED)
    assert force == pytest.approx(0.6 * kinematics.piston_acceleration(0.0, STROKE, ROD, SPEED))


def test_mean_piston_speed_refuses_running_backwards() -> None:
    assert kinematics.mean_piston_speed(0.1, 0.0) == 0.0
    with pytest.raises(InputConflict, match="speed cannot be less than zero"):
        kinematics.mean_piston_speed(0.1, -1.0)


def test_bobweight_of_a_shared_and_of_a_single_crankpin() -> None:
    assert kinematics.bobweight(0.45, 0.7, 2, 0.5, oil_mass=0.004) == pytest.approx(1.604)
    assert kinematics.bobweight(0.45, 0.7, 1, 0.0) == pytest.approx(0.45)
    with pytest.raises(InputConflict, match="between 0 and 1"):
        kinematics.bobweight(0.45, 0.7, 2, 50)
