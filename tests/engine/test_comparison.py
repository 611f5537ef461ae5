"""Pull against pull: what a change was worth, with scatter, drift, readings and last digit, and what may be said."""

from __future__ import annotations

import numpy as np
import pytest

from builder.engine.autocorrelated_noise import student_t_quantile
from builder.engine.comparison import (
    Gain,
    PullGroup,
    gain,
    reading_differences,
    readings_noise,
    repeatability,
    wide_variance,
)
from builder.engine.curves import Curve, curve, map_curve, mean_over
from builder.engine.pull_scatter import Scatter, Variance
from builder.engine.uncertainty import effective_freedom

RPM = np.arange(2000.0, 6501.0, 50.0)
SCATTER = Scatter(variance=Variance(value=0.002**2, freedom=6.0), drift_variance=0.0)
"""A scatter of 0.2 % with six degrees of freedom, and no drift."""


def torque(rpm: np.ndarray) -> np.ndarray:
    return 400 + 60 * np.exp(-(((rpm - 4400) / 1100) ** 2))


def pull(seed: int, noise: float = 1.0, offset: float = 0.0, rpm: np.ndarray = RPM, change: object = None) -> Curve:
    values = torque(rpm) + np.random.default_rng(seed).normal(0, noise, rpm.size) + offset
    if change is not None:
        values = values + change(rpm)  # type: ignore[operator]
    return curve(rpm / 60, values)


def group(*pulls: Curve, at: tuple[float, ...] = (), resolution: float = 0.0, step: float = 0.0) -> PullGroup:
    return PullGroup(
        curves=pulls, position=at or tuple(map(float, range(len(pulls)))), resolution=resolution, step=step
    )


def change_of(before: Curve, after: Curve, scatter: Scatter = SCATTER, low: float = 0.0, high: float = np.inf) -> Gain:
    return gain(group(before), group(after, at=(1.0,)), scatter, low, high)


def test_a_clear_gain_is_found_and_measured() -> None:
    found = change_of(pull(1), pull(2, offset=7.0))
    assert found.verdict == "gain"
    assert found.measurable
    assert found.mean == pytest.approx(7.0, abs=0.8)
    assert abs(found.mean - 7.0) < found.half_width
    assert found.relative == pytest.approx(7 / mean_over(pull(1)), rel=0.15)
    assert change_of(pull(2, offset=7.0), pull(1)).verdict == "loss"


def test_nothing_changed_is_no_measurable_change() -> None:
    found = change_of(pull(3), pull(4))
    assert found.verdict == "no measurable change"
    assert found.significant_ranges == ()


def test_scatter_between_pulls_counts_without_repeats() -> None:
    # The readings alone would call these 0.3 % apart: they repeat to a fiftieth of that.
    before, after = pull(3, noise=0.1), pull(4, noise=0.1, offset=1.3)
    found = change_of(before, after)
    assert found.verdict == "no measurable change"
    assert found.half_width > student_t_quantile(0.95, 7.0) * 0.002 * 430 * np.sqrt(2) * 0.97


def test_the_interval_is_students_t_with_scatter_readings_and_last_digit() -> None:
    before, after = [pull(5), pull(6)], [pull(7), pull(8), pull(9)]
    scatter = Scatter(variance=Variance(value=0.004**2, freedom=9.0), repeats=3, drift_variance=0.1)
    found = gain(group(*before, resolution=0.3), group(*after, at=(2.0, 3.0, 4.0), resolution=0.4), scatter)
    level = np.mean([mean_over(each) for each in before])
    between = (0.004 * level) ** 2 * (1 / 2 + 1 / 3 + 2.5**2 * 0.1)
    noise = readings_noise(before[0], after[0], found.low, found.high)[1]
    assert noise is not None
    within = wide_variance(noise) / 2 * (1 / 2 + 1 / 3) * (9 - 3) / 9
    total = between + within + 0.3**2 + 0.4**2
    freedom = effective_freedom((between, 9.0), (within, noise.freedom), (0.3**2 + 0.4**2, np.inf))
    assert found.freedom == freedom
    assert found.standard_uncertainty == pytest.approx(np.sqrt(total))
    assert found.half_width == pytest.approx(student_t_quantile(0.95, freedom) * np.sqrt(total))


def test_the_last_digit_is_a_floor_and_no_interval_is_zero() -> None:
    flat = curve(RPM / 60, np.full(RPM.size, 400.0))
    tiny = Scatter(variance=Variance(value=1e-12, freedom=6.0), drift_variance=0.0)
    step = 5.0
    found = gain(
        group(flat, resolution=step / np.sqrt(12), step=step),
        group(flat, at=(1.0,), resolution=step / np.sqrt(12)),
        tiny,
    )
    assert found.half_width > 1.9 * step / np.sqrt(6)
    assert np.all(found.band >= found.half_width)


def test_the_drift_of_the_session_is_taken_off() -> None:
    scatter = Scatter(variance=SCATTER.variance, drift=0.004, drift_variance=0.05)
    before, after = pull(10), pull(11, offset=5.0)
    steady, drifting = change_of(before, after), change_of(before, after, scatter)
    assert drifting.drift == pytest.approx(0.004 * mean_over(before), rel=1e-9)
    assert drifting.mean == pytest.approx(steady.mean - drifting.drift)
    assert drifting.half_width > steady.half_width


