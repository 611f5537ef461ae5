"""Cam timing, lift, preload and springs against facts of the trade and SciPy."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy import interpolate, optimize

from builder.engine import valve_train as vt
from builder.engine.lift_curve import flank_slopes, lift_curve
from tests.support.figure_records import V8, sheet_of

INCH = 0.0254
INTAKE, EXHAUST, SEPARATION, CENTERLINE = 238.0, 244.0, 110.0, 104.0


def test_intake_events_of_a_ground_cam() -> None:
    """Common practice, no source: 238 deg at 0.050 in on a 104 deg centerline opens 15 BTDC, closes 43 ABDC."""
    assert vt.intake_opens(INTAKE, CENTERLINE) == 15.0
    assert vt.intake_closes(INTAKE, CENTERLINE) == 43.0


def test_exhaust_events_of_a_ground_cam() -> None:
    """Common practice, no source: 244 deg, 110 separation: centerline 116, opens 58 BBDC, closes 6 ATDC."""
    centerline = SEPARATION + vt.cam_advance(SEPARATION, CENTERLINE)
    assert centerline == 116.0
    assert vt.exhaust_opens(EXHAUST, centerline) == 58.0
    assert vt.exhaust_closes(EXHAUST, centerline) == 6.0


def test_overlap_of_a_ground_cam() -> None:
    """Common practice, no source: 21 deg of overlap, from the events and from the durations."""
    assert vt.overlap(vt.intake_opens(INTAKE, CENTERLINE), vt.exhaust_closes(EXHAUST, 116.0)) == 21.0
    assert vt.overlap_from_duration(INTAKE, EXHAUST, SEPARATION) == 21.0


def test_advance_of_a_cam_put_in() -> None:
    """Common practice, no source: a 110 deg separation on a 104 deg intake centerline is 6 deg advanced."""
    assert vt.cam_advance(SEPARATION, CENTERLINE) == 6.0
    assert vt.lobe_separation(CENTERLINE, 116.0) == SEPARATION


def test_degree_wheel_readings_find_the_centerline() -> None:
    """Common practice, no source: the equal-lift readings of that cam lie about its 104 deg centerline."""
    found = vt.installed_centerline(-15.0, 180.0 + 43.0)
    assert found == CENTERLINE
    assert vt.installed_advance(SEPARATION, found) == 6.0


def test_lobe_lift_from_valve_lift() -> None:
    """Common practice, no source: 0.618 in at the valve with a 1.76 rocker is 0.351 in at the lobe."""
    assert round(vt.lobe_lift(0.618 * INCH, 1.76) / INCH, 3) == 0.351
    assert round(vt.valve_lift(0.351 * INCH, 1.76) / INCH, 3) == 0.618


def test_lifter_preload_of_half_a_turn() -> None:
    """Common practice, no source: half a turn on a 3/8-24 adjuster (thread from memory) is 0.021 in."""
    preload = vt.lifter_preload(0.5, INCH / 24)
    assert round(preload / INCH, 3) == 0.021


def test_spring_rate_by_least_squares() -> None:
    """SciPy/NumPy polyfit of a straight line through load checker readings (dF/dx, Shigley, springs)."""
    heights = np.array([1.90, 1.80, 1.60, 1.40, 1.20]) * INCH
    loads = 61_300.0 * (2.25 * INCH - heights)
    slope, _ = np.polyfit(heights, loads, 1)
    rate = vt.spring_rate(loads[0], heights[0], loads[-1], heights[-1])
    assert rate == pytest.approx(-slope, rel=1e-9)
    seat = vt.seat_load(rate, loads[2], heights[2], heights[0])
    assert vt.open_load(seat, rate, heights[0] - heights[4]) == pytest.approx(loads[4], rel=1e-9)


HALF_ANGLES = np.array([0.0, 38.0, 79.0, 119.0, 146.0])
LIFTS = np.array([15.7, 13.2, 5.1, 1.27, 0.15]) * 1e-3


def test_flank_slopes_agree_with_scipys_cubic_spline() -> None:
    """SciPy CubicSpline, level at the nose and with our slope at the end: the same slopes, to 1e-9."""
    ours = flank_slopes(HALF_ANGLES, LIFTS)
    spline = interpolate.CubicSpline(HALF_ANGLES, LIFTS, bc_type=((1, 0.0), (1, ours[-1])))
    np.testing.assert_allclose(ours, spline(HALF_ANGLES, 1), rtol=1e-9, atol=1e-18)


def test_flank_slopes_hold_back_where_the_spline_would_overshoot() -> None:
    """SciPy CubicSpline rises on the way down through these points; ours does not."""
    lifts = np.array([15.7, 15.5, 5.1, 0.2, 0.15]) * 1e-3
    ours = flank_slopes(HALF_ANGLES, lifts)
    away = np.linspace(0.0, HALF_ANGLES[-1], 2000)
    free = interpolate.CubicSpline(HALF_ANGLES, lifts, bc_type=((1, 0.0), (1, ours[-1])))
    held = interpolate.CubicHermiteSpline(HALF_ANGLES, lifts, ours)
    assert np.any(np.diff(free(away)) > 0)
    assert np.all(np.diff(held(away)) <= 1e-15)


def test_lift_curve_agrees_with_scipys_cubic() -> None:
    """SciPy CubicHermiteSpline through the same points and slopes, to 1e-12 m."""
    curve = lift_curve(104.0, LIFTS[1:], 2 * HALF_ANGLES[1:], LIFTS[0])
    spline = interpolate.CubicHermiteSpline(curve.half_angles, curve.lifts, curve.slopes)
    away = np.linspace(0.0, curve.half_angles[-1], 500)
    np.testing.assert_allclose(curve.at(104.0 + away), spline(away), atol=1e-12)
    np.testing.assert_allclose(curve.at(104.0 - away), spline(away), atol=1e-12)


@pytest.mark.parametrize("known", [[135.0, 110.0, 60.0], [110.0]])
def test_lift_curve_stays_near_a_raised_cosine(known: list[float]) -> None:
    """NumPy: a raised cosine known at three lifts or at one is met within 2 % of full lift everywhere."""

    def lift(angle: np.ndarray) -> np.ndarray:
        return 0.010 * np.cos(np.clip(np.pi / 2 * angle / 140.0, -np.pi / 2, np.pi / 2)) ** 2

    half = np.array(known)
    curve = lift_curve(0.0, lift(half), 2 * half, 0.010)
    angles = np.linspace(-180, 180, 721)
    assert np.max(np.abs(curve.at(angles) - lift(angles))) < 0.02 * 0.010


def test_piston_to_valve_carried_along_agrees_with_a_search_over_a_known_lobe() -> None:
    """SciPy minimize_scalar on a raised cosine and the exact slider-crank: to 0.05 mm, 4 degrees or more ratio on."""
    stroke, rod, half_duration, peak = 0.088, 0.145, 150.0, 0.0115

    def gap(angle: float, centerline: float, ratio: float) -> float:
        away = np.clip(np.pi / 2 * (angle - centerline) / half_duration, -np.pi / 2, np.pi / 2)
        turned = np.deg2rad(angle)
        rod_height = np.sqrt(rod**2 - (stroke / 2 * np.sin(turned)) ** 2)
        below = rod + stroke / 2 - stroke / 2 * np.cos(turned) - rod_height
        return float(0.007 + below - ratio * peak * np.cos(away) ** 2)

    def least(centerline: float, ratio: float) -> float:
        found = optimize.minimize_scalar(gap, bounds=(-60, 60), args=(centerline, ratio), method="bounded")
        return float(found.fun)

    half = np.array([138.0, 118.0, 72.0])
    lifts = peak * np.cos(np.pi / 2 * half / half_duration) ** 2
    curve = lift_curve(107.0, lifts, 2 * half, peak)
    measured = least(107.0, 1.0)
    for advance, ratio in ((4.0, 1.0), (-4.0, 1.0), (0.0, 1.6 / 1.5), (4.0, 1.6 / 1.5)):
        carried = vt.carried_piston_to_valve(measured, curve, curve.changed(ratio, advance=advance), stroke, rod)
        assert carried == pytest.approx(least(107.0 - advance, ratio), abs=0.05e-3)
        assert abs(carried - measured) > 0.15e-3


PUSHRODS = """
    rockers: {ratio: 1.5}
    springs: {retainer_to_seal: 0.575 in}
    pushrods: {checking_length: 7.775 in, preload: 0.030 in, ordered_length: 7.800 in}
