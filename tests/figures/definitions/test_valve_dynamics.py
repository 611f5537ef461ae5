"""The valve train at speed from a record: surge of the springs."""

from __future__ import annotations

from pathlib import Path

import pytest

from builder.record.models.shop import Guidelines, Shop
from tests.support.figure_records import BUILD, CAM, TOP_END, V8, sheet_of

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


MOVING = WEIGHED.replace("mass: 60 g", "mass: 60 g, retainer_mass: 24 g").replace(
    "diameter: 1.940 in", "diameter: 1.940 in, mass: 112 g"
)
TWO_LIFTS = CAM.replace(
    "{at: 0.050 in, duration: 230 deg}", "{at: 0.050 in, duration: 230 deg}, {at: 0.200 in, duration: 144 deg}"
)


def test_spring_force_needed_and_there(tmp_path: Path) -> None:
    sheet = sheet_of(tmp_path, {**V8, "top_end": MOVING, "cam": TWO_LIFTS})
    mass, acceleration = sheet.value("valve_train_mass"), sheet.value("valve_acceleration")
    assert mass == pytest.approx(0.112 + 0.024 + 0.020)
    assert acceleration is not None
    needed = 0.156 * acceleration
    assert sheet.value("spring_force_needed") == pytest.approx(needed)
    there = (125 + 350 * 0.335 * 1.6) * 4.4482216152605
    assert sheet.value("spring_margin") == pytest.approx(there / needed, rel=1e-6)


@pytest.mark.parametrize(("red_line", "is_caution"), [("3000 rpm", False), ("12000 rpm", True)])
def test_too_little_spring_force_is_a_caution(tmp_path: Path, red_line: str, is_caution: bool) -> None:
    build = BUILD.replace("red_line: 6000 rpm", f"red_line: {red_line}")
    sheet = sheet_of(tmp_path, {**V8, "build": build, "top_end": MOVING, "cam": TWO_LIFTS})
    assert ("spring_margin" in {caution.name for caution in sheet.cautions}) is is_caution


def test_a_card_of_one_low_lift_says_nothing_of_the_nose(tmp_path: Path) -> None:
    sheet = sheet_of(tmp_path, {**V8, "top_end": MOVING})
    assert "valve_acceleration" not in sheet
    assert "valve_train_mass" in sheet
