"""The valve train at speed from a record: surge of the springs."""

from __future__ import annotations

from pathlib import Path

import pytest

from builder.record.models.shop import Guidelines, Shop
from tests.support.figure_records import TOP_END, V8, sheet_of

LBF_PER_INCH = 4.4482216152605 / 0.0254

WEIGHED = (
    TOP_END
    + """
    springs: {installed_height: 1.800 in, rate: 350 lbf/in, seat_load: 125 lbf, mass: 60 g, active_coils: 4.5,
              total_coils: 6.5}
"""
)


def test_surge_of_the_springs_in_hertz_and_cam_orders(tmp_path: Path) -> None:
    sheet = sheet_of(tmp_path, {**V8, "top_end": WEIGHED})
    frequency = (350 * LBF_PER_INCH / (0.060 * 4.5 / 6.5)) ** 0.5 / 2
    assert sheet.value("spring_surge_frequency") == pytest.approx(frequency)
    assert sheet.value("spring_surge_order") == pytest.approx(frequency / 50)
    assert "spring_surge" not in {caution.name for caution in sheet.cautions}


def test_heavy_springs_are_a_caution(tmp_path: Path) -> None:
    heavy = WEIGHED.replace("mass: 60 g", "mass: 104 g")
    sheet = sheet_of(tmp_path, {**V8, "top_end": heavy})
    assert "spring_surge" in {caution.name for caution in sheet.cautions}
    allowed = Shop(guidelines=Guidelines(least_surge_order=9))
    assert "spring_surge" not in {c.name for c in sheet_of(tmp_path, {**V8, "top_end": heavy}, allowed).cautions}
