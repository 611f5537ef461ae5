"""Two-stroke ports against brute-force kinematics and SciPy.

Source of the geometry: the slider-crank of Heywood, Internal Combustion Engine Fundamentals, ch. 2, here as two circles
that are intersected, without the project's formulas.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq

from builder.engine import ports

MM = 1e-3
BORE, STROKE, ROD, DECK = 54 * MM, 54.5 * MM, 110 * MM, 0.3 * MM


def pin_height(crank: float, offset: float) -> float:
    """Return the piston pin above the crankshaft's centre [m]: where the rod's circle meets the pin's line."""
    pin = complex(STROKE / 2 * math.sin(crank), STROKE / 2 * math.cos(crank))
    return pin.imag + math.sqrt(ROD**2 - (pin.real + offset) ** 2)


def crown_depth(crank: float, offset: float, top: float) -> float:
    return DECK + pin_height(top, offset) - pin_height(crank, offset)


@pytest.mark.parametrize("offset", [0.0, 1.2 * MM, -1.2 * MM])
@pytest.mark.parametrize("roof", [18 * MM, 24.5 * MM, 27 * MM, 36.7 * MM, 50 * MM])
def test_opening_against_a_search(roof: float, offset: float) -> None:
    cranks = np.radians(np.arange(-30, 30, 0.001))
    top = float(cranks[np.argmax([pin_height(crank, offset) for crank in cranks])])
    bottom = math.pi + top

    def above(crank: float) -> float:
        return crown_depth(crank, offset, top) - roof

    opens = math.degrees(brentq(above, top, bottom) - top)
    assert ports.port_opens(roof, DECK, STROKE, ROD, offset) == pytest.approx(opens, abs=0.002)


def test_angle_area_against_adaptive_integration() -> None:
    roof, floor, width = 27 * MM, DECK + STROKE, 38 * MM

    def area(degrees: float) -> float:
        return width * max(0.0, crown_depth(math.radians(degrees), 0.0, 0.0) - roof)

    opens = float(ports.port_opens(roof, DECK, STROKE, ROD))
    by_scipy = 2 * quad(area, opens, 180)[0]
    assert ports.angle_area(roof, floor, width, 1, DECK, STROKE, ROD) == pytest.approx(by_scipy, rel=1e-4)
