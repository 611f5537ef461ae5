"""Fits: measured wins, the parts give it otherwise, ranges are judged, and the odd one out is named."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from builder.figures.review.clearance_checks import CheckedClearance, check_clearances
from builder.record.models.shop import Shop
from tests.support.figure_records import BOTTOM_END, V8, figure_of, read, sheet_of

INCH = 0.0254


def fits(archive: Path, assembly: str, shop: Shop | None = None, **documents: str) -> dict[str, CheckedClearance]:
    build = read(archive, {**V8, "assembly": assembly, **documents})
    return {fit.title: fit for fit in check_clearances(build, shop or Shop())}


def test_oil_clearance_from_the_parts_where_nobody_gauged_it(tmp_path: Path) -> None:
    figure = figure_of(tmp_path, "main_oil_clearance", V8)
    by_hand = [2.6410 - 0.1900 - 2.4483, 2.6411 - 0.1900 - 2.4484]
    assert [p.value / INCH for p in figure.positions[:2]] == pytest.approx(by_hand)
    assert figure.axis == "main"
    gauged = "fits: {main_oil_clearance: {unit: in, measured: [0.0026, 0.0025, 0.0026, 0.0027, 0.0026]}}"
    measured = figure_of(tmp_path, "main_oil_clearance", {**V8, "assembly": gauged})
    assert [p.value / INCH for p in measured.positions] == pytest.approx([0.0026, 0.0025, 0.0026, 0.0027, 0.0026])
    assert measured.provenance == "measured"


def test_crankpins_of_a_v_engine_are_averaged_over_its_rods(tmp_path: Path) -> None:
    bottom = BOTTOM_END.replace(
        "rods: {length: 5.700 in}",
        "rods: {length: 5.700 in, big_end_bores: {unit: in, measured: [2.2250, 2.2252, 2.2250, 2.2250, 2.2250,"
        " 2.2250, 2.2250, 2.2250]}}",
    ).replace(
        "main_journals:", "rod_journals: {unit: in, measured: [2.0990, 2.0992, 2.0990, 2.0992]}\n      main_journals:"
    ).replace("main_shell: 0.0950 in", "main_shell: 0.0950 in, rod_shell: 0.0618 in")  # fmt: skip
    figure = figure_of(tmp_path, "rod_oil_clearance", {**V8, "bottom_end": bottom})
    assert len(figure.positions) == 8
    assert figure.positions[1].value / INCH == pytest.approx(2.2252 - 0.1236 - 2.0991)


BORES = """
    bore_gauging:
      unit: mm
      resolution: 0.001 mm
      taper_at_most: 0.006 mm
      out_of_round_at_most: 0.010 mm
      cylinders:
        - {cylinder: 1, depths: [{across: 81.507, along: 81.505}, {across: 81.505, along: 81.502},
                                 {across: 81.503, along: 81.502}]}
        - {cylinder: 2, depths: [{across: 81.509, along: 81.505}, {across: 81.506, along: 81.504},
                                 {across: 81.502, along: 81.502}]}
"""


def test_taper_and_out_of_round(tmp_path: Path) -> None:
    taper = figure_of(tmp_path, "bore_taper", {**V8, "work": BORES})
    assert [p.value for p in taper.positions] == pytest.approx([4e-6, 7e-6], rel=1e-6)
    assert taper.value == pytest.approx(7e-6, rel=1e-6)
    assert taper.working.replace("\N{NO-BREAK SPACE}", " ").startswith("cylinder 2: 81.509 mm − 81.502 mm = 0.")
    assert taper.uncertainty is not None
    round_ = figure_of(tmp_path, "bore_out_of_round", {**V8, "work": BORES})
    assert [p.value for p in round_.positions] == pytest.approx([3e-6, 4e-6], rel=1e-6)
    judged = fits(tmp_path, "by: RT", work=BORES)
    assert judged["Bore taper"].verdict == "out of range"
    assert [at.label for at in judged["Bore taper"].out_of_range] == ["2"]
    assert judged["Bore out of round"].verdict == "in range"


RANGES = """
    fits:
      piston_clearance:
        unit: in
        allowed: 0.0035..0.0045
        rule: maker's sheet
        measured: [0.0040, 0.0041, 0.0040, 0.0039, 0.0040, 0.0049, 0.0040, 0.0041]
      crank_end_float:
        unit: in
        allowed: 0.004..0.008
        measured: 0.009
        accepted: {why: new thrust shells measured the same, by: RT}
      rod_side_clearance: {unit: in, at_least: 0.010, measured: [0.010, 0.011, 0.010, 0.010]}
      pin_clearance: {unit: in, measured: 0.0006}
      other: [{name: oil pump end clearance, reading: {unit: in, at_most: 0.003, measured: 0.002}}]
