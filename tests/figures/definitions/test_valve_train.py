"""The valve train from a complete record: lift on either side, springs, lifter preload."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.support.figure_records import CAM, TOP_END, V8, figure_of, sheet_of

INCH, LBF = 0.0254, 4.4482216152605


def test_each_side_has_its_own_rocker_lash_and_valve(tmp_path: Path) -> None:
    top = TOP_END.replace("ratio: 1.6", "ratio: 1.6, exhaust_ratio: 1.5")
    cam = CAM.replace("lobe_lift: 0.335 in", "lobe_lift: 0.335 in, lash: 0.020 in", 1)
    lift = figure_of(tmp_path, "valve_lift", {**V8, "top_end": top, "cam": cam})
    values = {p.label: p.value / INCH for p in lift.positions}
    assert values == pytest.approx({"intake": 0.335 * 1.6 - 0.020, "exhaust": 0.335 * 1.5})
    ratio = figure_of(tmp_path, "lift_to_diameter", {**V8, "top_end": top, "cam": cam})
    assert ratio.positions[1].value == pytest.approx(0.335 * 1.5 / 1.500)


def test_lash_as_set_wins_over_the_card(tmp_path: Path) -> None:
    cam = CAM.replace("lobe_lift: 0.335 in", "lobe_lift: 0.335 in, lash: 0.020 in")
    checks = "checks: {intake_lash: 0.016 in}\n"
    lift = figure_of(tmp_path, "valve_lift", {**V8, "cam": cam, "assembly": checks})
    assert [p.value / INCH for p in lift.positions] == pytest.approx([0.335 * 1.6 - 0.016, 0.335 * 1.6 - 0.020])


SPRINGS = (
    TOP_END
    + """
    springs:
      installed_height: {unit: in, measured: [1.801, 1.799, 1.800]}
      solid_height: 1.150 in
      tested: [{height: 1.800 in, load: 125 lbf}, {height: 1.300 in, load: 300 lbf}]
"""
)


def test_springs_from_the_tester(tmp_path: Path) -> None:
    sheet = sheet_of(tmp_path, {**V8, "top_end": SPRINGS})
    rate = 175 * LBF / (0.5 * INCH)
    assert sheet.value("spring_rate") == pytest.approx(rate)
    assert sheet.value("seat_load") == pytest.approx(125 * LBF)
    assert sheet.value("open_load") == pytest.approx(125 * LBF + rate * 0.335 * 1.6 * INCH)
    assert sheet.value("coil_bind_clearance") == pytest.approx((1.800 - 0.335 * 1.6 - 1.150) * INCH)


def test_preload_from_turns_and_thread(tmp_path: Path) -> None:
    cam = CAM + "    lifters: {preload_turns: 0.75, adjuster_thread: M8x1}\n"
    assert figure_of(tmp_path, "lifter_preload", {**V8, "cam": cam}).value == pytest.approx(0.75e-3)


def test_a_cards_valve_lift_is_moved_to_the_rockers_on_the_engine(tmp_path: Path) -> None:
    card = """
    card:
      intake: {valve_lift: 0.500 in, rocker_ratio: 1.5, lash: 0.010 in}
      exhaust: {valve_lift: 0.510 in, lash: 0.012 in}
