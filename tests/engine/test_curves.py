"""Curves: one grid for all pulls, nothing beyond the log, and fast."""

from __future__ import annotations

import numpy as np
import pytest

from builder.engine.curves import (
    STEP,
    area_under,
    common_grid,
    curve,
    map_curve,
    mean_curve,
    mean_over,
    overlap,
    rate_of_change,
)


def torque(rpm: np.ndarray) -> np.ndarray:
    return 400 + 60 * np.exp(-(((rpm - 4400) / 1100) ** 2))


RPM = np.arange(2000.0, 6501.0, 50.0)
PULL = curve(RPM / 60, torque(RPM))


def test_all_pulls_share_grid_points() -> None:
    other = curve((RPM[5:-3] + 7) / 60, torque(RPM[5:-3]))
    shared = np.intersect1d(PULL.speed, other.speed)
    assert shared.size == other.speed.size
    np.testing.assert_allclose(np.mod(PULL.speed / STEP + 0.5, 1), 0.5, atol=1e-9)


def test_the_curve_ends_where_the_log_ends() -> None:
    odd = curve((RPM + 7) / 60, torque(RPM))
    assert odd.lowest == pytest.approx(2007 / 60)
    assert odd.highest == pytest.approx(6507 / 60)
    assert odd.speed[0] >= odd.lowest
    assert odd.speed[-1] <= odd.highest
    assert np.isnan(odd.at([2000 / 60, 6520 / 60])).all()
    assert np.isfinite(odd.at([2007 / 60, 6507 / 60])).all()


def test_order_and_duplicates_do_not_matter() -> None:
    shuffled = np.random.default_rng(1).permutation(RPM.size)
    again = curve(RPM[shuffled] / 60, torque(RPM[shuffled]))
    np.testing.assert_allclose(again.value, PULL.value, rtol=1e-12)
    speeds = np.concatenate([RPM, RPM]) / 60
    doubled = curve(speeds, np.concatenate([torque(RPM) + 1, torque(RPM) - 1]))
    np.testing.assert_allclose(doubled.value, PULL.value, rtol=1e-9)
    assert doubled.rows == 2 * RPM.size
    assert doubled.reading_speed.size == RPM.size


def test_rows_without_a_number_do_not_count() -> None:
    speeds = np.concatenate([RPM / 60, [np.nan, 50.0, np.inf]])
    values = np.concatenate([torque(RPM), [400.0, np.nan, 400.0]])
    np.testing.assert_array_equal(curve(speeds, values).value, PULL.value)


@pytest.mark.parametrize("rpm", [[3000.0], [3000.0, 3500.0], [2000.0, 3000.0, 4000.0, 5000.0, 6000.0]])
def test_short_step_tests_are_curves_too(rpm: list[float]) -> None:
    speeds = np.array(rpm)
    few = curve(speeds / 60, torque(speeds))
    assert few.raw_peak == torque(speeds).max()
    assert few.at(speeds / 60) == pytest.approx(torque(speeds), rel=0.02)


def test_a_single_row_off_the_grid_is_still_there() -> None:
    one = curve([3007 / 60], [400.0])
    assert one.speed.size == 0
    assert one.at(3007 / 60) == pytest.approx(400.0)
    assert one.raw_peak == pytest.approx(400.0)


def test_many_rows_per_step_weigh_as_their_mean() -> None:
    rng = np.random.default_rng(2)
    levels = np.repeat(np.arange(2000.0, 6501.0, 500.0), 400)
    rpm = levels + rng.normal(0, 3, levels.size)
    steps = curve(rpm / 60, torque(levels) + rng.normal(0, 4, levels.size))
    assert steps.reading_speed.size == pytest.approx(10, abs=3)
    assert steps.at(np.unique(levels)[1:-1] / 60) == pytest.approx(torque(np.unique(levels)[1:-1]), abs=1.0)


def test_mean_area_and_range() -> None:
    flat = curve(RPM / 60, np.full(RPM.size, 410.0))
    assert mean_over(flat) == pytest.approx(410)
    assert area_under(flat, 3000 / 60, 6000 / 60) == pytest.approx(410 * 50)
    straight = curve(RPM / 60, RPM)
    assert mean_over(straight, 3010 / 60, 3990 / 60) == pytest.approx(3500)
    assert np.isnan(mean_over(straight, 1900 / 60, 3000 / 60))
    with pytest.raises(ValueError, match="lower to a higher"):
        area_under(flat, 50.0, 50.0)


def test_overlap_is_what_all_share() -> None:
    other = curve((RPM[10:] + 7) / 60, torque(RPM[10:]))
    assert overlap([PULL, other]) == (other.lowest, PULL.highest)
    assert overlap([PULL, other], 3000 / 60, 5000 / 60) == (50.0, 5000 / 60)
    assert overlap([PULL], 7000 / 60) is None


def test_power_is_made_from_the_torque_curve() -> None:
    power = map_curve(PULL, lambda n, t: 2 * np.pi * n * t)
    np.testing.assert_allclose(power.value, 2 * np.pi * PULL.speed * PULL.value)
    raw = 2 * np.pi * RPM / 60 * torque(RPM)
    assert power.raw_peak == pytest.approx(raw.max())
    assert power.raw_peak_speed * 60 == pytest.approx(RPM[raw.argmax()])
    assert map_curve(PULL, lambda n, t: 1.05 * t).raw_peak == pytest.approx(1.05 * 460)


def test_a_mean_curve_covers_what_all_pulls_share() -> None:
    later = curve(RPM[10:] / 60, 1.02 * torque(RPM[10:]))
    mean = mean_curve([PULL, later])
    assert (mean.lowest, mean.highest) == (later.lowest, PULL.highest)
    at = np.array([3000.0, 4400.0, 6000.0]) / 60
    np.testing.assert_allclose(mean.at(at), (PULL.at(at) + later.at(at)) / 2)
    assert mean.reading_speed.size == 2 * later.reading_speed.size
    assert (np.diff(mean.reading_speed) >= 0).all()
    assert mean.raw_peak == later.raw_peak
    with pytest.raises(ValueError, match="in common"):
        mean_curve([PULL, curve(np.array([200.0, 210.0]), [1.0, 2.0])])


def test_rate_of_change_of_an_accelerating_engine() -> None:
    time = np.arange(0, 10, 0.01)
    speed = 30 + 5 * time + 0.1 * time**2
    rate = rate_of_change(time, speed, 0.5)
    np.testing.assert_allclose(rate, 5 + 0.2 * time, atol=0.01)
    with pytest.raises(ValueError, match="two rows"):
        rate_of_change([1.0], [2.0], 0.5)


def test_errors_are_plain() -> None:
    with pytest.raises(ValueError, match="do not go with"):
        curve([1.0, 2.0], [1.0])
    with pytest.raises(ValueError, match="no row"):
        curve([np.nan], [1.0])
    with pytest.raises(ValueError, match="width"):
        curve([1.0], [1.0], width=0.0)
    with pytest.raises(ValueError, match="step"):
        common_grid(1.0, 2.0, 0.0)