"""


def test_every_position_against_the_range_that_is_stated(tmp_path: Path) -> None:
    judged = fits(tmp_path, RANGES)
    piston = judged["Piston clearance"]
    assert piston.verdict == "out of range"
    assert [(at.label, at.text) for at in piston.out_of_range] == [("6", "0.0049\N{NO-BREAK SPACE}in")]
    assert piston.outlier == "6"
    assert piston.allowed.authority == "maker's sheet"
    assert (piston.minimum.label, piston.maximum.label) == ("4", "6")
    assert piston.spread / INCH == pytest.approx(0.0010)
    assert piston.position_in_range == pytest.approx((0.0041250 - 0.0035) / 0.0010)
    assert piston.in_unit(piston.mean) == pytest.approx(0.004125)
    assert "cylinder 6 at 0.0049" in piston.text
    assert piston.where is not None
    assert piston.where[1] == 3


def test_accepted_says_why_and_by_whom(tmp_path: Path) -> None:
    float_ = fits(tmp_path, RANGES)["Crank end float"]
    assert float_.verdict == "out of range, accepted"
    assert float_.passes
    assert float_.text.endswith("accepted by RT because new thrust shells measured the same.")


def test_the_ends_of_a_range_are_inside_and_no_range_is_no_verdict(tmp_path: Path) -> None:
    judged = fits(tmp_path, RANGES)
    assert judged["Rod side clearance"].verdict == "in range"
    assert judged["Rod side clearance"].position_in_range is None
    assert judged["Pin clearance"].verdict == "no range"
    assert judged["Oil pump end clearance"].verdict == "in range"


def test_where_the_record_states_none_the_rule_of_thumb_speaks(tmp_path: Path) -> None:
    assembly = "fits: {top_ring_gap: {unit: in, measured: [.018, .019, .019, .019, .019, .019, .019, .019]}}"
    gap = fits(tmp_path, assembly)["Top ring gap"]
    assert gap.allowed.minimum is not None
    assert gap.allowed.minimum / INCH == pytest.approx(0.0045 * 4.030475)
    assert "common practice" in gap.allowed.authority
    assert [at.label for at in gap.out_of_range] == ["1"]
    wider = Shop.model_validate({"guidelines": {"ring_gap_per_bore": 0.0050}})
    own = fits(tmp_path, assembly, wider)["Top ring gap"]
    assert len(own.out_of_range) == 8
    assert "the shop's habit" in own.allowed.authority


def test_clearances_nobody_gauged_are_judged_as_the_parts_give_them(tmp_path: Path) -> None:
    build = read(tmp_path, V8)
    sheet = sheet_of(tmp_path, V8)
    (main,) = [fit for fit in check_clearances(build, Shop(), sheet) if fit.title == "Main oil clearance"]
    assert main.computed
    assert main.verdict == "in range"
    assert len(main.readings) == 5


def test_cylinders_against_each_other(tmp_path: Path) -> None:
    checks = """
        checks:
          leak_down: {unit: '%', at_most: 20, measured: [5, 6, 5, 5, 7, 5, 14, 5]}
          cranking_compression: {unit: psi, measured: [172, 150, 170, 173, 171, 172, 175, 173]}
          coil_bind: {unit: in, measured: 0.050}
          intake_piston_to_valve: {unit: mm, at_least: 1.5, measured: 1.9}
    """
    judged = fits(tmp_path, checks)
    assert judged["Leak down"].verdict == "in range"
    assert judged["Leak down"].outlier == "7"
    assert judged["Leak-down, best to worst"].verdict == "out of range"
    assert judged["Cranking compression, worst of best"].verdict == "out of range"
    assert judged["Cranking compression, worst of best"].readings[0].value == pytest.approx(150 / 175)
    assert judged["Coil bind"].verdict == "out of range"
    # A range that the record states wins over the guideline of 0.080 in.
    assert judged["Intake piston to valve"].verdict == "in range"


JOINTS = """
    fasteners:
      - {joint: main caps, size: 1/2-13, torque: 100 lbf.ft, nut_factor: 0.20}
      - {joint: rod bolts, size: M9x1, torque: 20 N.m, angle: 90 deg, nut_factor: 0.15}
      - {joint: rocker cover, torque: 60 lbf.in}
      - {joint: main caps, size: 1/2-13, torque: 90 lbf.ft, nut_factor: 0.20}
