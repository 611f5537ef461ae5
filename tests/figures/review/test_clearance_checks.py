"""Clearances and checks against their ranges: verdicts, accepted readings, rules of thumb, outliers."""

from __future__ import annotations

from pathlib import Path

import pytest

from builder.figures.review.clearance_checks import CheckedClearance
from builder.record.models.shop import Shop
from tests.support.figure_records import BORE_GAUGING, RANGES, V8, sheet_of

INCH = 0.0254


def checks_of(archive: Path, assembly: str, shop: Shop | None = None, **documents: str) -> dict[str, CheckedClearance]:
    """Return the checked clearances of a build by title."""
    sheet = sheet_of(archive, {**V8, "assembly": assembly, **documents}, shop)
    return {check.title: check for check in sheet.clearances}


def test_bores_against_the_gauge_card(tmp_path: Path) -> None:
    checks = checks_of(tmp_path, "by: RT", work=BORE_GAUGING)
    assert checks["Bore taper"].verdict == "out of spec"
    assert [at.label for at in checks["Bore taper"].out_of_range] == ["2"]
    assert checks["Bore out of round"].verdict == "within spec"


def test_every_position_against_the_range_that_is_stated(tmp_path: Path) -> None:
    checks = checks_of(tmp_path, RANGES)
    piston = checks["Piston clearance"]
    assert piston.verdict == "out of spec"
    assert [(at.label, at.text) for at in piston.out_of_range] == [("6", "0.0049\N{NO-BREAK SPACE}in")]
    assert piston.outlier == "6"
    assert piston.allowed.authority == "maker's sheet"
    assert (piston.minimum.label, piston.maximum.label) == ("4", "6")
    assert piston.position_in_range == pytest.approx((0.0041250 - 0.0035) / 0.0010)
    assert piston.in_unit(piston.mean) == pytest.approx(0.004125)
    assert "cylinder 6 at 0.0049" in piston.text
    assert piston.where is not None
    assert piston.where[1] == 3


FINISH = """\
surface_finish:
  bores:
    rpk: {unit: uin, measured: [10, 17, 16, 12, 11, 10, 10, 12]}
    rvk: {unit: um, measured: [0.60, 0.51, 0.50, 0.60, 0.60, 0.60, 0.60, 0.60]}
    ra: 15 uin
    crosshatch: 45 deg
  decks: {ra: {unit: uin, at_most: 30, measured: 42, rule: gasket maker}}
  heads: {ra: 42 uin}
"""


def test_surface_finish_against_range_and_guideline(tmp_path: Path) -> None:
    checks = checks_of(tmp_path, "by: RT", work=FINISH)
    assert [at.label for at in checks["Bore finish, Rpk"].out_of_range] == ["2"]
    assert checks["Bore finish, Rpk"].allowed.text == "at most 16\N{NO-BREAK SPACE}µin"
    # The guideline of 20 µin is 0.508 µm, which the page of a metric reading shows as 0.51.
    assert checks["Bore finish, Rvk"].allowed.text == "at least 0.51\N{NO-BREAK SPACE}µm"
    assert [at.label for at in checks["Bore finish, Rvk"].out_of_range] == ["3"]
    assert checks["Bore finish, Ra"].verdict == "no spec"
    assert checks["Crosshatch"].verdict == "within spec"
    assert (checks["Deck finish, Ra"].verdict, checks["Head face finish, Ra"].verdict) == ("out of spec", "within spec")
    assert checks["Deck finish, Ra"].caution_name == "decks_ra"
    own = Shop.model_validate({"guidelines": {"most_bore_rpk": "0 uin", "most_face_ra": "40 uin"}})
    checks = checks_of(tmp_path, "by: RT", own, work=FINISH)
    assert checks["Bore finish, Rpk"].verdict == "no spec"
    assert checks["Head face finish, Ra"].allowed.authority == "shop guideline"
    assert checks["Head face finish, Ra"].verdict == "out of spec"


@pytest.mark.parametrize(
    ("clearance", "verdict"),
    [("0.24 in", "out of spec"), ("0.250 in", "within spec"), ("3/8 in", "within spec"), ("0.51 in", "out of spec"),
     ("6 mm", "out of spec"), ("{unit: mm, allowed: 5..7, measured: 6}", "within spec")],
)  # fmt: skip
def test_pickup_clearance(tmp_path: Path, clearance: str, verdict: str) -> None:
    bottom_end = f"{V8['bottom_end'].rstrip()}\n    oil_pump: {{pickup_clearance: {clearance}}}\n"
    check = checks_of(tmp_path, "by: RT", bottom_end=bottom_end)["Oil pickup to pan floor"]
    assert check.verdict == verdict
    assert check.caution_name == "pickup_clearance"


