"""A bounded part of the simulations of comparisons, with their aims.

Rates are held against their aims with 99.9 % of chance allowed for, as so few sessions cannot tell 93 from 92 %.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.bench.pull_comparisons import (
    COARSE,
    Conditions,
    at_least,
    at_most,
    random_readings,
    rates,
    simulate_drift_test,
    simulate_sweep,
)

TRIALS = 300


@pytest.mark.slow
@pytest.mark.parametrize(("order", "slope"), [("AB", 0.001), ("AAB", 0.002), ("AAABBB", 0.001), ("ABA", 0.002)])
def test_intervals_hold_the_true_gain_with_scatter_drawn_from_the_prior(order: str, slope: float) -> None:
    found = rates(Conditions(order=order, drift=slope), TRIALS, 21, COARSE)
    assert at_least(found.coverage, 0.93, TRIALS)
    assert at_most(found.coverage, 0.97, TRIALS)


@pytest.mark.slow
@pytest.mark.parametrize(("order", "slope"), [("AB", 0.002), ("AABB", 0.002), ("AAABBB", 0.002), ("ABAB", 0.002)])
def test_a_scatter_as_expected_is_held(order: str, slope: float) -> None:
    conditions = Conditions(order=order, drift=slope, scatter=0.005)
    assert at_least(rates(conditions, TRIALS, 22, COARSE).coverage, 0.93, TRIALS)


@pytest.mark.slow
def test_half_as_much_scatter_again_is_held_at_85_percent() -> None:
    conditions = Conditions(order="AAB", scatter=0.0075)
    assert at_least(rates(conditions, TRIALS, 23, COARSE).coverage, 0.85, TRIALS)


@pytest.mark.slow
def test_one_repeat_gives_an_interval_of_at_most_four_times_the_scatter() -> None:
    found = rates(Conditions(order="AAB", scatter=0.005), TRIALS, 24, COARSE)
    assert found.half_width <= 4 * 0.005


@pytest.mark.slow
@pytest.mark.parametrize("order", ["AB", "ABA"])
def test_no_gain_is_claimed_where_nothing_was_changed(order: str) -> None:
    assert at_most(rates(Conditions(order=order), TRIALS, 25, COARSE, changed=False).claims, 0.05, TRIALS)


@pytest.mark.slow
@pytest.mark.parametrize("pulls", [3, 4])
def test_no_drift_is_seen_in_steady_pulls(pulls: int) -> None:
    random = np.random.default_rng(26)
    seen = [simulate_drift_test(random, random_readings(random, Conditions(), COARSE), pulls) for _ in range(TRIALS)]
    assert at_most(float(np.mean(seen)), 0.05, TRIALS)


@pytest.mark.slow
@pytest.mark.parametrize("settings", [3, 4])
def test_no_optimum_is_named_in_a_sweep_that_changes_nothing(settings: int) -> None:
    random = np.random.default_rng(27)
    named = [simulate_sweep(random, random_readings(random, Conditions(), COARSE), settings) for _ in range(TRIALS)]
    assert at_most(float(np.mean(named)), 0.05, TRIALS)


def test_a_steeper_drift_than_the_scatter_is_seen() -> None:
    random = np.random.default_rng(28)
    conditions = Conditions(scatter=0.0005, drift=0.005, correlation=0.0)
    assert all(simulate_drift_test(random, conditions, 5) for _ in range(5))


def test_an_interval_that_is_too_narrow_would_be_noticed() -> None:
    assert not at_least(0.85, 0.93, TRIALS)
    assert not at_most(0.12, 0.05, TRIALS)
