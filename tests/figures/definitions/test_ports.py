"""Figures of a two-stroke's ports from a record: heights or angles, areas, and what a four-stroke does not lack."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from tests.support.figure_records import BUILD, V8, figure_of, sheet_of

MM = 1e-3
TWO_STROKE = {
    "build": BUILD.replace("cylinders: 8", "cylinders: 2\n      cycle: two-stroke").replace("layout: V", ""),
    "bottom_end": """
        block: {bores: 54.00 mm}
        crankshaft: {stroke: 54.50 mm}
        rods: {length: 110.00 mm}
        pistons: {dish: 0 cc}
        deck_clearance: {unit: mm, measured: [0.26, 0.28]}
        """,
    "top_end": """
        heads: {chambers: {unit: cc, measured: [10.2, 10.1]}}
        gasket: {bore: 54.5 mm, thickness: 0.50 mm}
        """,
    "ports": """
        exhaust: {roof: {unit: mm, measured: [26.55, 26.55]}, width: 37.0 mm}
        transfer: {count: 4, opens: {unit: deg, measured: [103.0, 104.0]}, width: 16.5 mm}
        intake: {control: rotary valve, opens: 140 deg, closes: 65 deg}
        crankcase_volume: 268 cc
        """,
}


def crown(degrees: float) -> float:
    """Return how far the crown is below TDC [m]."""
    throw, rod, theta = 27.25 * MM, 110 * MM, math.radians(degrees)
    return throw + rod - throw * math.cos(theta) - math.sqrt(rod**2 - (throw * math.sin(theta)) ** 2)


def test_the_opening_follows_from_the_height_and_the_deck_clearance(tmp_path: Path) -> None:
    opens = figure_of(tmp_path, "exhaust_port_opens", TWO_STROKE)
    for position, clearance in zip(opens.positions, (0.26, 0.28), strict=True):
        assert crown(position.value) / MM == pytest.approx(26.55 - clearance)


def test_the_height_follows_from_the_degree_wheel(tmp_path: Path) -> None:
    sheet = sheet_of(tmp_path, TWO_STROKE)
    roof = sheet.get("transfer_port_roof")
    assert roof is not None
    assert roof.positions[1].value == pytest.approx(0.28 * MM + crown(104.0))
    assert sheet.value("blowdown") == pytest.approx(103.5 - sheet.value("exhaust_port_opens"))


def test_what_is_trapped_and_what_the_crankcase_does(tmp_path: Path) -> None:
    sheet = sheet_of(tmp_path, TWO_STROKE)
    trapped = sheet.get("trapped_compression_ratio")
    clearance = sheet.get("clearance_volume")
    assert trapped is not None
    assert clearance is not None
    area = math.pi / 4 * (54 * MM) ** 2
    volume = clearance.positions[0].value
    assert trapped.positions[0].value == pytest.approx((volume + area * (26.55 - 0.26) * MM) / volume)
    assert sheet.value("crankcase_compression_ratio") == pytest.approx(1 + area * 54.5 * MM / 268e-6)
    assert sheet.value("intake_port_duration") == pytest.approx(205)


def test_only_an_engine_with_ports_lacks_them(tmp_path: Path) -> None:
    four_stroke = {need.slug for need in sheet_of(tmp_path, V8).needs}
    two_stroke = {need.slug for need in sheet_of(tmp_path / "two", {**TWO_STROKE, "ports": "premix: 25"}).needs}
    assert "exhaust_port_opens" not in four_stroke
    assert "exhaust_port_opens" in two_stroke
    assert "valve_lift" not in two_stroke
