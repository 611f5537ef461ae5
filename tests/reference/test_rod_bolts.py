"""The load of a rod bolt against the accelerations of the masses, differentiated numerically.

Source: Heywood, Internal Combustion Engine Fundamentals, ch. 2 (slider-crank), and Newton's second law. Dividing the
rod into two masses is from Taylor, The Internal-Combustion Engine in Theory and Practice, vol. 2.
"""

from __future__ import annotations

import math

import pytest

from builder.engine.fasteners import tensile_stress_area
from builder.engine.rod_bolts import rod_bolt_load

STROKE, ROD, SPEED = 0.0884, 0.1448, 100.0


def pin_height(time: float) -> float:
    crank, throw = 2 * math.pi * SPEED * time, STROKE / 2
    return throw * math.cos(crank) + math.sqrt(ROD**2 - (throw * math.sin(crank)) ** 2)


def crankpin_height(time: float) -> float:
    return STROKE / 2 * math.cos(2 * math.pi * SPEED * time)


def acceleration(height, step: float = 1e-5) -> float:
    return (height(step) - 2 * height(0.0) + height(-step)) / step**2


def test_the_bolts_hold_what_accelerates_the_masses_above_the_parting_line() -> None:
    reciprocating, big_end, cap = 0.75, 0.42, 0.13
    pull = -reciprocating * acceleration(pin_height) - (big_end - cap) * acceleration(crankpin_height)
    assert rod_bolt_load(reciprocating, big_end, STROKE, ROD, SPEED, 2, cap) == pytest.approx(pull / 2, rel=1e-4)


def test_stress_area_of_a_common_rod_bolt() -> None:
    """7/16-20 UNF has a stress area of 0.1187 sq in (ASME B1.1, table of stress areas, from memory)."""
    area = tensile_stress_area(0.4375 * 0.0254, 0.0254 / 20, "unified")
    assert float(area) / 0.0254**2 == pytest.approx(0.1187, abs=0.0001)
