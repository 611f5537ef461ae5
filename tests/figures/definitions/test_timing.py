"""Cam timing from a complete record: at every lift, from the card or the degree wheel, on either side."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.support.figure_records import CAM, V8, figure_of, sheet_of

INSTALLED = CAM + "    installed: {intake_centerline: 102 deg}\n"
TWO_LIFTS = INSTALLED.replace(
    "durations: [{at: 0.050 in, duration: 230 deg}]",
    "durations: [{at: seat, duration: 280 deg}, {at: 0.050 in, duration: 230 deg}]",
)


def test_events_at_every_lift_the_card_gives(tmp_path: Path) -> None:
    opens = figure_of(tmp_path, "intake_opens", {**V8, "cam": TWO_LIFTS})
    assert {p.label: p.value for p in opens.positions} == pytest.approx({"0.050 in": 13.0, "seat": 38.0})
    assert opens.value == 13.0  # the lift that cams are compared at comes first
    closes = figure_of(tmp_path, "exhaust_closes", {**V8, "cam": TWO_LIFTS})
    # The exhaust has no seat timing: that lift is left out, not guessed.
    assert {p.label: p.value for p in closes.positions} == pytest.approx({"0.050 in": 0.0})


def test_the_degree_wheel_wins_over_the_card(tmp_path: Path) -> None:
    wheel = TWO_LIFTS + "    degreeing:\n      events: [{at: 0.050 in, intake_opens: 11.5 deg}]\n"
    opens = figure_of(tmp_path, "intake_opens", {**V8, "cam": wheel})
    assert {p.label: p.value for p in opens.positions} == pytest.approx({"0.050 in": 11.5, "seat": 38.0})
    assert opens.working == "at 0.050 in: by degree wheel: 11.5°"
    assert opens.provenance == "listed"  # the seat still rests on the card
    only = wheel.replace("{at: seat, duration: 280 deg}, ", "")
    assert figure_of(tmp_path, "intake_opens", {**V8, "cam": only}).provenance == "measured"


def test_centerline_from_both_sides_of_the_nose(tmp_path: Path) -> None:
    wheel = CAM + "    degreeing:\n      intake:\n        - {lift: 0.3 in, opening: 70 deg, closing: 136 deg}\n"
    wheel += "        - {lift: 0.2 in, opening: 40 deg, closing: 168 deg}\n"
    centerline = figure_of(tmp_path, "installed_centerline", {**V8, "cam": wheel})
    assert centerline.value == pytest.approx((103 + 104) / 2)
    assert centerline.provenance == "measured"
    assert figure_of(tmp_path, "card_difference", {**V8, "cam": wheel}).value == pytest.approx(106 - 103.5)
    assert figure_of(tmp_path, "cam_advance", {**V8, "cam": wheel}).value == pytest.approx(110 - 103.5)


def test_the_exhaust_opens_at_the_larger_number_before_the_top(tmp_path: Path) -> None:
    wheel = CAM + "    degreeing:\n      exhaust: [{lift: 0.3 in, opening: 147 deg, closing: 81 deg}]\n"
    sheet = sheet_of(tmp_path, {**V8, "cam": wheel})
    assert sheet.value("exhaust_centerline") == pytest.approx(114)
    assert not [problem for problem in sheet.problems if "swapped" in problem.message]


@pytest.mark.parametrize(
    ("side", "readings", "warning"),
    [
        ("intake", "opening: 136 deg, closing: 72 deg", "the two readings may be swapped"),
        ("exhaust", "opening: 81 deg, closing: 147 deg", "the two readings may be swapped"),
        ("intake", "opening: 346 deg, closing: 226 deg", None),  # a wheel marked all round
        ("intake", "opening: 10 deg, closing: 60 deg", "look at how both were counted"),
    ],
)
def test_degree_wheel_readings_the_wrong_way_round(
    tmp_path: Path, side: str, readings: str, warning: str | None
) -> None:
    wheel = CAM + f"    degreeing:\n      {side}: [{{lift: 0.3 in, {readings}}}]\n"
    problems = sheet_of(tmp_path, {**V8, "cam": wheel}).problems
    warnings = [problem.message for problem in problems if problem.severity == "warning"]
    assert len(warnings) == (warning is not None)
    assert warning is None or warning in warnings[0]


def test_exhaust_events_read_from_the_wheel_give_its_centerline(tmp_path: Path) -> None:
    """Exhaust opens 58 before bottom and closes 6 after top: centerline 116. Common practice, no source."""
    read_off = "degreeing: {events: [{at: 0.050 in, exhaust_opens: 58 deg, exhaust_closes: 6 deg}]}"
    centre = sheet_of(tmp_path, {"build": V8["build"], "cam": read_off}).get("exhaust_centerline")
    assert centre is not None
    assert centre.value == pytest.approx(116.0)
    assert centre.provenance == "measured"


def test_the_overlap_of_a_card_does_not_ask_how_the_cam_went_in(tmp_path: Path) -> None:
    card = """
    card:
      lobe_separation: 110 deg
      intake: {durations: [{at: 0.050 in, duration: 230 deg}, {at: seat, duration: 280 deg}]}
      exhaust: {durations: [{at: 0.050 in, duration: 236 deg}]}
"""
    sheet = sheet_of(tmp_path, {**V8, "cam": card})
    assert "intake_opens" not in sheet
    overlap = sheet.get("overlap")
    assert overlap is not None
    # Seat timing of one side alone gives no overlap.
    assert overlap.value == pytest.approx((230 + 236) / 2 - 220)
    assert overlap.working == "at 0.050 in: (230° + 236°) / 2 − 2 × 110° = 13.0°"


def test_effective_ratio_says_at_which_lift(tmp_path: Path) -> None:
    ratio = figure_of(tmp_path, "effective_compression_ratio", {**V8, "cam": TWO_LIFTS})
    at = {p.label: p.value for p in ratio.positions}
    static = figure_of(tmp_path, "compression_ratio", {**V8, "cam": TWO_LIFTS}).value
    assert at["seat"] < at["0.050 in"] < static
    assert ratio.value == at["seat"]
    assert ratio.working.startswith("at seat: ")


def test_separation_and_advance_follow_the_degree_wheel_where_both_lobes_were_degreed(tmp_path: Path) -> None:
    """Intake on 103, exhaust on 114: ground on 108.5 and 5.5 advanced, whatever the card says. Geometry."""
    intake = "      intake: [{lift: 0.3 in, opening: 70 deg, closing: 136 deg}]\n"
    exhaust = "      exhaust: [{lift: 0.3 in, opening: 147 deg, closing: 81 deg}]\n"
    both = sheet_of(tmp_path, {**V8, "cam": CAM + "    degreeing:\n" + intake + exhaust})
    assert both.value("lobe_separation") == pytest.approx(108.5)
    assert both.value("cam_advance") == pytest.approx(5.5)
    assert both["lobe_separation"].basis == "measured"
    one = sheet_of(tmp_path, {**V8, "cam": CAM + "    degreeing:\n" + intake})
    assert one.value("lobe_separation") == pytest.approx(110)
    assert one.value("cam_advance") == pytest.approx(7)