def test_accepted_says_why_and_by_whom(tmp_path: Path) -> None:
    end_play = checks_of(tmp_path, RANGES)["Crank end play"]
    assert end_play.verdict == "out of spec, accepted"
    assert end_play.passes
    assert end_play.text.endswith("accepted by RT because new thrust shells measured the same.")


def test_the_ends_of_a_range_are_inside_and_no_range_is_no_verdict(tmp_path: Path) -> None:
    checks = checks_of(tmp_path, RANGES)
    assert checks["Rod side clearance"].verdict == "within spec"
    assert checks["Rod side clearance"].position_in_range is None
    assert checks["Pin clearance"].verdict == "no spec"
    assert checks["Oil pump end clearance"].verdict == "within spec"


def test_a_rule_of_thumb_applies_where_the_record_states_no_range(tmp_path: Path) -> None:
    assembly = "fits: {top_ring_gap: {unit: in, measured: [.018, .019, .019, .019, .019, .019, .019, .019]}}"
    gap = checks_of(tmp_path, assembly)["Top ring gap"]
    assert gap.allowed.minimum is not None
    assert gap.allowed.minimum / INCH == pytest.approx(0.0181)  # 0.0045 x 4.0305 as the page writes it
    assert "common practice" in gap.allowed.authority
    assert [at.label for at in gap.out_of_range] == ["1"]
    wider = Shop.model_validate({"guidelines": {"ring_gap_per_bore": 0.0050}})
    by_shop = checks_of(tmp_path, assembly, wider)["Top ring gap"]
    assert len(by_shop.out_of_range) == 8
    assert "shop guideline" in by_shop.allowed.authority


@pytest.mark.parametrize(
    ("engine", "induction", "per_bore"),
    [
        ("fuel: petrol, induction: turbo", "", 0.0055),
        ("fuel: methanol, induction: supercharged", "", 0.0055),
        ("fuel: methanol", "", 0.0045),
        ("fuel: petrol", "nitrous: {maker: Cinder Fuel}", 0.0065),
    ],
)
def test_the_ring_gap_follows_how_the_engine_is_fed(
    tmp_path: Path, engine: str, induction: str, per_bore: float
) -> None:
    build = f"title: T\nstatus: finished\nengine: {{cylinders: 8, layout: V, {engine}}}\n"
    assembly = "fits: {top_ring_gap: {unit: in, measured: [.018, .019, .019, .019, .019, .019, .019, .019]}}"
    gap = checks_of(tmp_path, assembly, build=build, top_end=f"induction: {{{induction}}}\n")["Top ring gap"]
    assert gap.allowed.minimum is not None
    assert gap.allowed.minimum / INCH == pytest.approx(per_bore * 4.0305, abs=6e-5)


def test_the_second_ring_gap_is_compared_with_the_top_one(tmp_path: Path) -> None:
    gaps = "{{unit: in, measured: [.0{0}, .0{0}, .0{0}, .0{0}, .0{0}, .0{0}, .0{0}, .0{0}]}}"
    assembly = f"fits: {{top_ring_gap: {gaps.format(22)}, second_ring_gap: {gaps.format(18)}}}"
    found = checks_of(tmp_path, assembly)["Second ring gap"]
    assert found.verdict == "out of spec"
    assert "× the top ring gap" in found.allowed.authority
    narrower = Shop.model_validate({"guidelines": {"second_ring_gap_over_top": 0.8}})
    assert checks_of(tmp_path, assembly, narrower)["Second ring gap"].verdict == "within spec"
    stated = assembly.replace("second_ring_gap: {", "second_ring_gap: {at_least: 0.016 in, ")
    assert checks_of(tmp_path, stated)["Second ring gap"].verdict == "within spec"
    boosted = Shop.model_validate({"guidelines": {"boosted_second_ring_gap_over_top": 0.8}})
    nitrous = "induction: {nitrous: {kind: with its own fuel}}\n"
    found = checks_of(tmp_path, assembly, boosted, top_end=nitrous)["Second ring gap"]
    assert found.verdict == "within spec"


