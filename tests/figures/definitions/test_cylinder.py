"""Cylinder and compression from a complete record: values at every cylinder, working, alternatives."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from tests.support.figure_records import BOTTOM_END, BUILD, V8, figure_of, sheet_of

CC, INCH = 1e-6, 0.0254


def test_every_cylinder_is_computed(tmp_path: Path) -> None:
    ratio = figure_of(tmp_path, "compression_ratio", V8)
    chambers = [64.2, 64.0, 64.1, 64.2, 64.0, 64.1, 64.3, 64.1]
    bores = [4.0305, 4.0304, 4.0306, 4.0305, 4.0303, 4.0305, 4.0306, 4.0304]
    deck = 9.025 - (3.480 / 2 + 5.700 + 1.560)
    by_hand = []
    for chamber, bore in zip(chambers, bores, strict=True):
        swept = math.pi / 4 * bore**2 * 3.480 * INCH**3
        gasket = math.pi / 4 * 4.100**2 * 0.039 * INCH**3
        above = chamber * CC + gasket + math.pi / 4 * bore**2 * deck * INCH**3 + 6.2 * CC
        by_hand.append((swept + above) / above)
    assert [p.value for p in ratio.positions] == pytest.approx(by_hand, rel=1e-12)
    assert ratio.value == pytest.approx(sum(by_hand) / 8, rel=1e-12)
    assert ratio.minimum is not None
    assert ratio.maximum is not None
    assert (ratio.minimum.label, ratio.maximum.label) == ("7", "2")
    assert ratio.spread == pytest.approx(max(by_hand) - min(by_hand))


def test_the_gauge_wins_over_the_sum_of_the_parts(tmp_path: Path) -> None:
    gauged = BOTTOM_END + "    deck_clearance: {unit: in, measured: [.021, .022, .021, .021, .020, .021, .021, .021]}\n"
    figure = figure_of(tmp_path, "deck_clearance", {**V8, "bottom_end": gauged})
    assert figure.positions[1].value == pytest.approx(0.022 * INCH)
    assert figure.working == "cylinder 1: by dial indicator: .021\N{NO-BREAK SPACE}in"


def test_a_flat_top_must_be_recorded(tmp_path: Path) -> None:
    without = BOTTOM_END.replace("      dish: 6.2 cc\n", "")
    needs = {need.slug: need.needs for need in sheet_of(tmp_path, {**V8, "bottom_end": without}).needs}
    assert "0 cc for a flat top" in needs["crown_volume"][0]
    flat = BOTTOM_END.replace("dish: 6.2 cc", "dish: 0 cc")
    assert figure_of(tmp_path, "crown_volume", {**V8, "bottom_end": flat}).value == 0


@pytest.mark.parametrize("cylinders", [1, 3, 5, 7])
def test_uneven_cylinder_counts_and_two_strokes(tmp_path: Path, cylinders: int) -> None:
    build = BUILD.replace("cylinders: 8", f"cylinders: {cylinders}\n      cycle: two-stroke").replace("layout: V", "")
    bottom = "block: {bores: 54.00 mm}\ncrankshaft: {stroke: 54.0 mm}\n"
    sheet = sheet_of(tmp_path, {"build": build, "bottom_end": bottom})
    swept = math.pi / 4 * 0.054**3
    assert sheet.value("displacement") == pytest.approx(cylinders * swept)
    assert sheet.value("air_demand") == pytest.approx(cylinders * swept * 100)


def test_the_deck_clearance_shows_how_tall_the_piston_is(tmp_path: Path) -> None:
    short = BOTTOM_END + "    deck_clearance: {unit: in, measured: [.105, .105, .105, .106, .105, .105, .105, .105]}\n"
    height = figure_of(tmp_path, "compression_height_from_deck", {**V8, "bottom_end": short})
    assert height.positions[0].value / INCH == pytest.approx(9.025 - (3.480 / 2 + 5.700 + 0.105))
    assert height.positions[3].value < height.positions[0].value
    needs = {need.slug: need.needs for need in sheet_of(tmp_path / "ungauged", V8).needs}
    assert needs["compression_height_from_deck"] == ("bottom_end.yaml: deck_clearance",)


def test_the_crown_that_the_ratio_asked_for_would_need(tmp_path: Path) -> None:
    asked = BUILD.replace("red_line:", "compression_wanted: 9.5\n      red_line:")
    sheet = sheet_of(tmp_path, {**V8, "build": asked})
    clearance, crown = sheet.get("clearance_volume_wanted"), sheet.get("crown_volume_wanted")
    assert clearance is not None
    assert crown is not None
    swept = math.pi / 4 * 4.0305**2 * 3.480 * INCH**3
    assert clearance.positions[0].value == pytest.approx(swept / 8.5)
    # With that dish in place of the one it has, the engine has the ratio that was asked for.
    dishes = ", ".join(f"{position.value / CC:.9f}" for position in crown.positions)
    dished = BOTTOM_END.replace("dish: 6.2 cc", f"dish: {{unit: cc, measured: [{dishes}]}}")
    assert dished != BOTTOM_END
    ratio = figure_of(tmp_path / "dished", "compression_ratio", {**V8, "bottom_end": dished})
    assert [position.value for position in ratio.positions] == pytest.approx([9.5] * 8, rel=1e-6)


def test_an_impossible_ratio_is_reported_where_it_was_asked_for(tmp_path: Path) -> None:
    asked = BUILD.replace("red_line:", "compression_wanted: 0.95\n      red_line:")
    sheet = sheet_of(tmp_path, {**V8, "build": asked})
    assert "clearance_volume_wanted" not in sheet
    (problem,) = sheet.problems
    assert "must be greater than 1" in problem.message
    assert problem.path.name == "build.yaml"
    assert "compression_ratio" in sheet