"""


def test_torques_in_both_systems_and_preload_with_its_width(tmp_path: Path) -> None:
    torque = figure_of(tmp_path, "fastener_torque", {**V8, "assembly": JOINTS})
    assert [p.label for p in torque.positions] == ["main caps", "rod bolts", "rocker cover", "main caps (2)"]
    assert torque.positions[0].display == "100\N{NO-BREAK SPACE}lbf ft"
    assert torque.positions[0].alternate_text == "136\N{NO-BREAK SPACE}N m"
    preload = figure_of(tmp_path, "fastener_preload", {**V8, "assembly": JOINTS})
    # An angle after the torque leaves nothing to estimate from, and neither does a joint of unknown size.
    assert [p.label for p in preload.positions] == ["main caps", "main caps (2)"]
    force = 100 * 1.3558179483314004 / (0.20 * 0.5 * INCH)
    assert preload.value == pytest.approx(force)
    assert preload.uncertainty == pytest.approx(0.25 * force, rel=0.03)
    assert preload.note is not None
    assert "25%" in preload.note


def test_where_fits_lie_in_their_ranges(tmp_path: Path) -> None:
    position = figure_of(tmp_path, "fit_position", {**V8, "assembly": RANGES})
    values = {p.label: p.value for p in position.positions}
    assert values == pytest.approx({"Piston clearance": 0.625, "Crank end float": 1.25})


def test_an_oil_clearance_read_finely_says_how_sure_it_is(tmp_path: Path) -> None:
    gauged = "{unit: mm, allowed: 0.040..0.070, measured: [0.058, 0.060, 0.054, 0.059, 0.059], resolution: 0.001 mm}"
    figure = figure_of(tmp_path, "main_oil_clearance", {**V8, "assembly": f"fits: {{main_oil_clearance: {gauged}}}"})
    # JCGM 100: a resolution is a rectangular distribution, the mean of five readings is sqrt(5) surer, k = 2.
    assert figure.uncertainty == pytest.approx(2 * 0.001e-3 / 12**0.5 / 5**0.5)
    assert " ± " in figure.display


def test_the_clamping_force_of_every_joint_is_written_as_the_first_is(tmp_path: Path) -> None:
    joints = "fasteners:\n  - {joint: caps, size: M11x1.5, torque: 85 N.m, nut_factor: 0.17}\n"
    figure = figure_of(tmp_path, "fastener_preload", {**V8, "assembly": joints})
    assert figure.value == pytest.approx(85 / (0.17 * 0.011))
    number = figure.display.partition(" ± ")[0]
    assert figure.working.replace("\N{NO-BREAK SPACE}", " ").endswith(f"= {number} lbf")


def test_a_nut_factor_follows_from_the_friction_where_none_is_written(tmp_path: Path) -> None:
    joints = """
    fasteners:
      - {joint: main caps, size: 3/4-16, torque: 3551 lbf.in, friction: 0.15}
      - {joint: rod bolts, torque: 60 N.m, friction: 0.15}
"""
    figure = figure_of(tmp_path, "fastener_preload", {**V8, "assembly": joints})
    # Shigley, example 8-3 (from memory): 3551 lbf in give 25,000 lbf on this thread; without a size there is nothing.
    assert figure.value / 4.4482216152605 == pytest.approx(25_000, rel=1e-3)
    assert figure.positions == () or [p.label for p in figure.positions] == ["main caps"]
    assert "(friction 0.15)" in figure.working


STRETCHED = """
    fasteners:
      - {joint: main caps, size: 1/2-13, torque: 100 lbf.ft, nut_factor: 0.20}
      - joint: rod bolts
        size: M9x1
        stretch: {unit: mm, measured: [0.15, 0.16, 0.15, 0.14]}
        shank_length: 36 mm
        shank_diameter: 8.2 mm
        thread_length: 6 mm
      - {joint: head studs, size: M11x1.25, stretch: 0.30 mm, thread_length: 105 mm}
      - {joint: flywheel, size: M10x1, stretch: 0.02 mm}
"""


def test_clamping_force_of_bolts_whose_stretch_was_measured(tmp_path: Path) -> None:
    figure = figure_of(tmp_path, "stretch_preload", {**V8, "assembly": STRETCHED})
    # A joint whose bolt nobody measured the length of is left out.
    assert [p.label for p in figure.positions] == ["rod bolts", "head studs"]
    area_m9, area_m11 = (math.pi / 4 * ((d - 0.9382 * p) * 1e-3) ** 2 for d, p in ((9, 1), (11, 1.25)))
    rods = 207e9 * 0.15e-3 / (0.036 / (math.pi / 4 * 0.0082**2) + 0.006 / area_m9)
    studs = 207e9 * 0.30e-3 / (0.105 / area_m11)
    assert [p.value for p in figure.positions] == pytest.approx([rods, studs])
    # A twentieth either way, and what the last digit of the stretch leaves open besides.
    assert figure.uncertainty is not None
    assert 0.05 < figure.uncertainty / figure.value < 0.09
    torqued = figure_of(tmp_path / "torque", "fastener_preload", {**V8, "assembly": STRETCHED})
    assert torqued.value == pytest.approx(100 * 1.3558179483314004 / (0.20 * 0.5 * INCH))
