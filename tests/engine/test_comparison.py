"""Pull against pull: what a change was worth, which noise was used, and what may be said."""

from __future__ import annotations

import numpy as np
import pytest

from builder.engine.comparison import drift, gain, reading_differences, repeatability
from builder.engine.curves import Curve, curve, map_curve, mean_over

RPM = np.arange(2000.0, 6501.0, 50.0)


def torque(rpm: np.ndarray) -> np.ndarray:
    return 400 + 60 * np.exp(-(((rpm - 4400) / 1100) ** 2))


def pull(seed: int, noise: float = 1.0, offset: float = 0.0, rpm: np.ndarray = RPM, change: object = None) -> Curve:
    values = torque(rpm) + np.random.default_rng(seed).normal(0, noise, rpm.size) + offset
    if change is not None:
        values = values + change(rpm)  # type: ignore[operator]
    return curve(rpm / 60, values)


def test_a_clear_gain_is_found_and_measured() -> None:
    found = gain([pull(1)], [pull(2, offset=7.0)])
    assert found.verdict == "gained more than the noise"
    assert found.beyond_noise
    assert found.basis == "readings"
    assert found.mean == pytest.approx(7.0, abs=0.8)
    assert abs(found.mean - 7.0) < found.half_width
    assert found.relative == pytest.approx(7 / mean_over(pull(1)), rel=0.15)
    assert gain([pull(2, offset=7.0)], [pull(1)]).verdict == "lost more than the noise"


def test_nothing_changed_is_no_more_than_the_noise() -> None:
    found = gain([pull(3)], [pull(4)])
    assert found.verdict == "no more than the noise"
    assert found.significant_ranges == ()


def test_the_mean_is_the_difference_of_the_means_a_reader_can_subtract() -> None:
    before, after = pull(5), pull(6, offset=3.0)
    found = gain([before], [after], 3000 / 60, 6000 / 60)
    assert (found.low, found.high) == (50.0, 100.0)
    assert found.mean == pytest.approx(mean_over(after, 50.0, 100.0) - mean_over(before, 50.0, 100.0))


def test_a_gain_above_a_speed_is_given_with_its_range() -> None:
    found = gain([pull(7)], [pull(8, change=lambda rpm: 8 / (1 + np.exp(-(rpm - 3500) / 80)))])
    assert len(found.significant_ranges) == 1
    (only,) = found.significant_ranges
    assert only.low * 60 == pytest.approx(3500, abs=250)
    assert only.high * 60 == pytest.approx(6500, abs=60)
    assert only.mean == pytest.approx(8, abs=1)
    assert np.all(found.band > 0)


def test_a_gain_here_and_a_loss_there_are_two_ranges() -> None:
    found = gain([pull(9)], [pull(10, change=lambda rpm: 10 * np.tanh((rpm - 4250) / 400))])
    assert [np.sign(each.mean) for each in found.significant_ranges] == [-1, 1]


def test_other_speeds_in_the_other_pull_make_no_difference() -> None:
    shifted = np.linspace(2020, 6480, 83)
    found = gain([pull(11)], [pull(12, offset=6.0, rpm=shifted)])
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


def test_repeats_tell_the_noise_where_there_are_any() -> None:
    offsets = [-4.0, 1.0, 3.0]
    before = [pull(20 + k, offset=offset) for k, offset in enumerate(offsets)]
    after = [pull(30 + k, offset=offset + 4.0) for k, offset in enumerate(offsets)]
    found = gain(before, after)
    means = np.array([mean_over(each) for each in before])
    others = np.array([mean_over(each) for each in after])
    pooled = (means.var(ddof=1) + others.var(ddof=1)) / 2
    assert found.basis == "repeats"
    assert found.freedom == 4
    assert found.standard_uncertainty == pytest.approx(np.sqrt(pooled * 2 / 3))
    assert found.verdict == "no more than the noise"
    # The same two pulls without their repeats look sure of it: they cannot know better.
    assert gain(before[:1], [pull(40, offset=4.0)]).verdict == "gained more than the noise"


def test_repeats_elsewhere_in_the_session_count_too() -> None:
    group = [pull(50, offset=-3.0), pull(51, offset=3.0), pull(52, offset=0.0)]
    found = gain([pull(53)], [pull(54, offset=5.0)], repeats=[group])
    assert found.basis == "repeats"
    assert found.freedom == 2
    assert found.verdict == "no more than the noise"


def test_a_copy_of_a_pull_is_not_a_repeat() -> None:
    one = pull(55)
    assert gain([one, one], [pull(56, offset=9.0)]).basis == "readings"


def test_a_single_pair_of_points_gives_a_difference_but_no_noise() -> None:
    few = np.array([3000.0, 4000.0])
    before = curve(few / 60, np.array([400.0, 450.0]))
    after = curve(few / 60, np.array([405.0, 455.0]))
    found = gain([before], [after])
    assert found.mean == pytest.approx(5.0)
    assert found.basis == "not known"
    assert found.verdict == "noise not known"
    assert np.isnan(found.half_width)
    assert not found.beyond_noise
    assert found.significant_ranges == ()


def test_noise_free_pulls_that_differ_differ() -> None:
    before = curve(RPM / 60, torque(RPM))
    assert gain([before], [map_curve(before, lambda _, t: t + 1)]).verdict == "gained more than the noise"
    assert gain([before], [before]).verdict == "no more than the noise"


def test_scaling_the_unit_scales_the_result() -> None:
    before, after = pull(60), pull(61, offset=2.0)
    one = gain([before], [after])
    other = gain(*([map_curve(each, lambda _, t: 1.5 * t)] for each in (before, after)))
    assert other.mean == pytest.approx(1.5 * one.mean)
    assert other.half_width == pytest.approx(1.5 * one.half_width, rel=1e-6)


def test_pulls_without_common_speeds_are_refused() -> None:
    low, high = pull(62, rpm=np.arange(2000.0, 3000.0, 50)), pull(63, rpm=np.arange(4000.0, 5000.0, 50))
    with pytest.raises(ValueError, match="in common"):
        gain([low], [high])
    with pytest.raises(ValueError, match="at least one pull"):
        gain([], [high])


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


def test_drift_from_first_to_last() -> None:
    creeping = drift([pull(80 + k, offset=-2.0 * k) for k in range(4)])
    assert creeping.change == pytest.approx(-6.0, abs=0.8)
    assert creeping.per_pull == pytest.approx(-2.0, abs=0.3)
    assert creeping.beyond_noise
    steady = drift([pull(90 + k) for k in range(3)])
    assert not steady.beyond_noise
    assert abs(steady.change) < steady.half_width
    with pytest.raises(ValueError, match="first and a last"):
        drift([pull(99)])
