"""Clearances, bore geometry and the place of a value in its range."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from builder.engine import clearances
from builder.engine.validation import InputConflict

INCH = 0.0254


def test_oil_clearance_position_by_position() -> None:
    housings = np.array([2.6410, 2.6409, 2.6411]) * INCH
    clearance = clearances.oil_clearance(housings, 0.0951 * INCH, 2.4483 * INCH)
    np.testing.assert_allclose(clearance / INCH, [0.0025, 0.0024, 0.0026])
    assert clearances.oil_clearance(2.6385 * INCH, 0.0951 * INCH, 2.4484 * INCH) < 0


def test_rules_of_thumb_can_be_the_shops_own() -> None:
    assert clearances.ring_gap_rule(4.0 * INCH) == pytest.approx(0.018 * INCH)
    assert clearances.ring_gap_rule(4.0 * INCH, 0.0065) == pytest.approx(0.026 * INCH)
    assert clearances.oil_clearance_rule(2.1 * INCH) == pytest.approx(0.0021 * INCH)
    with pytest.raises(InputConflict, match="per bore"):
        clearances.ring_gap_rule(4.0 * INCH, 0.0)


def test_clearances_may_come_out_negative_but_parts_may_not() -> None:
    assert clearances.piston_clearance(0.1, 0.1001) == pytest.approx(-0.0001)
    with pytest.raises(InputConflict, match="piston diameter"):
        clearances.piston_clearance(0.1, 0.0)


def test_taper_and_out_of_round_are_distinguished() -> None:
    straight_oval = np.array([[4.0300, 4.0306]] * 3) * INCH
    assert clearances.bore_taper(straight_oval) == 0.0
    assert clearances.bore_out_of_round(straight_oval) == pytest.approx(0.0006 * INCH)
    round_taper = np.array([[4.0300], [4.0303], [4.0309]]).repeat(2, axis=1) * INCH
    assert clearances.bore_taper(round_taper) == pytest.approx(0.0009 * INCH)
    assert clearances.bore_out_of_round(round_taper) == 0.0


def test_bores_measured_together_give_one_value_each() -> None:
    readings = 0.1 + 1e-6 * np.arange(48.0).reshape(8, 3, 2)
    assert np.shape(clearances.bore_taper(readings)) == (8,)
    assert type(clearances.bore_taper(readings[0])) is float


def test_too_few_readings_are_refused() -> None:
    with pytest.raises(InputConflict, match="2 or more depths"):
        clearances.bore_taper([[0.1, 0.1]])
    with pytest.raises(InputConflict, match="2 or more axes"):
        clearances.bore_out_of_round([[0.1], [0.1]])
    with pytest.raises(InputConflict, match="2 or more depths"):
        clearances.bore_taper([0.1, 0.1, 0.1])


@given(least=st.floats(-1.0, 1.0), width=st.floats(1e-3, 1.0), place=st.floats(-2.0, 3.0))
def test_position_in_range_runs_from_zero_to_one(least: float, width: float, place: float) -> None:
    found = clearances.position_in_range(least + place * width, least, least + width)
    assert found == pytest.approx(place, abs=1e-9)


def test_a_range_upside_down_or_without_width_is_refused() -> None:
    with pytest.raises(InputConflict, match="upside down") as refused:
        clearances.position_in_range(1.0, 3.0, 2.0)
    assert refused.value.inputs == ("least", "most")
    with pytest.raises(InputConflict, match="no width"):
        clearances.position_in_range(1.0, 2.0, 2.0)


@pytest.mark.parametrize(
    ("values", "odd"),
    [
        ([10.0, 10.1, 9.9, 11.0], 3),
        ([6.0e-5, 6.1e-5, 8.0e-5, 5.9e-5], 2),
        ([10.0, 10.1, np.nan, 9.2, 10.05], 3),
        ([10.0, 10.0, 10.0], None),
        ([9.0, 10.0, 11.0], None),
        ([9.0, 10.0], None),
        ([np.nan, 9.0, 10.0], None),
    ],
)
def test_the_position_farthest_from_the_median(values: list[float], odd: int | None) -> None:
    assert clearances.farthest_from_median(values) == odd


def test_a_difference_of_two_readings_is_resolved_above_their_scatter_and_one_step() -> None:
    # One pair, 95 %: 1.96 times the root of two; of more pairs the largest is held against a wider limit.
    assert clearances.resolvable_difference(1e-6, 0.0, 1) == pytest.approx(2.7718e-6, rel=1e-4)
    limits = [clearances.resolvable_difference(1e-6, 0.0, pairs) for pairs in (1, 3, 6, 20)]
    assert limits == sorted(limits)
    # The last digit alone: two equal bores may be read one step apart.
    assert clearances.resolvable_difference(0.0, 1e-6, 1) == 1e-6
    both = clearances.resolvable_difference(np.array([0.0, 1e-6]), 2e-6, 1)
    np.testing.assert_allclose(both, [2e-6, 4.7718e-6], rtol=1e-4)


def test_a_resolvable_difference_needs_readings() -> None:
    with pytest.raises(InputConflict):
        clearances.resolvable_difference(-1e-6, 0.0, 1)
    with pytest.raises(InputConflict):
        clearances.resolvable_difference(1e-6, 0.0, 0)
