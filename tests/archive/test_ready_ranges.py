"""Ready ranges of the finder."""

from __future__ import annotations

import itertools
import math
import random

import numpy as np
import pytest

from builder.archive.fields import BY_SLUG
from builder.archive.ready_ranges import _natural_breaks, ready_ranges
from builder.engine.constants import CUBIC_INCH

SIZES = (97, 98, 100, 120, 122, 170, 172, 289, 302, 306, 350, 355, 383, 383, 402, 406, 427, 482, 502, 540)


def test_ranges_are_where_the_builds_are_in_round_numbers() -> None:
    displacements = [size * CUBIC_INCH for size in SIZES]
    ranges = ready_ranges(displacements, BY_SLUG["displacement"], "inch")
    assert [350.0, 430.0] in ranges
    assert ranges == sorted(ranges)
    assert all(any(low <= size <= high for low, high in ranges) for size in SIZES)
    metric = ready_ranges(displacements, BY_SLUG["displacement"], "metric")
    assert [5700.0, 7000.0] in metric


def test_a_value_is_in_the_range_that_it_bounds() -> None:
    ratios = [8.0, 8.2, 8.5, 9.5, 9.6, 9.8, 10.0, 10.2, 11.5, 12.0, 12.1]
    assert [9.5, 10.2] in ready_ranges(ratios, BY_SLUG["compression_ratio"], "inch")


@pytest.mark.parametrize("values", [(), (1.0,), (9.0, 9.0, 9.0, 9.0), (9.0, 9.5, 10.0), (math.nan, -1.0, 0.0)])
def test_too_few_values_have_no_ranges(values: tuple[float, ...]) -> None:
    assert ready_ranges(values, BY_SLUG["compression_ratio"], "metric") == []


@pytest.mark.parametrize("seed", range(8))
def test_no_other_division_has_a_smaller_sum_of_squares(seed: int) -> None:
    rng = random.Random(seed)
    values = np.array(sorted(rng.uniform(0, 10) for _ in range(9)))
    counts = np.array([float(rng.randint(1, 4)) for _ in values])

    def squares(breaks: tuple[int, ...]) -> float:
        total = 0.0
        for start, end in itertools.pairwise((*breaks, values.size)):
            own, weight = values[start:end], counts[start:end]
            total += float(np.sum(weight * (own - np.average(own, weights=weight)) ** 2))
        return total

    best = min(squares((0, *inner)) for inner in itertools.combinations(range(1, values.size), 3))
    assert squares(tuple(_natural_breaks(values, counts, 4))) == pytest.approx(best)
