"""Scatter and drift of pulls from few repeats and what was known before."""

from __future__ import annotations

import math

import numpy as np
import pytest

from builder.engine.pull_scatter import (
    DRIFT,
    RepeatGroup,
    Scatter,
    Variance,
    drift,
    pooled_variance,
    scatter_of_repeats,
    updated_variance,
)

PRIOR = Variance(value=0.005**2, freedom=6.0)


def test_groups_are_pooled_about_their_own_means() -> None:
    found = pooled_variance([[1.0, 3.0], [10.0, 11.0, 12.0], [7.0], []])
    assert found.freedom == 3
    assert found.value == pytest.approx((2.0 + 2.0) / 3)


def test_without_repeats_the_variance_is_not_known() -> None:
    found = pooled_variance([[1.0], [2.0]])
    assert found.freedom == 0
    assert math.isnan(found.value)


def test_squares_and_degrees_of_freedom_add_up() -> None:
    found = updated_variance(Variance(value=4.0, freedom=6.0), Variance(value=1.0, freedom=2.0))
    assert found.freedom == 8
    assert found.value == pytest.approx((6 * 4 + 2 * 1) / 8)
    assert found.deviation == pytest.approx(math.sqrt(3.25))


def test_nothing_observed_leaves_the_prior() -> None:
    prior = Variance(value=4.0, freedom=6.0)
    assert updated_variance(prior, pooled_variance([])) == prior


@pytest.mark.parametrize(("value", "freedom"), [(0.0, 6.0), (1.0, 0.0), (-1.0, 3.0)])
def test_a_prior_needs_a_variance_and_degrees_of_freedom(value: float, freedom: float) -> None:
    with pytest.raises(ValueError, match="prior"):
        updated_variance(Variance(value=value, freedom=freedom), Variance(value=1.0, freedom=1.0))


def test_repeats_without_drift_are_pooled_with_the_prior() -> None:
    # Values that are even about the middle of the group show no drift at all.
    found = scatter_of_repeats([RepeatGroup(position=(0, 1, 2), value=(1.001, 0.998, 1.001))], PRIOR)
    assert found.drift == pytest.approx(0, abs=1e-12)
    assert (found.repeats, found.variance.freedom) == (2, 8)
    assert found.variance.value == pytest.approx((6 * 0.005**2 + 6e-6) / 8)


def test_drift_is_that_of_the_repeats_drawn_towards_zero() -> None:
    found = scatter_of_repeats([RepeatGroup(position=(0, 1, 2, 3), value=(1.0, 1.01, 1.02, 1.03))], PRIOR)
    assert found.drift_variance == pytest.approx(1 / (1 / DRIFT**2 + 5))
    assert found.drift == pytest.approx(0.01 * 5 / (1 / DRIFT**2 + 5))


def test_nothing_is_known_of_drift_without_repeats() -> None:
    found = scatter_of_repeats([RepeatGroup(position=(0,), value=(1.0,)), RepeatGroup(position=(), value=())], PRIOR)
    assert found == Scatter(variance=PRIOR, repeats=0, drift=0.0, drift_variance=DRIFT**2)


def test_pulls_further_apart_may_have_drifted_further() -> None:
    scatter = Scatter(variance=PRIOR)
    assert scatter.variance_of_difference([0], [1]) == pytest.approx(2 + DRIFT**2)
    assert scatter.variance_of_difference([0], [4]) == pytest.approx(2 + 16 * DRIFT**2)
    assert scatter.variance_of_difference([0, 2], [1]) == pytest.approx(1.5)


def test_drift_cannot_be_told_from_two_pulls() -> None:
    found = drift(RepeatGroup(position=(0, 3), value=(400.0, 394.0)))
    assert (found.verdict, found.per_pull) == ("cannot be told", pytest.approx(-2))
    assert math.isnan(found.half_width)


def test_drift_is_tested_against_its_own_residuals() -> None:
    random = np.random.default_rng(1)
    steady = drift(RepeatGroup(position=(0, 1, 2, 3), value=tuple(400 + random.normal(0, 1, 4))))
    assert steady.verdict == "not seen"
    creeping = tuple(400 - 2.0 * k + float(random.normal(0, 0.1)) for k in range(4))
    found = drift(RepeatGroup(position=(0, 1, 2, 3), value=creeping))
    assert found.verdict == "seen"
    assert abs(found.per_pull + 2) < found.half_width < 0.5


def test_a_creep_within_the_last_digit_is_no_drift() -> None:
    group = RepeatGroup(position=(0, 1, 2), value=(400.0, 400.1, 400.2))
    assert drift(group).verdict == "seen"
    assert drift(group, resolution=0.3).verdict == "not seen"


def test_drift_needs_two_pulls_made_at_different_times() -> None:
    for group in (RepeatGroup(position=(0,), value=(400.0,)), RepeatGroup(position=(1, 1), value=(400.0, 401.0))):
        with pytest.raises(ValueError, match="first and a last"):
            drift(group)
    with pytest.raises(ValueError, match="position and a value"):
        drift(RepeatGroup(position=(1, 2), value=(400.0,)))
