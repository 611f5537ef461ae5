"""The solver: impossible inputs become problems with file and line, and everything else still appears."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest

from builder.figures.core.inputs import Context
from builder.figures.core.registry import SECTIONS
from builder.figures.core.solver import Solver
from builder.figures.core.types import Figure, MissingInputs
from builder.figures.definitions import REGISTRY
from builder.record.load import errors_in
from builder.record.models.shop import Shop
from tests.support.figure_records import BOTTOM_END, CAM, TOP_END, V8, figure_of, line_of, read, sheet_of

INCH = 0.0254


def test_a_rod_shorter_than_half_the_stroke(tmp_path: Path) -> None:
    short = BOTTOM_END.replace("length: 5.700 in", "length: 1.700 in")
    sheet = sheet_of(tmp_path, {**V8, "bottom_end": short})
    (problem,) = errors_in(sheet.problems)
    assert problem.path.name == "bottom_end.yaml"
    assert problem.line == line_of(tmp_path, "length: 1.700", "bottom_end")
    assert f"rod length 1.700 in (bottom_end.yaml:{problem.line})" in problem.message
    stroke = line_of(tmp_path, "stroke:", "bottom_end")
    assert f"stroke 3.480 in (bottom_end.yaml:{stroke})" in problem.message
    assert "bore" not in problem.message
    assert "displacement" in sheet
    assert "main_oil_clearance" in sheet
    assert "compression_ratio" not in sheet


def test_no_room_above_the_piston(tmp_path: Path) -> None:
    domed = BOTTOM_END.replace("dish: 6.2 cc", "dome: 120 cc")
    sheet = sheet_of(tmp_path, {**V8, "bottom_end": domed})
    (problem,) = sheet.problems
    line = line_of(tmp_path, "dome:", "bottom_end")
    assert f"dome 120 cc (bottom_end.yaml:{line})" in problem.message
    assert f"(top_end.yaml:{line_of(tmp_path, 'chambers:', 'top_end')})" in problem.message
    assert "swept_volume" in sheet
    assert "quench" in sheet
    assert "compression_ratio" not in sheet


def test_an_intake_that_closes_before_it_opens(tmp_path: Path) -> None:
    events = "at: 0.050 in\n          intake_opens: 15 deg\n          intake_closes: -197 deg\n"
    degreed = CAM + f"    degreeing:\n      events:\n        - {events}"
    sheet = sheet_of(tmp_path, {**V8, "cam": degreed})
    conflicts = [problem for problem in sheet.problems if "closes before it opens" in problem.message]
    assert len(conflicts) == 1
    assert conflicts[0].path.name == "cam.yaml"
    assert conflicts[0].line == line_of(tmp_path, "intake_opens:", "cam")
    for event, degrees in (("opens", "15°"), ("closes", "−197°")):
        line = line_of(tmp_path, f"intake_{event}:", "cam")
        assert f"intake {event}, by degree wheel {degrees} (cam.yaml:{line})" in conflicts[0].message
    assert "compression_ratio" in sheet
    assert "lobe_separation" in sheet
    assert "valve_lift" in sheet


def test_a_missing_input_names_every_way_to_record_it(tmp_path: Path) -> None:
    needs = {need.slug: "; ".join(need.needs) for need in sheet_of(tmp_path, {"build": V8["build"]}).needs}
    humidity = "relative_humidity, wet_bulb, dew_point or vapor_pressure"
    assert needs["vapor_pressure"] == f"dyno.yaml: conditions: {humidity}"
    assert humidity in needs["air_density"]
    for event in ("intake_opens", "exhaust_closes"):
        side = event.partition("_")[0]
        assert needs[event] == f"cam.yaml: degreeing.events, or card.{side}.durations with a centerline"


def test_what_would_do_instead_of_a_missing_input(tmp_path: Path) -> None:
    bottom_end = "block: {bores: 4.03 in}\ncrankshaft: {stroke: 3.48 in}\n"
    needs = {need.slug: need for need in sheet_of(tmp_path, {"build": V8["build"], "bottom_end": bottom_end}).needs}
    heights = tuple(f"bottom_end.yaml: {path}" for path in (
        "block.deck_height", "rods.length", "pistons.compression_height"))  # fmt: skip
    deck = needs["deck_clearance"]
    assert (deck.needs, deck.instead) == (("bottom_end.yaml: deck_clearance",), (heights,))
    assert deck.text == f"bottom_end.yaml: deck_clearance (or {' and '.join(heights)})"
    quench = needs["quench"]
    assert quench.instead == ((*heights, "top_end.yaml: gasket.thickness"),)
    assert quench.text.endswith(f" (or {' and '.join(heights)}, in place of bottom_end.yaml: deck_clearance)")
    assert needs["rod_ratio"].instead == ()


def test_an_impossible_pair_is_reported_once(tmp_path: Path) -> None:
    short = BOTTOM_END.replace("length: 5.700 in", "length: 1.000 in")
    assert len(errors_in(sheet_of(tmp_path, {**V8, "bottom_end": short}).problems)) == 1


def test_an_impossible_input_is_a_problem_too(tmp_path: Path) -> None:
    twice = CAM + "    degreeing:\n      intake: [{lift: 0.3 in, opening: 72 deg, closing: 72 deg}]\n"
    sheet = sheet_of(tmp_path, {**V8, "cam": twice})
    assert any("same place" in p.message and p.path.name == "cam.yaml" for p in sheet.problems)
    assert "displacement" in sheet


def test_what_if_puts_another_value_in_place(tmp_path: Path) -> None:
    context = Context(read(tmp_path, V8), Shop(), REGISTRY)
    stroke = Solver(context).input("stroke")
    assert stroke is not None
    longer = Solver(context, {"stroke": replace(stroke, values=0.1)}).figure("rod_ratio")
    assert isinstance(longer, Figure)
    assert longer.value == pytest.approx(5.7 * 0.0254 / 0.1)
    nothing = Solver(context, {"stroke": None}).figure("rod_ratio")
    assert isinstance(nothing, MissingInputs)


def test_leaving_uncertainty_out_changes_no_value(tmp_path: Path) -> None:
    context = Context(read(tmp_path, V8), Shop(), REGISTRY)
    full, plain = Solver(context), Solver(context, with_uncertainty=False)
    for slug in REGISTRY.figures:
        figure, without = full.figure(slug), plain.figure(slug)
        assert isinstance(figure, Figure) == isinstance(without, Figure), slug
        if isinstance(figure, Figure) and isinstance(without, Figure):
            assert without.value == pytest.approx(figure.value, rel=1e-12), slug


def test_positions_that_were_not_all_measured_are_left_out_not_guessed(tmp_path: Path) -> None:
    only_intake = CAM.replace("lobe_lift: 0.335 in, durations: [{at: 0.050 in, duration: 236 deg}]", "lash: 0.020 in")
    lift = sheet_of(tmp_path, {**V8, "cam": only_intake}).get("valve_lift")
    assert lift is not None
    assert [position.label for position in lift.positions] == ["intake"]


def test_every_figure_says_what_it_is() -> None:
    for slug, definition in REGISTRY.figures.items():
        description = definition.description
        assert description.section in SECTIONS, slug
        assert description.means.endswith("."), slug
        assert description.source, slug
        assert description.validity not in ("", "any engine", "as measured"), slug
        for method in definition.methods:
            assert method.working, slug
            for name in method.inputs:
                assert name in REGISTRY.inputs or name in REGISTRY.figures, (slug, name)


def test_top_end_alone_gives_what_it_can(tmp_path: Path) -> None:
    sheet = sheet_of(tmp_path, {"build": V8["build"], "top_end": TOP_END})
    assert "displacement" not in sheet
    assert all(need.needs for need in sheet.needs)


def test_an_integer_ratio_is_exact(tmp_path: Path) -> None:
    """A follower of ratio 1 must not cost the lift its digits."""
    record = {"build": V8["build"], "top_end": "rockers: {ratio: 1}", "cam": "card: {intake: {lobe_lift: 9.90 mm}}"}
    lift = sheet_of(tmp_path, record).get("valve_lift")
    assert lift is not None
    assert lift.display == "9.90\N{NO-BREAK SPACE}mm"


def test_the_provenance_of_a_figure_is_that_of_its_weakest_input(tmp_path: Path) -> None:
    sheet = sheet_of(tmp_path, V8)
    provenances = {slug: figure.provenance for slug in ("swept_volume", "displacement") if (figure := sheet.get(slug))}
    assert provenances == {"swept_volume": "listed", "displacement": "listed"}
    measured = BOTTOM_END.replace("stroke: 3.480 in", "stroke: {measured: 3.480 in}")
    assert figure_of(tmp_path, "displacement", {**V8, "bottom_end": measured}).provenance == "measured"


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


def test_uncertainty_is_shown_only_where_a_resolution_is_stated(tmp_path: Path) -> None:
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


ZERO_LASH = CAM.replace("lobe_lift: 0.335 in", "lobe_lift: 0.335 in, lash: 0 in")


def test_exact_numbers_carry_no_rounding_of_their_own(tmp_path: Path) -> None:
    """A lash of 0 and a rocker of 1.6 leave the lift the digits of the lobe: 0.335 in x 1.6 = 0.536 in."""
    sheet = sheet_of(tmp_path, {**V8, "cam": ZERO_LASH})
    lift = sheet["valve_lift"]
    assert (lift.number, lift.unit) == ("0.536", "in")
    assert lift.working == "intake: 0.335\N{NO-BREAK SPACE}in × 1.6 − 0\N{NO-BREAK SPACE}in = 0.536\N{NO-BREAK SPACE}in"
    assert sheet["curtain_area"].number == "3.267"
    proud = BOTTOM_END.replace("dish: 6.2 cc", "dish: 6.2 cc\n      dome: 0 cc")
    assert sheet_of(tmp_path, {**V8, "bottom_end": proud})["crown_volume"].number == "6.2"


def test_a_sum_has_the_digits_of_its_parts(tmp_path: Path) -> None:
    installed = (
        CAM.replace("lobe_separation: 110", "lobe_separation: 112.5") + "    installed: {intake_centerline: 110 deg}\n"
    )
    assert figure_of(tmp_path, "cam_advance", {**V8, "cam": installed}).working == "112.5° − 110° = 2.5°"
    dial = BOTTOM_END + "    deck_clearance: {unit: in, measured: 0.0130}\n"
    quench = figure_of(tmp_path, "quench", {**V8, "bottom_end": dial, "top_end": TOP_END.replace("0.039", "0.022")})
    assert quench.display == "0.0350\N{NO-BREAK SPACE}in"


def test_temperatures_go_into_a_working_in_kelvin(tmp_path: Path) -> None:
    """The formulas take kelvin: 22 °C is 295.15 K, NIST SP 811, B.9."""
    dyno = "conditions: {barometer: 1000 hPa, barometer_is: station, temperature: 22 degC, relative_humidity: 40 %}\n"
    dyno += "pulls: [{name: one, file: pull.csv, readings: observed}]\n"
    build_folder = tmp_path / "builds" / "test-engine"
    build_folder.mkdir(parents=True)
    rows = "\n".join(f"{speed},{200 + speed / 100}" for speed in range(2000, 5000, 100))
    (build_folder / "pull.csv").write_text(f"rpm,torque (N m)\n{rows}\n", encoding="utf-8")
    sheet = sheet_of(tmp_path, {**V8, "dyno": dyno})
    assert "over water at 295.15\N{NO-BREAK SPACE}K" in sheet["saturation_vapor_pressure"].working
    assert sheet["air_density"].working.count("295.15\N{NO-BREAK SPACE}K") == 1
    assert [item.text for item in sheet["air_density"].inputs][-1] == "22\N{NO-BREAK SPACE}°C"


def test_a_figure_says_in_words_what_it_was_calculated_from(tmp_path: Path) -> None:
    bottom = BOTTOM_END.replace("stroke: 3.480 in", "stroke: {measured: 3.480 in}")
    sheet = sheet_of(tmp_path, {**V8, "bottom_end": bottom})
    displacement, swept = sheet["displacement"], sheet["swept_volume"]
    assert displacement.provenance_text == "calculated"
    assert displacement.calculated_from == swept.calculated_from == "calculated: bore and stroke measured"
    rod_ratio = sheet["rod_ratio"]
    assert rod_ratio.calculated_from == "calculated: stroke measured; rod length from catalog"
    assert sheet["lobe_separation"].provenance_text == "from catalog"
    assert sheet["lobe_separation"].calculated_from == ""


def test_a_figure_with_positions_shows_its_range_before_its_mean(tmp_path: Path) -> None:
    assert figure_of(tmp_path, "compression_ratio", V8).display_with_range == "9.65 to 9.68:1, mean 9.66"
    same = BOTTOM_END.replace("main_bores: {unit: in, measured: [2.6410, 2.6411, 2.6410, 2.6411, 2.6410]}", "")
    assert figure_of(tmp_path, "rod_ratio", {**V8, "bottom_end": same}).display_with_range == "1.638"
