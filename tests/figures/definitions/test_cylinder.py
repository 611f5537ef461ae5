"""Cylinder and compression as a whole record gives them: values, working, standing, positions, what is missing."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from tests.support.figure_records import BOTTOM_END, BUILD, TOP_END, V8, figure_of, sheet_of

CC, INCH = 1e-6, 0.0254


def test_every_cylinder_is_computed_and_summed_up(tmp_path: Path) -> None:
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


def test_a_figure_is_as_well_known_as_its_weakest_input(tmp_path: Path) -> None:
    sheet = sheet_of(tmp_path, V8)
    basis = {slug: figure.provenance for slug in ("swept_volume", "displacement") if (figure := sheet.get(slug))}
    assert basis == {"swept_volume": "listed", "displacement": "listed"}
    measured = BOTTOM_END.replace("stroke: 3.480 in", "stroke: {measured: 3.480 in}")
    assert figure_of(tmp_path, "displacement", {**V8, "bottom_end": measured}).provenance == "measured"


def test_the_gauge_wins_over_the_sum_of_the_parts(tmp_path: Path) -> None:
    gauged = BOTTOM_END + "    deck_clearance: {unit: in, measured: [.021, .022, .021, .021, .020, .021, .021, .021]}\n"
    figure = figure_of(tmp_path, "deck_clearance", {**V8, "bottom_end": gauged})
    assert figure.positions[1].value == pytest.approx(0.022 * INCH)
    assert figure.working == "cylinder 1: by dial gauge: .021\N{NO-BREAK SPACE}in"


def test_the_working_holds_the_numbers_and_tidy_signs(tmp_path: Path) -> None:
    proud = BOTTOM_END.replace("compression_height: 1.560", "compression_height: 1.590")
    quench = figure_of(tmp_path, "quench", {**V8, "bottom_end": proud})
    assert quench.working == "−0.005 in + 0.039 in = 0.034 in".replace(" in", "\N{NO-BREAK SPACE}in")
    volume = figure_of(tmp_path, "clearance_volume", {**V8, "bottom_end": proud})
    assert "× (−0.005\N{NO-BREAK SPACE}in)" in volume.working
    assert "none recorded" not in volume.working


def test_what_is_missing_is_named_with_its_file(tmp_path: Path) -> None:
    without = "\n".join(line for line in TOP_END.splitlines() if "gasket:" not in line)
    sheet = sheet_of(tmp_path, {**V8, "top_end": without})
    needs = {need.slug: need.needs for need in sheet.needs}
    assert needs["quench"] == ("top_end.yaml: gasket.thickness",)
    assert set(needs["compression_ratio"]) == {"top_end.yaml: gasket.bore", "top_end.yaml: gasket.thickness"}
    assert "displacement" in sheet


def test_a_flat_top_must_be_said_not_guessed(tmp_path: Path) -> None:
    without = BOTTOM_END.replace("      dish: 6.2 cc\n", "")
    needs = {need.slug: need.needs for need in sheet_of(tmp_path, {**V8, "bottom_end": without}).needs}
    assert "0 cc for a flat top" in needs["crown_volume"][0]
    flat = BOTTOM_END.replace("dish: 6.2 cc", "dish: 0 cc")
    assert figure_of(tmp_path, "crown_volume", {**V8, "bottom_end": flat}).value == 0


@pytest.mark.parametrize("cylinders", [1, 3, 5, 7])
def test_odd_cylinder_counts_and_two_strokes(tmp_path: Path, cylinders: int) -> None:
    build = BUILD.replace("cylinders: 8", f"cylinders: {cylinders}\n      cycle: two-stroke").replace("layout: V", "")
    bottom = "block: {bores: 54.00 mm}\ncrankshaft: {stroke: 54.0 mm}\n"
    sheet = sheet_of(tmp_path, {"build": build, "bottom_end": bottom})
    swept = math.pi / 4 * 0.054**3
    assert sheet.value("displacement") == pytest.approx(cylinders * swept)
    assert sheet.value("air_demand") == pytest.approx(cylinders * swept * 100)


def test_motion_of_the_piston_with_pin_offset(tmp_path: Path) -> None:
    offset = BOTTOM_END.replace("type: forged", "type: forged\n      pin_offset: 0.060 in")
    plain, shifted = (figure_of(tmp_path, "piston_position", {**V8, "bottom_end": b}) for b in (BOTTOM_END, offset))
    quarter = 3.480 / 2 + 5.700 - math.sqrt(5.700**2 - 1.740**2)
    assert plain.positions[0].value == pytest.approx(quarter * INCH)
    assert shifted.positions[0].value != pytest.approx(plain.positions[0].value, rel=1e-4)
    speed, mean = (figure_of(tmp_path, slug, V8) for slug in ("piston_speed", "mean_piston_speed"))
    assert 1.55 < speed.value / mean.value < 1.70
    assert speed.note is not None
    assert "after the top" in speed.note
    omega = 2 * math.pi * 100
    acceleration = figure_of(tmp_path, "piston_acceleration", V8)
    assert acceleration.value == pytest.approx(1.740 * INCH * omega**2 * (1 + 1.740 / 5.700))


def test_uncertainty_is_carried_only_where_a_resolution_is_stated(tmp_path: Path) -> None:
    assert figure_of(tmp_path, "quench", V8).uncertainty is None
    stated = BOTTOM_END.replace(
        "compression_height: 1.560 in", "compression_height: {measured: 1.560 in, resolution: 0.001 in}"
    )
    quench = figure_of(tmp_path, "quench", {**V8, "bottom_end": stated})
    assert quench.uncertainty is not None
    # Four lengths written to 0.001 in, the stroke counted half: 2/sqrt(12) * sqrt(4 + 1/4) thousandths.
    assert quench.uncertainty == pytest.approx(2 * 0.001 * INCH / math.sqrt(12) * math.sqrt(4.25), rel=1e-6)
    assert "±" in quench.display


def test_digits_follow_the_inputs(tmp_path: Path) -> None:
    rough = BOTTOM_END.replace("stroke: 3.480 in", "stroke: 3.5 in")
    assert figure_of(tmp_path, "rod_ratio", {**V8, "bottom_end": rough}).display == "1.63"
    assert figure_of(tmp_path, "rod_ratio", V8).display == "1.638"


def test_the_working_of_the_piston_with_an_offset_pin_comes_out_at_its_figure(tmp_path: Path) -> None:
    offset = BOTTOM_END.replace("dish: 6.2 cc", "dish: 6.2 cc\n      pin_offset: 0.060 in")
    figure = figure_of(tmp_path, "piston_position", {**V8, "bottom_end": offset})
    half, rod, pin = 3.480 / 2, 5.700, 0.060
    lead = math.asin(pin / (half + rod))
    angle = math.radians(90) - lead
    down = math.sqrt((half + rod) ** 2 - pin**2) - half * math.cos(angle)
    down -= math.sqrt(rod**2 - (half * math.sin(angle) + pin) ** 2)
    assert figure.value == pytest.approx(down * 0.0254, rel=1e-9)
    said = figure.working.replace("\N{NO-BREAK SPACE}", " ")
    assert "sin δ = 0.060 in / (3.480 in / 2 + 5.700 in)" in said
    assert said.endswith(f"= {down:.4f} in") or said.endswith(f"= {down:.3f} in")


def test_the_deck_clearance_shows_how_tall_the_piston_is(tmp_path: Path) -> None:
    short = BOTTOM_END + "    deck_clearance: {unit: in, measured: [.105, .105, .105, .106, .105, .105, .105, .105]}\n"
    height = figure_of(tmp_path, "compression_height_from_deck", {**V8, "bottom_end": short})
    assert height.positions[0].value / INCH == pytest.approx(9.025 - (3.480 / 2 + 5.700 + 0.105))
    assert height.positions[3].value < height.positions[0].value
    needs = {need.slug: need.needs for need in sheet_of(tmp_path / "ungauged", V8).needs}
    assert needs["compression_height_from_deck"] == ("bottom_end.yaml: deck_clearance",)


def test_what_the_ratio_asked_for_would_take(tmp_path: Path) -> None:
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


def test_a_ratio_that_cannot_be_is_told_where_it_was_asked_for(tmp_path: Path) -> None:
    asked = BUILD.replace("red_line:", "compression_wanted: 0.95\n      red_line:")
    sheet = sheet_of(tmp_path, {**V8, "build": asked})
    assert "clearance_volume_wanted" not in sheet
    (problem,) = sheet.problems
    assert "must be greater than 1" in problem.message
    assert problem.path.name == "build.yaml"
    assert "compression_ratio" in sheet
