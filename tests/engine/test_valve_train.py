"""Cam timing, lift, springs and lifters."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from builder.engine import valve_train as vt
from builder.engine.lift_curve import lift_curve
from builder.engine.validation import InputConflict

durations = st.floats(150.0, 340.0)
centerlines = st.floats(85.0, 130.0)


@given(duration=durations, centerline=centerlines)
def test_events_and_centerline_are_inverse(duration: float, centerline: float) -> None:
    opens, closes = vt.intake_opens(duration, centerline), vt.intake_closes(duration, centerline)
    assert vt.duration(opens, closes) == pytest.approx(duration)
    assert vt.intake_centerline_from_events(opens, closes) == pytest.approx(centerline)
    opens, closes = vt.exhaust_opens(duration, centerline), vt.exhaust_closes(duration, centerline)
    assert vt.duration(opens, closes) == pytest.approx(duration)
    assert vt.exhaust_centerline_from_events(opens, closes) == pytest.approx(centerline)


@given(intake=durations, exhaust=durations, separation=st.floats(98.0, 120.0), advance=st.floats(-10.0, 10.0))
def test_overlap_is_the_same_from_events_and_from_durations_whatever_the_advance(
    intake: float, exhaust: float, separation: float, advance: float
) -> None:
    icl, ecl = separation - advance, separation + advance
    assert vt.lobe_separation(icl, ecl) == pytest.approx(separation)
    assert vt.cam_advance(separation, icl) == pytest.approx(advance)
    by_events = vt.overlap(vt.intake_opens(intake, icl), vt.exhaust_closes(exhaust, ecl))
    assert by_events == pytest.approx(vt.overlap_from_duration(intake, exhaust, separation), abs=1e-9)


def test_a_valve_that_closes_before_it_opens_is_refused() -> None:
    with pytest.raises(InputConflict, match="closes before it opens") as refused:
        vt.duration(-100.0, -90.0)
    assert refused.value.inputs == ("opens", "closes")
    with pytest.raises(InputConflict, match="never close"):
        vt.duration(300.0, 260.0)


@pytest.mark.parametrize("duration", [0.0, -10.0, 720.0])
def test_an_impossible_duration_is_refused_by_its_own_name(duration: float) -> None:
    with pytest.raises(InputConflict, match="the duration must be"):
        vt.intake_opens(duration, 106.0)
    with pytest.raises(InputConflict) as refused:
        vt.overlap_from_duration(240.0, duration, 110.0)
    assert refused.value.inputs == ("exhaust_duration",)


@pytest.mark.parametrize(
    ("near", "far", "centerline"),
    [
        (-15.0, 223.0, 104.0),  # checked from before TDC, signed
        (345.0, 223.0, 104.0),  # the same on a wheel marked 0 to 360
        (70.0, 138.0, 104.0),  # near the nose
        (-6.0, 238.0, 116.0),  # an exhaust lobe, counted before TDC
    ],
)
def test_degree_wheel_readings_give_the_centerline(near: float, far: float, centerline: float) -> None:
    assert vt.installed_centerline(near, far) == pytest.approx(centerline)


@given(centerline=centerlines, half=st.floats(5.0, 170.0))
def test_any_pair_of_equal_lift_readings_gives_the_same_centerline(centerline: float, half: float) -> None:
    found = vt.installed_centerline((centerline - half) % 360, (centerline + half) % 360)
    assert found == pytest.approx(centerline)


def test_two_readings_at_one_place_are_refused() -> None:
    with pytest.raises(InputConflict, match="no middle"):
        vt.installed_centerline(10.0, 370.0)


def test_installed_advance_is_positive_when_the_lobe_comes_early() -> None:
    assert vt.installed_advance(106.0, 104.0) == 2.0
    assert vt.installed_advance(106.0, 107.5) == -1.5


@given(lobe=st.floats(1e-3, 0.012), ratio=st.floats(1.0, 2.2), lash=st.floats(0.0, 0.0008))
def test_lobe_and_valve_lift_are_inverse(lobe: float, ratio: float, lash: float) -> None:
    at_valve = vt.valve_lift(lobe, ratio, lash)
    assert vt.lobe_lift(at_valve, ratio, lash) == pytest.approx(lobe)


def test_the_valve_stays_shut_until_the_lash_is_taken_up() -> None:
    lift = vt.valve_lift(np.array([0.0, 0.0002, 0.005]), 1.5, 0.0005)
    np.testing.assert_allclose(lift, [0.0, 0.0, 0.007])
    with pytest.raises(InputConflict, match="lash"):
        vt.valve_lift(0.005, 1.5, -0.0005)
    with pytest.raises(InputConflict, match="rocker ratio"):
        vt.valve_lift(0.005, 0.0)


def test_a_pivot_nut_moves_the_pushrod_farther_than_itself() -> None:
    pitch = 0.0254 / 20
    assert vt.lifter_preload(0.75, pitch) == pytest.approx(0.75 * 0.00127)
    assert vt.pivot_lifter_preload(0.75, pitch, 1.5) == pytest.approx(0.75 * 0.00127 * 5 / 3)
    with pytest.raises(InputConflict, match="turns"):
        vt.lifter_preload(-0.5, pitch)


@given(rate=st.floats(1e4, 2e5), free=st.floats(0.05, 0.07))
def test_a_linear_spring_gives_back_its_rate_and_loads(rate: float, free: float) -> None:
    def load(height: float) -> float:
        return rate * (free - height)

    found = vt.spring_rate(load(0.045), 0.045, load(0.032), 0.032)
    assert found == pytest.approx(rate)
    seat = vt.seat_load(found, load(0.032), 0.032, 0.046)
    assert seat == pytest.approx(load(0.046))
    assert vt.open_load(seat, found, 0.014) == pytest.approx(load(0.032))


def test_spring_readings_that_contradict_each_other_are_refused() -> None:
    with pytest.raises(InputConflict, match="swapped"):
        vt.spring_rate(1800.0, 0.045, 600.0, 0.032)
    with pytest.raises(InputConflict, match="same height"):
        vt.spring_rate(600.0, 0.045, 1800.0, 0.045)
    with pytest.raises(InputConflict, match="hang loose"):
        vt.seat_load(1e5, 600.0, 0.045, 0.060)


def test_coil_bind_may_be_negative_but_not_before_the_valve_moves() -> None:
    assert vt.coil_bind_clearance(0.046, 0.0152, 0.0292) == pytest.approx(0.0016)
    assert vt.coil_bind_clearance(0.046, 0.0180, 0.0292) < 0
    with pytest.raises(InputConflict, match="solid height"):
        vt.coil_bind_clearance(0.029, 0.010, 0.0292)


def test_curtain_area_is_the_seat_circle_times_the_lift() -> None:
    area = vt.curtain_area(np.array([0.0, 0.012]), 0.050)
    np.testing.assert_allclose(area, [0.0, np.pi * 0.05 * 0.012])
    assert vt.lift_to_diameter(0.0125, 0.050) == pytest.approx(0.25)
    # At a quarter of the diameter the curtain is as large as the valve's own circle.
    assert vt.curtain_area(0.0125, 0.050) == pytest.approx(np.pi / 4 * 0.05**2)
    with pytest.raises(InputConflict, match="valve diameter"):
        vt.lift_to_diameter(0.01, 0.0)


CURVE = lift_curve(108.0, [0.15e-3, 1.27e-3, 5.1e-3], [290.0, 238.0, 158.0], 11.0e-3)
STROKE, ROD = 88.0e-3, 145.0e-3


def test_an_unchanged_lobe_keeps_its_lift_and_its_clearance() -> None:
    angles = np.linspace(-180, 400, 1161)
    np.testing.assert_allclose(CURVE.changed().at(angles), CURVE.at(angles), atol=1e-15)
    assert vt.carried_piston_to_valve(2.1e-3, CURVE, CURVE.changed(), STROKE, ROD) == pytest.approx(2.1e-3, abs=1e-15)


@given(ratio=st.floats(0.9, 1.15), before=st.floats(0, 0.6e-3), after=st.floats(0, 0.6e-3))
def test_ratio_and_lash_change_the_lift_of_an_open_valve(ratio: float, before: float, after: float) -> None:
    angles = np.linspace(-20.0, 236.0, 257)
    wanted = (np.asarray(CURVE.at(angles)) + before) * ratio - after
    np.testing.assert_allclose(
        CURVE.changed(ratio, before, after).at(angles), np.where(wanted > 0, wanted, 0.0), atol=1e-12
    )


@pytest.mark.parametrize(("advance", "wanted"), [(4.0, -1), (-4.0, 1)])
def test_an_intake_cam_put_in_earlier_comes_closer_to_the_piston(advance: float, wanted: int) -> None:
    moved = vt.carried_piston_to_valve(2.0e-3, CURVE, CURVE.changed(advance=advance), STROKE, ROD)
    assert (moved - 2.0e-3) * wanted > 0.2e-3


def test_an_exhaust_cam_put_in_earlier_moves_away_from_the_piston() -> None:
    exhaust = lift_curve(-108.0, [0.15e-3, 1.27e-3, 5.1e-3], [290.0, 238.0, 158.0], 11.0e-3)
    angle, closing = vt.closest_approach(exhaust, STROKE, ROD)
    assert angle == pytest.approx(-vt.closest_approach(CURVE, STROKE, ROD)[0])
    assert closing == pytest.approx(vt.closest_approach(CURVE, STROKE, ROD)[1])
    assert vt.carried_piston_to_valve(2.5e-3, exhaust, exhaust.changed(advance=3.0), STROKE, ROD) > 2.5e-3


def test_a_leaning_valve_comes_closer_because_the_piston_falls_away_more_slowly_along_it() -> None:
    assert vt.closest_approach(CURVE, STROKE, ROD, valve_angle=20.0)[1] > vt.closest_approach(CURVE, STROKE, ROD)[1]


def test_more_lift_takes_as_much_coil_bind_clearance_and_a_shim_takes_its_thickness() -> None:
    assert vt.carried_coil_bind_clearance(2.0e-3, 11.0e-3, 11.7e-3) == pytest.approx(1.3e-3)
    assert vt.carried_coil_bind_clearance(2.0e-3, 11.0e-3, 11.0e-3, 0.75e-3, 0.25e-3) == pytest.approx(1.0e-3)
    with pytest.raises(InputConflict, match="lift after"):
        vt.carried_coil_bind_clearance(2.0e-3, 11.0e-3, -1.0e-3)
