"""The last digit of a log, and what it hides."""

from __future__ import annotations

import math

import numpy as np
import pytest

from builder.engine.resolution import last_digit, uncertainty_of_mean


@pytest.mark.parametrize(
    ("values", "step"),
    [
        ([101.3, 98.7, 100.0], 0.1),
        ([101.0, 98.0, 103.0], 1.0),
        ([125.0, 130.0, 145.0], 5.0),
        ([0.25, 0.5, 1.75], 0.25),
        ([7.0, 7.0], 1.0),
        ([0.0], 1.0),
        ([np.nan, 2.5, 3.0, np.inf], 0.5),
        ([math.pi, math.e], 0.0),
        ([], 0.0),
        ([np.nan], 0.0),
    ],
)
def test_the_step_that_values_were_written_in(values: list[float], step: float) -> None:
    assert last_digit(np.array(values)) == pytest.approx(step)


def test_one_number_in_all_rows_hides_a_whole_step() -> None:
    assert uncertainty_of_mean(np.full(40, 130.0), 5.0) == pytest.approx(5 / math.sqrt(12))


def test_rows_that_differ_err_independently() -> None:
    assert uncertainty_of_mean(np.array([1.0, 2.0, 3.0, 4.0]), 1.0) == pytest.approx(1 / math.sqrt(12) / 2)
    # Runs of three and one: sqrt(9 + 1) / 4.
    assert uncertainty_of_mean(np.array([1.0, 1.0, 1.0, 2.0]), 1.0) == pytest.approx(math.sqrt(10) / 4 / math.sqrt(12))


def test_values_that_were_not_written_have_no_last_digit() -> None:
    assert uncertainty_of_mean(np.array([math.pi, math.e]), 0.0) == 0
    assert uncertainty_of_mean(np.array([np.nan]), 1.0) == 0
