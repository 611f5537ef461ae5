"""The piston's motion from a complete record, with and without a pin offset."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from tests.support.figure_records import BOTTOM_END, V8, figure_of
from tests.support.view_samples import build_and_sheet

INCH = 0.0254


def test_motion_of_the_piston_with_pin_offset(tmp_path: Path) -> None:
    offset = BOTTOM_END.replace("type: forged", "type: forged\n      pin_offset: 0.060 in")
    plain, shifted = (figure_of(tmp_path, "piston_position", {**V8, "bottom_end": b}) for b in (BOTTOM_END, offset))
    quarter = 3.480 / 2 + 5.700 - math.sqrt(5.700**2 - 1.740**2)
    assert plain.positions[0].value == pytest.approx(quarter * INCH)
    assert shifted.positions[0].value != pytest.approx(plain.positions[0].value, rel=1e-4)
    speed, mean = (figure_of(tmp_path, slug, V8) for slug in ("piston_speed", "mean_piston_speed"))
    assert 1.55 < speed.value / mean.value < 1.70
    assert speed.note is not None
    assert "after TDC" in speed.note
    omega = 2 * math.pi * 100
    acceleration = figure_of(tmp_path, "piston_acceleration", V8)
    assert acceleration.value == pytest.approx(1.740 * INCH * omega**2 * (1 + 1.740 / 5.700))


def test_the_working_with_a_pin_offset_comes_to_the_figure(tmp_path: Path) -> None:
    offset = BOTTOM_END.replace("dish: 6.2 cc", "dish: 6.2 cc\n      pin_offset: 0.060 in")
    figure = figure_of(tmp_path, "piston_position", {**V8, "bottom_end": offset})
    half, rod, pin = 3.480 / 2, 5.700, 0.060
    lead = math.asin(pin / (half + rod))
    angle = math.radians(90) - lead
    down = math.sqrt((half + rod) ** 2 - pin**2) - half * math.cos(angle)
    down -= math.sqrt(rod**2 - (half * math.sin(angle) + pin) ** 2)
    assert figure.value == pytest.approx(down * 0.0254, rel=1e-9)
    working = figure.working.replace("\N{NO-BREAK SPACE}", " ")
    assert "sin δ = 0.060 in / (3.480 in / 2 + 5.700 in)" in working
    assert working.endswith(f"= {down:.4f} in") or working.endswith(f"= {down:.3f} in")


def test_an_engine_that_is_balanced_without_bobweights_has_none() -> None:
    """Cranks of inline and flat fours and sixes balance themselves: common practice, no source."""
    assert "bobweight" in build_and_sheet("breakdown-truck-v8")[1]
    _, launch = build_and_sheet("pilot-launch-four")
    assert "bobweight" not in launch
    assert "bobweight" not in {need.slug for need in launch.needs}
