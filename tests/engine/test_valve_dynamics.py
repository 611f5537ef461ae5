"""Surge of valve springs, and what is refused."""

from __future__ import annotations

import pytest

from builder.engine.valve_dynamics import (
    active_spring_mass,
    surge_frequency,
    surge_order,
    valve_acceleration,
    valve_train_mass,
)


def test_the_closed_ends_do_not_count() -> None:
    assert active_spring_mass(0.1, 4.0, 6.0) == pytest.approx(0.1 * 2 / 3)
    with pytest.raises(ValueError, match="more active coils"):
        active_spring_mass(0.1, 6.5, 6.0)


def test_a_stiffer_and_a_lighter_spring_surge_higher() -> None:
    frequency = float(surge_frequency(50e3, 0.05))
    assert surge_frequency(200e3, 0.05) == pytest.approx(2 * frequency)
    assert surge_frequency(50e3, 0.0125) == pytest.approx(2 * frequency)
    with pytest.raises(ValueError, match="active mass"):
        surge_frequency(50e3, 0.0)


def test_the_cam_turns_at_half_speed() -> None:
    assert surge_order(500.0, 100.0) == pytest.approx(10.0)
    assert surge_order(500.0, 100.0, 1) == pytest.approx(5.0)


def test_the_lifter_side_moves_less_than_the_valve() -> None:
    assert valve_train_mass(0.1, 0.02, 0.06, 1.5, 0.03, 0.18) == pytest.approx(0.1 + 0.02 + 0.02 + 0.03 + 0.08)
    with pytest.raises(ValueError, match="valve"):
        valve_train_mass(0.0, 0.02, 0.06, 1.5)


def test_acceleration_grows_with_the_square_of_the_speed() -> None:
    assert valve_acceleration(1e-6, 100.0) == pytest.approx(1296.0)
    assert valve_acceleration(1e-6, 200.0) == pytest.approx(4 * 1296.0)
