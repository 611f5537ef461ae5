"""Curves: one grid for all pulls, honest peaks, nothing beyond the log, and fast."""

from __future__ import annotations

import numpy as np
import pytest

from builder.engine.constants import REV_PER_MINUTE
from builder.engine.curves import (
    STEP,
    area_under,
    common_grid,
    curve,
    map_curve,
    mean_over,
    overlap,
    peak,
    rate_of_change,
    torque_band,
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


def test_the_peak_is_found_between_grid_points() -> None:
    top = peak(PULL)
    assert top.speed * 60 == pytest.approx(4400, abs=2)
    assert top.value == pytest.approx(460, abs=0.05)
    assert (top.raw_speed * 60, top.raw_value) == (pytest.approx(4400), 460.0)
    assert not top.at_end


def test_a_peak_at_the_end_of_the_log_says_so() -> None:
    rising = curve(RPM / 60, 300 + RPM / 100)
    top = peak(rising)
    assert top.at_end
    assert top.value == pytest.approx(365)
    assert peak(curve(RPM / 60, 600 - RPM / 100)).at_end


def test_a_single_spike_makes_neither_peak() -> None:
    values = torque(RPM)
    values[70] *= 1.2
    spiked = curve(RPM / 60, values)
    assert spiked.spike_speed * 60 == pytest.approx([RPM[70]])
    assert peak(spiked).value == pytest.approx(peak(PULL).value, abs=0.05)
    assert peak(spiked).raw_value == 460.0


@pytest.mark.parametrize("rpm", [[3000.0], [3000.0, 3500.0], [2000.0, 3000.0, 4000.0, 5000.0, 6000.0]])
def test_short_step_tests_are_curves_too(rpm: list[float]) -> None:
    speeds = np.array(rpm)
    few = curve(speeds / 60, torque(speeds))
    assert peak(few).raw_value == torque(speeds).max()
    assert few.at(speeds / 60) == pytest.approx(torque(speeds), rel=0.02)


def test_a_single_row_off_the_grid_is_still_there() -> None:
    one = curve([3007 / 60], [400.0])
    assert one.speed.size == 0
    assert one.at(3007 / 60) == pytest.approx(400.0)
    assert peak(one).value == pytest.approx(400.0)


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


def test_torque_band_crossings() -> None:
    triangle = curve(RPM / 60, 500 - np.abs(RPM - 4250) / 10, width=50 * REV_PER_MINUTE)
    ((low, high),) = torque_band(triangle)
    assert (low * 60, high * 60) == (pytest.approx(3750, abs=15), pytest.approx(4750, abs=15))
    dip = curve(RPM / 60, 400 + 60 * np.cos((RPM - 3000) / 1500 * np.pi) * 1.0)
    assert len(torque_band(dip)) == 2
    with pytest.raises(ValueError, match="above zero"):
        torque_band(curve(RPM / 60, -RPM))


def test_power_is_made_from_the_torque_curve() -> None:
    power = map_curve(PULL, lambda n, t: 2 * np.pi * n * t)
    np.testing.assert_allclose(power.value, 2 * np.pi * PULL.speed * PULL.value)
    top = peak(power)
    raw = 2 * np.pi * RPM / 60 * torque(RPM)
    assert top.raw_value == pytest.approx(raw.max())
    assert top.raw_speed * 60 == pytest.approx(RPM[raw.argmax()])
    factor = map_curve(PULL, lambda n, t: 1.05 * t)
    assert peak(factor).value == pytest.approx(1.05 * peak(PULL).value)
    assert peak(factor).raw_value == pytest.approx(1.05 * 460)


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


def test_a_million_rows_keep_the_peak() -> None:
    rng = np.random.default_rng(4)
    rpm = np.linspace(2000, 6500, 1_000_000) + rng.normal(0, 8, 1_000_000)
    values = torque(rpm) + rng.normal(0, 6, 1_000_000)
    values[[1000, 500_000]] = 1e7
    top = peak(curve(rpm / 60, values))
    assert top.value == pytest.approx(460, abs=0.3)
    assert top.speed * 60 == pytest.approx(4400, abs=40)
    assert top.raw_value < 500
