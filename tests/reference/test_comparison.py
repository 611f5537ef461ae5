"""Evidence against SciPy, a Monte Carlo study, and a shop's own sweep of spark advance."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import optimize, stats
from scipy.signal import lfilter

from builder.engine.autocorrelated_noise import student_t_quantile, student_t_tail
from builder.engine.comparison import PullGroup, gain, readings_noise, repeatability
from builder.engine.curves import Curve, curve, mean_over
from builder.engine.optimum import best_setting
from builder.engine.pull_scatter import (
    RepeatGroup,
    Scatter,
    Variance,
    drift,
    pooled_variance,
    scatter_of_repeats,
    updated_variance,
)

SHARP = Variance(value=1e-6, freedom=50.0)
"""A noise far below all differences of a sweep."""


@pytest.mark.parametrize("freedom", [1.0, 1.7, 2.0, 4.0, 9.5, 30.0, 250.0])
@pytest.mark.parametrize("level", [0.5, 0.68, 0.95, 0.99, 0.9995])
def test_students_t_quantile(level: float, freedom: float) -> None:
    """Source: scipy.stats.t.ppf."""
    assert student_t_quantile(level, freedom) == pytest.approx(stats.t.ppf((1 + level) / 2, freedom), rel=1e-9)


@pytest.mark.parametrize("freedom", [1.0, 2.5, 9.0, 80.0])
def test_students_t_tail(freedom: float) -> None:
    """Source: scipy.stats.t.sf."""
    t = np.array([0.0, 0.1, 1.0, 2.5, 8.0, 40.0])
    np.testing.assert_allclose(student_t_tail(t, freedom), 2 * stats.t.sf(t, freedom), rtol=1e-10)


@pytest.mark.parametrize(("freedom", "factor"), [(1, 12.71), (2, 4.30), (5, 2.57), (10, 2.23), (50, 2.01)])
def test_students_t_of_the_guides_table(freedom: int, factor: float) -> None:
    """Source: JCGM 100:2008 (GUM), table G.2, 95 %."""
    assert student_t_quantile(0.95, freedom) == pytest.approx(factor, abs=0.005)


@pytest.mark.parametrize("seed", range(5))
def test_the_parabola_is_numpys_and_scipys(seed: int) -> None:
    """Source: numpy.polyfit and scipy.stats (linear algebra), to 1e-9."""
    rng = np.random.default_rng(seed)
    levels = rng.uniform(25, 40, 8)
    values = 400 - 0.5 * (levels - 33) ** 2 + rng.normal(0, 1, 8)
    found = best_setting(list(levels), list(values), SHARP)
    bend, slope, constant = np.polyfit(levels, values, 2)
    assert found.curvature == pytest.approx(bend, rel=1e-9)
    assert found.slope == pytest.approx(slope, rel=1e-9)
    assert found.constant == pytest.approx(constant, rel=1e-8)


def test_a_shops_sweep_of_spark_advance_by_power() -> None:
    """Source: common practice, no source: 30, 33, 35 deg gave 402, 411, 413 hp; the top is at 35.25 deg."""
    found = best_setting([30.0, 33.0, 35.0], [402.0, 411.0, 413.0], SHARP)
    assert found.verdict == "optimum"
    assert found.optimum == pytest.approx(35.25, abs=1e-6)
    assert found.optimum_value == pytest.approx(413.03, abs=0.01)


def test_the_same_sweep_by_torque_names_no_optimum() -> None:
    """Source: common practice, no source: 438, 439, 445 lbf ft bend upwards."""
    found = best_setting([30.0, 33.0, 35.0], [438.0, 439.0, 445.0], SHARP)
    assert found.curvature > 0
    assert found.verdict == "still rising"
    assert found.optimum is None


def test_repeatability_is_numpys_standard_deviation_pooled() -> None:
    """Source: JCGM 100:2008 (GUM) 4.2.2 and numpy.std."""
    rpm = np.arange(2000.0, 6501.0, 50.0)
    shifts = np.array([-1.5, 0.2, 0.9, 2.2])
    pulls = [curve(rpm / 60, 400 + shift + 0 * rpm) for shift in shifts]
    assert repeatability(pulls).overall == pytest.approx(np.std(shifts, ddof=1), rel=1e-9)


def test_pooled_variance_is_that_of_scipys_two_sample_test() -> None:
    """Source: scipy.stats.ttest_ind (equal variances), whose standard error is s sqrt(1/n1 + 1/n2)."""
    rng = np.random.default_rng(11)
    before, after = rng.normal(0, 2, 4), rng.normal(3, 2, 3)
    found = pooled_variance([before.tolist(), after.tolist()])
    theirs = stats.ttest_ind(after, before)
    interval = theirs.confidence_interval(0.95)
    assert found.freedom == theirs.df == 5
    half_width = student_t_quantile(0.95, found.freedom) * np.sqrt(found.value * (1 / 4 + 1 / 3))
    assert half_width == pytest.approx((interval.high - interval.low) / 2)


@pytest.mark.parametrize("seed", range(4))
def test_the_interval_of_a_gain_is_the_two_sample_interval_without_drift_and_prior(seed: int) -> None:
    """Source: scipy.stats.ttest_ind: with nothing known before and no drift the two are the same."""
    rng = np.random.default_rng(seed)
    rpm = np.arange(2000.0, 6501.0, 50.0)
    before, after = rng.normal(0, 2, 4), rng.normal(3, 2, 3)
    sides = [[curve(rpm / 60, 400 + shift + 0 * rpm) for shift in side] for side in (before, after)]
    groups = [PullGroup(curves=tuple(side), position=tuple(map(float, range(len(side))))) for side in sides]
    level = 400 + before.mean()
    variance = pooled_variance([(before / level).tolist(), (after / level).tolist()])
    found = gain(*groups, Scatter(variance=variance, repeats=5, drift_variance=0.0))
    interval = stats.ttest_ind(after, before).confidence_interval(0.95)
    assert found.mean == pytest.approx(after.mean() - before.mean())
    assert found.half_width == pytest.approx((interval.high - interval.low) / 2)


@pytest.mark.parametrize(("prior", "freedom"), [(0.5, 6.0), (0.3, 12.0)])
def test_the_posterior_is_the_scaled_inverse_chi_square_by_integration(prior: float, freedom: float) -> None:
    """Source: Gelman et al., Bayesian Data Analysis, 3rd ed., 2.6; here by a grid over the logarithm of the variance.

    Prior density times the likelihood of the repeats, normalised by the trapezoid rule, against the density that the
    sum of squares and degrees of freedom give (scipy.stats.invgamma), and the interval of a difference of two pulls
    (normal for each variance, averaged over the grid) against Student's t.
    """
    repeats = np.array([100.4, 99.7, 100.2])
    found = updated_variance(Variance(value=prior**2, freedom=freedom), pooled_variance([repeats.tolist()]))
    log_variance = np.linspace(np.log(1e-3), np.log(1e3), 40_001)
    variance = np.exp(log_variance)
    # The flat level of the repeats integrates out to one degree of freedom less than repeats.
    squares = float(np.sum((repeats - repeats.mean()) ** 2))
    log_prior = -(freedom / 2) * log_variance - freedom * prior**2 / (2 * variance)
    log_likelihood = -(repeats.size - 1) / 2 * log_variance - squares / (2 * variance)
    density = np.exp(log_prior + log_likelihood - np.max(log_prior + log_likelihood))
    density /= np.trapezoid(density, log_variance)
    scale = found.freedom * found.value / 2
    theirs = stats.invgamma.pdf(variance, found.freedom / 2, scale=scale) * variance
    np.testing.assert_allclose(density, theirs, rtol=1e-4, atol=1e-7)
    half_width = student_t_quantile(0.95, found.freedom) * found.deviation * np.sqrt(2)
    held = np.trapezoid(density * (2 * stats.norm.cdf(half_width / np.sqrt(2 * variance)) - 1), log_variance)
    assert held == pytest.approx(0.95, abs=1e-5)


def test_drift_is_scipys_regression() -> None:
    """Source: scipy.stats.linregress, slope and its p-value."""
    for seed in range(20):
        rng = np.random.default_rng(seed)
        position, value = np.arange(5.0), 400 + 0.6 * np.arange(5) + rng.normal(0, 1, 5)
        found = drift(RepeatGroup(position=tuple(position), value=tuple(value)))
        theirs = stats.linregress(position, value)
        assert found.per_pull == pytest.approx(theirs.slope)
        assert found.half_width == pytest.approx(stats.t.ppf(0.985, 3) * theirs.stderr)
        assert (found.verdict == "seen") == (theirs.pvalue < 0.03)


def test_the_drift_of_a_session_is_the_mean_of_its_posterior_by_integration() -> None:
    """Source: Gelman et al., 14.8: a normal prior of a coefficient; here by a grid over the drift.

    For any one scatter the posterior mean of the drift, and its variance over that of the scatter, are the same.
    """
    values, deviation = np.array([1.002, 0.999, 1.004, 1.006]), 0.004
    drifts = np.linspace(-0.02, 0.02, 20_001)
    rest = (values - values.mean())[:, None] - (np.arange(4) - 1.5)[:, None] * drifts
    log_density = -np.sum(rest**2, axis=0) / (2 * deviation**2) - drifts**2 / (2 * (0.5 * deviation) ** 2)
    density = np.exp(log_density - log_density.max())
    density /= np.trapezoid(density, drifts)
    mean = float(np.trapezoid(density * drifts, drifts))
    spread = float(np.trapezoid(density * (drifts - mean) ** 2, drifts))
    group = RepeatGroup(position=(0, 1, 2, 3), value=tuple(values))
    found = scatter_of_repeats([group], Variance(value=deviation**2, freedom=6.0))
    assert found.drift == pytest.approx(mean, rel=1e-6)
    assert found.drift_variance == pytest.approx(spread / deviation**2, rel=1e-6)


@pytest.mark.parametrize("seed", range(6))
def test_the_interval_of_an_optimum_is_scipys_profile(seed: int) -> None:
    """Source: profile of the sum of squares over the top of the parabola, scipy.optimize.minimize and brentq.

    With the top held at a setting, height and bend are fitted anew; where the squares have grown by t^2 variances the
    interval ends (Bates and Watts, Nonlinear Regression Analysis, 6.1, from memory: profile t).
    """
    rng = np.random.default_rng(seed)
    levels = np.array([24.0, 27.0, 30.0, 33.0, 36.0])
    values = 400 - 0.25 * (levels - 31) ** 2 + rng.normal(0, 0.8, 5)
    found = best_setting(levels.tolist(), values.tolist(), Variance(value=0.8**2, freedom=6.0))
    assert found.optimum is not None
    assert found.interval is not None

    def squares(top: float) -> float:
        def of(height_and_bend: np.ndarray) -> float:
            height, bend = height_and_bend
            return float(np.sum((values - 400 - height + bend * (levels - top) ** 2) ** 2))

        return float(optimize.minimize(of, [0.0, 0.25], method="BFGS", options={"gtol": 1e-9}).fun)

    least = squares(found.optimum)
    limit = stats.t.ppf(0.975, 8) ** 2 * (6 * 0.8**2 + least) / 8

    def excess(top: float) -> float:
        return squares(top) - least - limit

    ends = (
        optimize.brentq(excess, found.optimum - 40, found.optimum),
        optimize.brentq(excess, found.optimum, found.optimum + 40),
    )
    assert found.interval == pytest.approx(ends, rel=1e-3)


def lasting_noise(rng: np.random.Generator, rows: int, correlation: float, deviation: float) -> np.ndarray:
    """First-order autoregressive noise from its stationary start."""
    draws = rng.normal(0, deviation * np.sqrt(1 - correlation**2), rows + 200)
    return np.asarray(lfilter([1.0], [1.0, -correlation], draws))[200:]


def synthetic_pull(
    rng: np.random.Generator, rpm: np.ndarray, correlation: float, deviation: float, extra: np.ndarray
) -> Curve:
    torque = 400 + 60 * np.exp(-(((rpm - 4400) / 1200) ** 2)) + extra
    return curve(rpm / 60, torque + lasting_noise(rng, rpm.size, correlation, deviation))


@pytest.mark.slow
def test_the_noise_of_readings_that_share_it() -> None:
    """Source: Monte Carlo, fixed seed: 1,000 pairs of pulls that differ in their readings alone.

    Pulls of 73, 91 or 120 rows, noise of 1 to 4 N m that lasts (correlation 0 to 0.75 from row to row), gains of
    -10 to 10 N m, half of them varying with speed. The 95 % interval of the readings holds the true gain 93 to 97 %
    of the time.
    """
    rng = np.random.default_rng(5)
    held = 0
    for k in range(1000):
        rpm = np.linspace(2000, 6500, (73, 91, 121)[k % 3])
        correlation, deviation = rng.uniform(0, 0.75), rng.uniform(1, 4)
        size, tilt = rng.uniform(-10, 10), (k // 3 % 2) * rng.uniform(-6, 6)
        change = size + tilt * np.sin((rpm - 4250) / 1500)
        before = synthetic_pull(rng, rpm, correlation, deviation, 0 * rpm)
        after = synthetic_pull(rng, rpm, correlation, deviation, change)
        true = float(np.trapezoid(change, rpm) / (rpm[-1] - rpm[0]))
        noise = readings_noise(before, after, rpm[0] / 60, rpm[-1] / 60)[1]
        assert noise is not None
        held += abs(mean_over(after) - mean_over(before) - true) <= noise.half_width
    assert 930 <= held <= 970