def test_clearances_that_were_not_gauged_are_checked_from_the_parts(tmp_path: Path) -> None:
    main = checks_of(tmp_path, "by: RT")["Main oil clearance"]
    assert main.computed
    assert main.verdict == "within spec"
    assert len(main.readings) == 5


def test_cylinders_against_each_other(tmp_path: Path) -> None:
    assembly = """
        checks:
          leak_down: {unit: '%', at_most: 20, measured: [5, 6, 5, 5, 7, 5, 14, 5]}
          cranking_compression: {unit: psi, measured: [172, 150, 170, 173, 171, 172, 175, 173]}
          coil_bind: {unit: in, measured: 0.050}
          intake_piston_to_valve: {unit: mm, at_least: 1.5, measured: 1.9}
    """
    checks = checks_of(tmp_path, assembly)
    assert checks["Leak down"].verdict == "within spec"
    assert checks["Leak down"].outlier == "7"
    assert checks["Leak-down, best to worst"].verdict == "out of spec"
    assert checks["Cranking compression, worst of best"].verdict == "out of spec"
    assert checks["Cranking compression, worst of best"].readings[0].value == pytest.approx(0.86)  # 150 / 175
    assert checks["Coil bind"].verdict == "out of spec"
    # A range that the record states wins over the guideline of 0.080 in.
    assert checks["Intake piston-to-valve"].verdict == "within spec"


def test_a_reading_at_the_end_of_its_range_in_the_other_unit_is_within(tmp_path: Path) -> None:
    """0.0508 mm is 0.0020 in exactly (NIST SP 811, B.9); the end of a range belongs to it."""
    fits = """
    fits:
      crank_end_play: {allowed: 0.0020..0.0060 in, measured: 0.0508 mm}
      cam_end_play: {allowed: 0.0020..0.0060 in, measured: 0.1524 mm}
      main_oil_clearance: {allowed: 0.0020..0.0060 in, measured: 0.0507 mm}
"""
    verdicts = {
        item.path.rpartition(".")[2]: item.verdict for item in sheet_of(tmp_path, {**V8, "assembly": fits}).clearances
    }
    assert verdicts["crank_end_play"] == verdicts["cam_end_play"] == "within spec"
    assert verdicts["main_oil_clearance"] == "out of spec"


def test_a_calculated_clearance_is_compared_as_it_is_shown(tmp_path: Path) -> None:
    """2.6410 - 2 x 0.0950 - 2.4483 = 0.0027 in: at the end of its range, whatever the binary fractions are."""
    fits = "    fits: {main_oil_clearance: {unit: in, allowed: 0.0010..0.0027}}\n"
    (check,) = [
        item
        for item in sheet_of(tmp_path, {**V8, "assembly": fits}).clearances
        if item.path == "assembly.fits.main_oil_clearance"
    ]
    assert check.verdict == "within spec"
    assert {reading.number for reading in check.readings} == {"0.0027"}


COMPRESSION_IGNITION = """
    checks:
      intake_valve_recession: {unit: mm, allowed: 0.7..1.2, measured: [0.9, 0.9, 1.3, 0.9, 0.9, 0.9, 0.9, 0.9]}
      liner_protrusion: {unit: mm, allowed: 0.03..0.08, measured: [0.05, 0.05, 0.06, 0.05, 0.05, 0.05, 0.05, 0.05]}
      bump_clearance: {unit: mm, allowed: 0.7..0.9, measured: 0.80}
      injector_opening_pressure: {unit: bar, allowed: 175..185, measured: [180, 181, 180, 179, 180, 180, 172, 180]}
      injection_timing: {unit: deg, allowed: 17..19, measured: 20}
      smoke: {at_most: 2.5, measured: 1.8}
"""


def test_checks_of_compression_ignition_against_their_ranges(tmp_path: Path) -> None:
    sheet = sheet_of(tmp_path, {**V8, "assembly": COMPRESSION_IGNITION})
    verdicts = {fit.path.rpartition(".")[2]: fit.passes for fit in sheet.clearances if fit.kind == "check"}
    assert verdicts == {
        "intake_valve_recession": False,
        "liner_protrusion": True,
        "bump_clearance": True,
        "injector_opening_pressure": False,
        "injection_timing": False,
        "smoke": True,
    }
    texts = {caution.name: caution.text for caution in sheet.cautions}
    assert "intake valve 3" in texts["intake_valve_recession"]
    assert "cylinder 7" in texts["injector_opening_pressure"]
    assert "injection_timing" in texts
