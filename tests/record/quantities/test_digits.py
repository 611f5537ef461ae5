"""Rounding to digits, and comparing with a limit at the resolution that was written."""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from builder.record.quantities.digits import is_above, is_below, rounded

INCH = 0.0254


@pytest.mark.parametrize(
    ("number", "decimals", "text"),
    [
        (2.5, 0, "3"), (-2.5, 0, "-3"), (0.125, 2, "0.13"), (1.005, 2, "1.01"), (2.675, 2, "2.68"),
        (112.5 - 110, 0, "3"), (46.2, -1, "50"), (1250, -2, "1300"), (0.0, 3, "0.000"), (1e30, 0, f"1{'0' * 30}"),
    ],
)  # fmt: skip
def test_a_half_rounds_away_from_zero(number: float, decimals: int, text: str) -> None:
    """ISO 80000-1, annex B, rule B (from memory): the multiple of greater magnitude where two are as near."""
    assert Decimal(rounded(number, decimals)) == Decimal(text)


@given(st.integers(-(10**9), 10**9), st.integers(0, 4), st.integers(0, 4))
def test_every_decimal_that_was_written_rounds_as_on_paper(digits: int, written: int, decimals: int) -> None:
    """Against decimal arithmetic, which rounds the number that was written and not its binary neighbor."""
    paper = Decimal(digits).scaleb(-written)
    expected = paper.quantize(Decimal(1).scaleb(-decimals), ROUND_HALF_UP)
    assert Decimal(rounded(float(paper), decimals)) == expected


@given(st.integers(1, 999), st.integers(1, 999), st.sampled_from((INCH, 0.001, 0.0254 / 32)))
def test_a_sum_that_equals_its_limit_is_never_outside(first: int, second: int, unit: float) -> None:
    """Equal decimals, whatever their binary fractions: 0.0130 + 0.022 in is not below 0.035 in."""
    total, limit = first * 1e-4 * unit + second * 1e-3 * unit, (first + 10 * second) * 1e-4 * unit
    step = 1e-4 * unit
    assert not is_below(total, limit, step)
    assert not is_above(total, limit, step)
    assert is_below(total - step, limit, step)
    assert is_above(total + step, limit, step)


def test_zero_and_an_exact_value_can_be_limits() -> None:
    assert not is_below(-1e-19, 0.0, 1e-6)
    assert is_below(-1e-6, 0.0, 1e-6)
    assert not is_above(0.1 + 0.2, 0.3, 0.0)
    assert is_above(0.31, 0.3, 0.0)
