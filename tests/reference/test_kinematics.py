"""The slider-crank, held against a printed worked example and against SciPy."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import differentiate, integrate, optimize

from builder.engine import kinematics

STROKE, ROD, SPEED = 0.0960, 0.1680, 108.0
OFFSETS = [0.0, 0.0015, -0.0015]


def height_of_pin(angle: float, offset: float) -> float:
    """Pin height over the crankshaft, found as the root of 'the rod is this long', not by our formula."""
    across, along = STROKE / 2 * np.sin(angle), STROKE / 2 * np.cos(angle)

    def too_long(height: float) -> float:
        return np.hypot(across + offset, height - along) - ROD

    return optimize.brentq(too_long, along, along + 2 * ROD, xtol=1e-15, rtol=1e-14)


def test_mean_piston_speed_of_a_three_litre_six() -> None:
    """Pulkrabek, Engineering Fundamentals of the ICE, example 2-1 (from memory, recomputed)."""
    assert round(kinematics.mean_piston_speed(0.0860, 60.0), 2) == 10.32


def test_piston_speed_twenty_degrees_past_the_top() -> None:
    """Pulkrabek, Engineering Fundamentals of the ICE, example 2-1 (from memory, recomputed)."""
    assert kinematics.piston_speed(np.radians(20), 0.0860, 0.166, 60.0) == pytest.approx(6.90, abs=0.006)


def test_piston_position_twenty_degrees_past_the_top() -> None:
    """Pulkrabek, Engineering Fundamentals of the ICE, example 2-1 (from memory, recomputed)."""
    assert round(kinematics.piston_position(np.radians(20), 0.0860, 0.166) * 1000, 2) == 3.25


def test_cylinder_volume_twenty_degrees_past_the_top() -> None:
    """Pulkrabek, Engineering Fundamentals of the ICE, example 2-1 (from memory, recomputed)."""
    volume = kinematics.cylinder_volume(np.radians(20), 0.0860, 0.0860, 0.166, 58.8e-6)
    assert round(volume * 1e6, 1) == 77.7


@pytest.mark.parametrize("offset", OFFSETS)
def test_position_by_root_finding(offset: float) -> None:
    """SciPy brentq on the length of the rod, minimize_scalar for the top: to 1e-9."""
    top = optimize.minimize_scalar(
        lambda angle: -height_of_pin(angle, offset),
        bounds=(-0.2, 0.2),
        method="bounded",
        options={"xatol": 1e-9},
    )
    # The angle of a maximum is known only to the root of the precision, its height to all of it.
    assert top.x == pytest.approx(-np.arcsin(offset / (ROD + STROKE / 2)), abs=1e-7)
    for theta in np.linspace(0, 4 * np.pi, 37):
        angle = theta - np.arcsin(offset / (ROD + STROKE / 2))
        expected = -top.fun - height_of_pin(angle, offset)
        assert kinematics.piston_position(theta, STROKE, ROD, offset) == pytest.approx(expected, abs=1e-9 * STROKE)


@pytest.mark.parametrize("offset", OFFSETS)
def test_speed_and_acceleration_by_numeric_derivatives(offset: float) -> None:
    """SciPy differentiate.derivative of position and of speed, to 1e-9 of their greatest."""
    theta = np.linspace(0.05, 4 * np.pi, 61)
    omega = 2 * np.pi * SPEED
    speed = kinematics.piston_speed(theta, STROKE, ROD, SPEED, offset)
    acceleration = kinematics.piston_acceleration(theta, STROKE, ROD, SPEED, offset)
    rise = differentiate.derivative(lambda t: kinematics.piston_position(t, STROKE, ROD, offset), theta)
    change = differentiate.derivative(lambda t: kinematics.piston_speed(t, STROKE, ROD, SPEED, offset), theta)
    np.testing.assert_allclose(speed, rise.df * omega, atol=1e-9 * np.max(np.abs(speed)))
    np.testing.assert_allclose(acceleration, change.df * omega, atol=1e-9 * np.max(np.abs(acceleration)))


@pytest.mark.parametrize("offset", OFFSETS)
def test_travel_and_mean_speed_by_quadrature(offset: float) -> None:
    """SciPy quad: the speed integrated from dead centre to dead centre is the travel, to 1e-9."""
    bottom = kinematics.bottom_dead_centre(STROKE, ROD, offset)
    distance, _ = integrate.quad(
        lambda t: kinematics.piston_speed(t, STROKE, ROD, SPEED, offset), 0, bottom, epsabs=1e-13
    )
    travel = distance / (2 * np.pi * SPEED)
    assert kinematics.piston_position(bottom, STROKE, ROD, offset) == pytest.approx(travel, rel=1e-9)
    if offset == 0.0:
        mean = distance / bottom
        assert kinematics.mean_piston_speed(STROKE, SPEED) == pytest.approx(mean, rel=1e-9)


@pytest.mark.parametrize("offset", OFFSETS)
def test_dead_centre_and_peak_speed_by_root_finding(offset: float) -> None:
    """SciPy brentq on speed and acceleration, to 1e-9 rad; speed at the peak to 1e-9."""
    bottom = optimize.brentq(lambda t: kinematics.piston_speed(t, STROKE, ROD, SPEED, offset), 2.5, 3.8, xtol=1e-14)
    assert kinematics.bottom_dead_centre(STROKE, ROD, offset) == pytest.approx(bottom, abs=1e-9)
    peak = optimize.minimize_scalar(
        lambda t: -kinematics.piston_speed(t, STROKE, ROD, SPEED, offset),
        bounds=(0, bottom),
        method="bounded",
    )
    angle = kinematics.peak_speed_angle(STROKE, ROD, offset)
    assert kinematics.piston_speed(angle, STROKE, ROD, SPEED, offset) == pytest.approx(-peak.fun, rel=1e-9)
    zero = optimize.brentq(
        lambda t: kinematics.piston_acceleration(t, STROKE, ROD, SPEED, offset), 0.5, 2.5, xtol=1e-14
    )
    assert angle == pytest.approx(zero, abs=1e-9)


@pytest.mark.parametrize("ratio", [0.501, 0.51, 0.55, 0.62, 0.73])
@pytest.mark.parametrize("lean", [0.0, 0.6, -0.9])
def test_the_fastest_place_of_rods_far_too_short_for_an_engine(ratio: float, lean: float) -> None:
    """SciPy brentq on the acceleration, where the crank can barely turn and the steps of a secant go astray."""
    rod = ratio * STROKE
    offset = lean * (rod - STROKE / 2)
    bottom = kinematics.bottom_dead_centre(STROKE, rod, offset)
    angles = np.linspace(1e-3, bottom - 1e-3, 20_001)
    fastest = int(np.argmax(kinematics.piston_speed(angles, STROKE, rod, SPEED, offset)))
    zero = optimize.brentq(
        lambda t: kinematics.piston_acceleration(t, STROKE, rod, SPEED, offset),
        angles[fastest - 1], angles[fastest + 1], xtol=1e-14,
    )  # fmt: skip
    assert kinematics.peak_speed_angle(STROKE, rod, offset) == pytest.approx(zero, abs=1e-9)


def test_inertia_force_at_the_top_by_numeric_derivatives() -> None:
    """SciPy differentiate.derivative twice over the position: Newton's second law."""
    omega = 2 * np.pi * SPEED

    def slope(theta: np.ndarray) -> np.ndarray:
        return differentiate.derivative(lambda t: kinematics.piston_position(t, STROKE, ROD), theta).df

    curvature = differentiate.derivative(slope, 0.0, initial_step=0.3).df
    force = kinematics.inertia_force_tdc(0.62, STROKE, ROD, SPEED)
    assert force == pytest.approx(0.62 * curvature * omega**2, rel=1e-7)


def test_balance_quality_of_a_rotor_at_3000_rpm() -> None:
    """ISO 21940-11, from memory: grade G 6.3 at 3000 rpm allows an eccentricity of 20 micrometers."""
    mass = 24.5
    assert kinematics.balance_grade(mass * 20.05e-6, mass, 50.0) == pytest.approx(6.3e-3, rel=1e-3)