"""
    lift = figure_of(tmp_path, "valve_lift", {**V8, "cam": card})
    expected = {"intake": 0.500 / 1.5 * 1.6 - 0.010, "exhaust": 0.510 / 1.5 * 1.6 - 0.012}
    assert {p.label: p.value / INCH for p in lift.positions} == pytest.approx(expected)
    unconverted = figure_of(tmp_path / "bare", "valve_lift", {**V8, "cam": card.replace("rocker_ratio: 1.5, ", "")})
    assert unconverted.value / INCH == pytest.approx(0.490)


LIFTERS = CAM + "    lifters: {preload_turns: 0.75, adjuster_thread: 3/8-24}\n"
ON_THE_STUD = LIFTERS.replace("3/8-24}", "3/8-24, adjuster_at: rocker pivot}")


def test_a_nut_on_the_rockers_stud_presses_the_lifter_further_in(tmp_path: Path) -> None:
    plain = figure_of(tmp_path, "lifter_preload", {**V8, "cam": LIFTERS})
    assert plain.value / INCH == pytest.approx(0.75 / 24)
    stud = figure_of(tmp_path / "stud", "lifter_preload", {**V8, "cam": ON_THE_STUD})
    assert stud.value / INCH == pytest.approx(0.75 / 24 * (1 + 1 / 1.6))
    assert "× (1 + 1 / 1.6)" in stud.working


def test_the_pivots_preload_waits_for_the_rockers_ratio(tmp_path: Path) -> None:
    no_ratio = TOP_END.replace("    rockers: {ratio: 1.6}\n", "")
    sheet = sheet_of(tmp_path, {**V8, "cam": ON_THE_STUD, "top_end": no_ratio})
    (needs,) = [need.needs for need in sheet.needs if need.slug == "lifter_preload"]
    assert needs == ("top_end.yaml: rockers.ratio (the adjuster moves the rocker's pivot)",)


def test_the_testers_load_beats_a_listed_one_at_the_same_height(tmp_path: Path) -> None:
    listed = SPRINGS.replace("solid_height", "seat_load: 135 lbf\n      solid_height")
    sheet = sheet_of(tmp_path, {**V8, "top_end": listed})
    assert sheet.value("seat_load") == pytest.approx(125 * LBF)
    measured = SPRINGS.replace("solid_height", "seat_load: {measured: 128 lbf}\n      solid_height")
    assert figure_of(tmp_path, "seat_load", {**V8, "top_end": measured}).value == pytest.approx(128 * LBF)


SEALS = TOP_END + "    springs: {retainer_to_seal: 0.600 in, exhaust_retainer_to_seal: 0.580 in}\n"


def test_retainer_to_seal_from_the_gap_with_the_valve_closed(tmp_path: Path) -> None:
    sheet = sheet_of(tmp_path, {**V8, "top_end": SEALS})
    gaps = [p.value / INCH for p in sheet["retainer_to_seal_clearance"].positions]
    assert gaps == pytest.approx([0.600 - 0.335 * 1.6, 0.580 - 0.335 * 1.6])
    cautions = [caution.text for caution in sheet.cautions if caution.name == "retainer_to_seal"]
    assert len(cautions) == 1
    assert "exhaust" in cautions[0]


def test_a_measured_retainer_to_seal_wins_and_is_checked(tmp_path: Path) -> None:
    checks = "checks: {retainer_to_seal: 0.040 in}\n"
    sheet = sheet_of(tmp_path, {**V8, "top_end": SEALS, "assembly": checks})
    assert sheet.value("retainer_to_seal_clearance") == pytest.approx(0.040 * INCH)
    assert [c.name for c in sheet.cautions if "retainer" in c.name] == ["retainer_to_seal"]


def test_each_spring_at_its_own_installed_height(tmp_path: Path) -> None:
    sheet = sheet_of(tmp_path, {**V8, "top_end": SPRINGS})
    rate = 350.0
    seat = [125 + rate * (1.800 - height) for height in (1.801, 1.799, 1.800)]
    assert [p.value / LBF for p in sheet["seat_load_each"].positions] == pytest.approx(seat)
    opened = [load + rate * 0.335 * 1.6 for load in seat]
    assert [p.value / LBF for p in sheet["open_load_each"].positions] == pytest.approx(opened)
    assert "exhaust_seat_load_each" not in sheet


RAMPS = """
    card:
      intake: {lobe_lift: 0.335 in, lash: 0.022 in, ramp_height: 0.016 in}
      exhaust: {lobe_lift: 0.335 in, lash: 0.028 in, ramp_height: 0.016 in}
"""


def test_lash_is_compared_with_the_ramp_of_the_lobe(tmp_path: Path) -> None:
    sheet = sheet_of(tmp_path, {**V8, "cam": RAMPS})
    shares = {position.label: position.value for position in sheet["lash_over_ramp"].positions}
    assert shares == pytest.approx({"intake": 22 / 16 / 1.6, "exhaust": 28 / 16 / 1.6})
    (caution,) = (item for item in sheet.cautions if item.name == "lash_ramp")
    assert "exhaust lash" in caution.sentence