def test_a_baseline_pulled_again_is_free_of_drift() -> None:
    scatter = Scatter(variance=SCATTER.variance, drift=0.004, drift_variance=0.05)
    before, after = group(pull(12), pull(13, offset=4.0), at=(0.0, 2.0)), group(pull(14, offset=2.0), at=(1.0,))
    found = gain(before, after, scatter)
    assert found.drift == 0
    assert found.mean == pytest.approx(0.0, abs=0.5)


def test_the_mean_is_the_difference_of_the_means_a_reader_can_subtract() -> None:
    before, after = pull(5), pull(6, offset=3.0)
    found = change_of(before, after, SCATTER, 3000 / 60, 6000 / 60)
    assert (found.low, found.high) == (50.0, 100.0)
    assert found.mean == pytest.approx(mean_over(after, 50.0, 100.0) - mean_over(before, 50.0, 100.0))


def test_a_gain_above_a_speed_is_given_with_its_range() -> None:
    found = change_of(pull(7), pull(8, change=lambda rpm: 8 / (1 + np.exp(-(rpm - 3500) / 80))))
    assert len(found.significant_ranges) == 1
    (only,) = found.significant_ranges
    assert only.low * 60 == pytest.approx(3500, abs=250)
    assert only.high * 60 == pytest.approx(6500, abs=60)
    assert only.mean == pytest.approx(8, abs=1)
    assert np.all(found.band > 0)


def test_a_gain_here_and_a_loss_there_are_two_ranges() -> None:
    found = change_of(pull(9), pull(10, change=lambda rpm: 10 * np.tanh((rpm - 4250) / 400)))
    assert [np.sign(each.mean) for each in found.significant_ranges] == [-1, 1]


def test_other_speeds_in_the_other_pull_make_no_difference() -> None:
    shifted = np.linspace(2020, 6480, 83)
    found = change_of(pull(11), pull(12, offset=6.0, rpm=shifted))
    assert found.mean == pytest.approx(6.0, abs=0.8)
    assert abs(found.mean - 6.0) < found.half_width
    at, difference = reading_differences(pull(11), pull(12, offset=6.0, rpm=shifted), found.low, found.high)
    assert at.size > 40
    assert difference.mean() == pytest.approx(6.0, abs=0.6)
    assert np.all(np.diff(at) > 0)


def test_readings_at_the_same_speeds_are_compared_one_by_one() -> None:
    before, after = pull(13), pull(14)
    at, difference = reading_differences(before, after, RPM[0] / 60, RPM[-1] / 60)
    np.testing.assert_allclose(at * 60, RPM)
    np.testing.assert_allclose(difference, after.reading_value - before.reading_value, atol=1e-9)


def test_noise_is_that_of_the_readings_not_of_the_smooth_curves() -> None:
    _, difference = reading_differences(pull(15), pull(16), RPM[0] / 60, RPM[-1] / 60)
    assert difference.std() == pytest.approx(np.sqrt(2), rel=0.25)


def test_the_shape_of_repeats_widens_the_band() -> None:
    wavy = [pull(50 + k, change=lambda rpm, k=k: 4 * np.sin(rpm / 300 + 2 * k)) for k in range(3)]
    before, after = pull(53), pull(54)
    plain = change_of(before, after)
    found = gain(group(before), group(after, at=(1.0,)), SCATTER, repeats=[wavy])
    assert found.half_width == pytest.approx(plain.half_width)
    assert found.band.min() > 1.3 * plain.band.min()


def test_too_few_readings_give_a_difference_but_no_interval() -> None:
    few = np.array([3000.0, 4000.0])
    before = curve(few / 60, np.array([400.0, 450.0]))
    after = curve(few / 60, np.array([405.0, 455.0]))
    found = change_of(before, after)
    assert found.mean == pytest.approx(5.0)
    assert found.verdict == "not known"
    assert np.isnan(found.half_width)
    assert not found.measurable
    assert found.significant_ranges == ()


def test_scaling_the_unit_scales_the_result() -> None:
    before, after = pull(60), pull(61, offset=2.0)
    one = change_of(before, after)
    other = change_of(*(map_curve(each, lambda _, t: 1.5 * t) for each in (before, after)))
    assert other.mean == pytest.approx(1.5 * one.mean)
    assert other.half_width == pytest.approx(1.5 * one.half_width, rel=1e-6)


def test_pulls_without_common_speeds_are_refused() -> None:
    low, high = pull(62, rpm=np.arange(2000.0, 3000.0, 50)), pull(63, rpm=np.arange(4000.0, 5000.0, 50))
    with pytest.raises(ValueError, match="in common"):
        change_of(low, high)
    with pytest.raises(ValueError, match="at least one pull"):
        gain(group(), group(high), SCATTER)


def test_repeatability_at_each_speed_and_overall() -> None:
    pulls = [pull(70 + k, noise=0.0, offset=offset) for k, offset in enumerate([-2.0, 0.0, 2.0])]
    found = repeatability(pulls, 3000 / 60, 6000 / 60)
    np.testing.assert_allclose(found.deviation, 2.0)
    assert found.overall == pytest.approx(2.0)
    assert found.of_means == pytest.approx(2.0)
    assert found.relative == pytest.approx(2 / mean_over(pulls[1], 50.0, 100.0))
    assert (found.pulls, found.freedom) == (3, 2)
    with pytest.raises(ValueError, match="at least two pulls"):
        repeatability(pulls[:1])
