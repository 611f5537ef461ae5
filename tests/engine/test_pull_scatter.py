"""Scatter of pulls from few repeats and what was known before."""

from __future__ import annotations

import math

import pytest

from builder.engine.pull_scatter import Variance, pooled_variance, updated_variance


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
