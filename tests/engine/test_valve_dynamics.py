"""Surge of valve springs, and what is refused."""

from __future__ import annotations

import pytest

from builder.engine.valve_dynamics import active_spring_mass, surge_frequency, surge_order


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
