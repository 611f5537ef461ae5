"""Breathing: flows balance, and what cannot be is refused."""

from __future__ import annotations

import numpy as np
import pytest

from builder.engine.breathing import (
    air_demand,
    choked_air_flow,
    discharge_coefficient,
    flow_at_depression,
    head_flow_ceiling,
    induction_headroom,
    injector_duty,
    injector_duty_from_pulse,
    inlet_mach_index,
    mean_port_velocity,
    volumetric_efficiency,
)
from builder.engine.constants import CUBIC_FOOT_PER_MINUTE, MECHANICAL_HORSEPOWER


def test_demand_and_volumetric_efficiency_are_inverse() -> None:
    speeds = np.array([30.0, 75.0, 110.0])
    flow = np.asarray(air_demand(6.5e-3, speeds, 0.87)) * 1.17
    np.testing.assert_allclose(volumetric_efficiency(flow, 1.17, 6.5e-3, speeds), 0.87, rtol=1e-14)


def test_a_two_stroke_asks_for_air_every_revolution() -> None:
    assert air_demand(1e-3, 50.0, revolutions_per_cycle=1) == 2 * air_demand(1e-3, 50.0)


def test_flow_follows_the_root_of_the_depression_and_comes_back() -> None:
    assert flow_at_depression(250.0, 10.0, 40.0) == pytest.approx(500.0)
    assert flow_at_depression(flow_at_depression(250.0, 28.0, 10.0), 10.0, 28.0) == pytest.approx(250.0)


def test_headroom_compares_both_at_one_depression() -> None:
    assert induction_headroom(0.3, 5000.0, 0.3, 5000.0) == pytest.approx(1.0)
    assert induction_headroom(0.3, 10_000.0, 0.3, 5000.0) == pytest.approx(np.sqrt(0.5))


def test_a_perfect_opening_has_a_coefficient_of_one() -> None:
    flow = 1e-3 * np.sqrt(2 * 7000.0 / 1.2)
    assert discharge_coefficient(flow, 1e-3, 7000.0, 1.2) == pytest.approx(1.0)


def test_port_velocity_by_continuity() -> None:
    bore = 0.1
    area = np.pi / 4 * bore**2 / 5
    assert mean_port_velocity(bore, 18.0, area) == pytest.approx(90.0)


def test_two_small_valves_breathe_like_one_of_their_area() -> None:
    one = inlet_mach_index(0.1, 0.05, 1, 18.0, 0.35, 345.0)
    two = inlet_mach_index(0.1, 0.05 / np.sqrt(2), 2, 18.0, 0.35, 345.0)
    assert two == pytest.approx(one)


def test_ceiling_scales_with_ports_and_the_shops_own_constant() -> None:
    flow = 200 * CUBIC_FOOT_PER_MINUTE
    assert head_flow_ceiling(flow, 8) == pytest.approx(0.257 * 200 * 8 * MECHANICAL_HORSEPOWER)
    assert head_flow_ceiling(flow, 8, 0.25) == pytest.approx(0.25 * 200 * 8 * MECHANICAL_HORSEPOWER)
    with pytest.raises(ValueError, match="at least one cylinder"):
        head_flow_ceiling(flow, 0)


def test_duty_by_flow_and_by_pulse() -> None:
    assert injector_duty(0.024, 0.005, 8) == pytest.approx(0.6)
    assert injector_duty_from_pulse(0.012, 100.0) == pytest.approx(0.6)
    assert injector_duty_from_pulse(0.006, 100.0, 1.0) == pytest.approx(0.6)
    with pytest.raises(ValueError, match="counted"):
        injector_duty(0.024, 0.005, 0)


@pytest.mark.parametrize(
    ("call", "word"),
    [
        (lambda: air_demand(0.0, 50.0), "displacement"),
        (lambda: air_demand(1e-3, -1.0), "speed"),
        (lambda: volumetric_efficiency(0.1, 0.0, 1e-3, 50.0), "density"),
        (lambda: flow_at_depression(1.0, 0.0, 5.0), "depression"),
        (lambda: choked_air_flow(1e-3, 1e5, 0.0), "temperature"),
        (lambda: induction_headroom(1.0, 5.0, 0.0, 5.0), "demand"),
        (lambda: discharge_coefficient(1.0, 0.0, 5.0, 1.2), "area"),
        (lambda: mean_port_velocity(0.1, 18.0, 0.0), "port area"),
        (lambda: inlet_mach_index(0.1, 0.0, 1, 18.0, 0.35, 345.0), "valve diameter"),
    ],
)
def test_impossible_inputs_are_named(call: object, word: str) -> None:
    with pytest.raises(ValueError, match=word):
        call()  # type: ignore[operator]