"""


def test_pushrod_length_of_a_hydraulic_cam(tmp_path: Path) -> None:
    """Common practice, no source: checking pushrod at zero lash plus preload, 7.775 + 0.030 in, is 7.805 in."""
    sheet = sheet_of(tmp_path, {**V8, "top_end": PUSHRODS})
    assert round(sheet["pushrod_length"].value / INCH, 3) == 7.805
    assert round(sheet["pushrod_difference"].value / INCH, 3) == -0.005


def test_gap_of_retainer_and_seal_at_full_lift(tmp_path: Path) -> None:
    """Common practice, no source: 0.575 in closed less 0.500 in of lift leaves 0.075 in, above the usual 0.050 in."""
    cam = "card: {intake: {lobe_lift: 0.33333 in}, exhaust: {lobe_lift: 0.33333 in}}\n"
    sheet = sheet_of(tmp_path, {**V8, "top_end": PUSHRODS, "cam": cam})
    assert round(sheet["retainer_to_seal_clearance"].value / INCH, 3) == 0.075
    assert "retainer_to_seal" not in {caution.name for caution in sheet.cautions}


def test_lash_of_a_solid_cam_lies_on_its_ramp(tmp_path: Path) -> None:
    """Common practice, no source: 0.018 in of ramp at the lobe and a 1.5 rocker take up 0.022 in of lash at 81 %."""
    cam = "card: {intake: {lobe_lift: 0.335 in, lash: 0.022 in, ramp_height: 0.018 in}}\n"
    sheet = sheet_of(tmp_path, {**V8, "top_end": PUSHRODS, "cam": cam})
    assert sheet["lash_over_ramp"].value == pytest.approx(0.022 / 0.027)
