"""Two-stroke ports: both ways between height and angle, areas, ratios, and what is refused."""

from __future__ import annotations

import math

import numpy as np
import pytest

from builder.engine import kinematics, ports

MM = 1e-3
STROKE, ROD, DECK = 54.5 * MM, 110 * MM, 0.3 * MM


def test_height_and_angle_are_inverse() -> None:
    angles = np.array([60.0, 82.0, 95.5, 120.0, 179.0])
    for offset in (0.0, 1.5 * MM, -1.5 * MM):
        roof = ports.port_roof(angles, DECK, STROKE, ROD, offset)
        assert ports.port_opens(roof, DECK, STROKE, ROD, offset) == pytest.approx(angles, abs=1e-7)


def test_a_higher_deck_clearance_opens_a_port_earlier() -> None:
    assert ports.port_opens(27 * MM, 0.8 * MM, STROKE, ROD) < ports.port_opens(27 * MM, DECK, STROKE, ROD)


def test_the_skirt_opens_an_intake_port_before_the_top() -> None:
    floor, skirt = 75 * MM, 45 * MM
    angle = float(ports.skirt_opens(floor, skirt, DECK, STROKE, ROD))
    position = kinematics.piston_position(math.radians(angle), STROKE, ROD)
    assert DECK + float(position) + skirt == pytest.approx(floor)


def test_areas_of_a_port_that_is_level_with_the_crown_at_the_bottom() -> None:
    floor = DECK + STROKE
    area = ports.port_area(27 * MM, floor, 38 * MM, 1, DECK, STROKE, ROD)
    assert area == pytest.approx((floor - 27 * MM) * 38 * MM)
    assert ports.port_area(27 * MM, floor, 19 * MM, 2, DECK, STROKE, ROD) == pytest.approx(area)
    below = ports.port_area(27 * MM, floor + 2 * MM, 38 * MM, 1, DECK, STROKE, ROD)
    assert below == pytest.approx(area)  # the piston covers what is lower


def test_trapped_and_crankcase_ratio() -> None:
    bore, clearance = 54 * MM, 11e-6
    ratio = ports.trapped_compression_ratio(bore, STROKE, ROD, clearance, 85.0)
    travel = float(ports.port_roof(85.0, 0.0, STROKE, ROD))
    assert ratio == pytest.approx((clearance + math.pi / 4 * bore**2 * travel) / clearance)
    assert ports.crankcase_compression_ratio(125e-6, 250e-6) == pytest.approx(1.5)
    assert ports.chordal_share(37.8 * MM, 54 * MM) == pytest.approx(0.7)
    assert ports.blowdown(82.0, 114.0) == 32.0


@pytest.mark.parametrize("call", [
    lambda: ports.port_opens(80 * MM, DECK, STROKE, ROD),
    lambda: ports.port_opens(0.1 * MM, DECK, STROKE, ROD),
    lambda: ports.port_roof(0.0, DECK, STROKE, ROD),
    lambda: ports.port_roof(180.0, DECK, STROKE, ROD),
    lambda: ports.skirt_opens(20 * MM, 45 * MM, DECK, STROKE, ROD),
    lambda: ports.port_area(30 * MM, 29 * MM, 38 * MM, 1, DECK, STROKE, ROD),
    lambda: ports.chordal_share(60 * MM, 54 * MM),
    lambda: ports.trapped_compression_ratio(54 * MM, STROKE, ROD, 11e-6, 190.0),
    lambda: ports.crankcase_compression_ratio(125e-6, 0.0),
])  # fmt: skip
def test_the_impossible_is_refused(call) -> None:
    with pytest.raises(ValueError, match=r"port|piston|zero"):
        call()
