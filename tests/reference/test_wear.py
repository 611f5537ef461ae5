"""The uncertainty of wear and of its rate against the GUM and its Monte Carlo method."""

from __future__ import annotations

import numpy as np
import pytest

from builder.engine import wear
from builder.engine.uncertainty import from_resolution


def test_the_rate_follows_the_rule_for_quotients() -> None:
    """Source: JCGM 100, 5.1.6: for a product of powers the relative uncertainties add as squares."""
    worn, running = 0.018, 420.0
    u_worn, u_running = 0.0004, 10.0
    relative = np.hypot(u_worn / worn, u_running / running)
    rate = float(wear.wear_rate(worn, running))
    found = float(wear.wear_rate_uncertainty(worn, u_worn, running, u_running))
    assert found / rate == pytest.approx(float(relative), rel=1e-12)


def test_a_difference_of_two_lengths_adds_their_uncertainties_as_squares() -> None:
    """Source: JCGM 100, H.1.3.4 and H.1.7 (from memory): the standard 25 nm, the difference 9.7 nm, both 26.8."""
    assert wear.wear_uncertainty(25.0, 9.7) == pytest.approx(26.8, abs=0.05)


def test_rate_by_monte_carlo() -> None:
    """Monte Carlo (JCGM 101): readings anywhere within the last digit, hours within half an hour; fixed seed."""
    random = np.random.default_rng(20240517)
    count = 200_000
    built = 81.503 + random.uniform(-0.0005, 0.0005, count)
    returned = 81.521 + random.uniform(-0.0005, 0.0005, count)
    hours = 42 + random.uniform(-0.5, 0.5, count)
    rates = np.asarray(wear.wear(built, returned, 1)) / hours
    step = float(from_resolution(0.001))
    uncertainty = float(
        wear.wear_rate_uncertainty(0.018, wear.wear_uncertainty(step, step), 42.0, float(from_resolution(1.0)))
    )
    assert uncertainty == pytest.approx(float(np.std(rates)), rel=0.01)
    assert float(wear.wear_rate(0.018, 42.0)) == pytest.approx(float(np.mean(rates)), rel=1e-3)


def test_equal_readings_are_seldom_taken_for_wear() -> None:
    """Monte Carlo (JCGM 101): with nothing worn, two readings to the last digit give "wear" in fewer than 5 of 100."""
    random = np.random.default_rng(7)
    true = 81.5 + random.uniform(0, 0.01, 100_000)
    built, returned = (np.round(true + random.uniform(-0.0005, 0.0005, true.size), 3) for _ in range(2))
    step = float(from_resolution(0.001))
    false_alarms = wear.is_measurable(
        wear.wear(built, returned, 1), wear.wear_uncertainty(step * 2**0.5, step * 2**0.5)
    )
    assert float(np.mean(false_alarms)) < 0.05
