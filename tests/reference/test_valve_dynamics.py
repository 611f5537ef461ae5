"""Spring surge against a worked example and against a chain of masses; acceleration of valves against known lobes."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.linalg import eigvalsh_tridiagonal
from scipy.optimize import brentq

from builder.engine.constants import INCH, POUND
from builder.engine.lift_curve import lift_curve
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


@pytest.mark.parametrize("powers", [(6, 8, 10), (8, 14, 20), (10, 18, 26), (12, 22, 32)])
@pytest.mark.parametrize("marks", [(0.1, 0.4), (0.04, 0.1, 0.4)])
def test_the_curve_of_a_card_is_on_the_safe_side_at_the_nose(
    powers: tuple[int, int, int], marks: tuple[float, ...]
) -> None:
    """Polynomial lobes 2-p-q-r, level to the third derivative at the seat: 1.0 to 1.5 times the true deceleration.

    The family of polynomials is from Norton, Cam Design and Manufacturing Handbook, polynomial functions (from memory).
    """
    exponents = np.array([2, *powers], dtype=float)
    falling = [np.ones(4), exponents, exponents * (exponents - 1), exponents * (exponents - 1) * (exponents - 2)]
    factors = np.linalg.solve(np.array(falling), [-1.0, 0.0, 0.0, 0.0])
    half, peak = 150.0, 12e-3
    place = [brentq(lambda x, mark=mark: 1 + factors @ x**exponents - mark, 1e-6, 1 - 1e-9) for mark in marks]
    x = np.linspace(0.0, 1.0, 5001)[:, None]
    true = -((falling[2] * factors) * x ** (exponents - 2)).sum(axis=1).min() * peak / half**2
    curve = lift_curve(0.0, np.array(marks) * peak, 2 * half * np.array(place), peak)
    assert 1.0 <= curve.strongest_deceleration()[0] / true <= 1.5
