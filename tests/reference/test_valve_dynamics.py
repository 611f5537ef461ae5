"""Spring surge against a worked example and against a chain of masses; acceleration of valves against known lobes."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.linalg import eigvalsh_tridiagonal

from builder.engine.constants import INCH, POUND
from builder.engine.valve_dynamics import surge_frequency

LBF_PER_INCH = 4.4482216152605 / INCH


def test_surge_of_a_worked_example() -> None:
    """Music wire spring of 48.1 lbf/in, active coils of 0.0586 lb: 281 Hz.

    Shigley, Mechanical Engineering Design, chapter on springs, the example of fatigue of a compression spring, part
    on the critical frequency (from memory).
    """
    assert surge_frequency(48.1 * LBF_PER_INCH, 0.0586 * POUND) == pytest.approx(281, abs=1)


def test_surge_is_the_lowest_frequency_of_a_chain_of_masses() -> None:
    """A spring as 2000 small masses between fixed ends, its frequencies by SciPy."""
    rate, mass, count = 60e3, 0.07, 2000
    link, point = rate * (count + 1), mass / count
    diagonal, neighbors = np.full(count, 2 * link / point), np.full(count - 1, -link / point)
    lowest = eigvalsh_tridiagonal(diagonal, neighbors, select="i", select_range=(0, 0))[0]
    assert surge_frequency(rate, mass) == pytest.approx(np.sqrt(lowest) / (2 * np.pi), rel=1e-3)
