"""Noise that lasts for some readings: recognised, and the interval widened by it."""

from __future__ import annotations

import numpy as np
import pytest

from builder.engine.autocorrelated_noise import noise_of_mean, student_t_quantile, student_t_tail

WIDTH = 500 / 60


def lasting(rng: np.random.Generator, size: int, correlation: float) -> np.ndarray:
    draws = rng.standard_normal(size)
    out = np.empty(size)
    out[0] = draws[0]
    for k in range(1, size):
        out[k] = correlation * out[k - 1] + np.sqrt(1 - correlation**2) * draws[k]
    return out


def even_weight(size: int) -> np.ndarray:
    weight = np.full(size, 1 / (size - 1))
    weight[[0, -1]] /= 2
    return weight


def middle_half_width(correlation: float, size: int = 90) -> float:
    rng = np.random.default_rng(1)
    at = np.linspace(33, 108, size)
    found = [noise_of_mean(at, lasting(rng, size, correlation), even_weight(size), WIDTH) for _ in range(40)]
    return float(np.median([each.half_width for each in found]))


def test_noise_that_lasts_makes_a_mean_less_sure() -> None:
    none, some, much = (middle_half_width(correlation) for correlation in (0.0, 0.6, 0.85))
    assert none < 0.6 * some
    assert some < 0.8 * much


def test_independent_readings_count_nearly_in_full() -> None:
    rng = np.random.default_rng(2)
    at = np.linspace(33, 108, 90)
    counts = [noise_of_mean(at, rng.standard_normal(90), even_weight(90), WIDTH).effective_readings for _ in range(60)]
    assert 55 < np.median(counts) < 120


def test_a_trend_is_not_noise() -> None:
    rng = np.random.default_rng(3)
    at = np.linspace(33, 108, 90)
    noise = rng.standard_normal(90)
    plain = noise_of_mean(at, noise, even_weight(90), WIDTH)
    sloped = noise_of_mean(at, noise + 5 + 0.4 * (at - 70) - 0.01 * (at - 70) ** 2, even_weight(90), WIDTH)
    assert sloped.half_width == pytest.approx(plain.half_width, rel=1e-6)


def test_a_true_course_with_bends_is_not_noise() -> None:
    rng = np.random.default_rng(5)
    at = np.linspace(33, 108, 90)
    course = 10 * np.tanh((at - 70) / 7)
    found = [noise_of_mean(at, rng.standard_normal(90) + course, even_weight(90), WIDTH) for _ in range(20)]
    plain = [noise_of_mean(at, rng.standard_normal(90), even_weight(90), WIDTH) for _ in range(20)]
    assert np.median([f.half_width for f in found]) < 2 * np.median([f.half_width for f in plain])


def test_unit_and_level_go_straight_through() -> None:
    rng = np.random.default_rng(4)
    at, noise = np.linspace(33, 108, 60), rng.standard_normal(60)
    one = noise_of_mean(at, noise, even_weight(60), WIDTH)
    other = noise_of_mean(at, 1.356 * noise + 300, even_weight(60), WIDTH)
    assert other.half_width == pytest.approx(1.356 * one.half_width, rel=1e-6)
    np.testing.assert_allclose(other.covariance, 1.356**2 * one.covariance, rtol=1e-5, atol=1e-9)


def test_without_noise_none_is_estimated() -> None:
    at = np.linspace(33, 108, 30)
    found = noise_of_mean(at, 3 + 0.1 * at, even_weight(30), WIDTH)
    assert found.half_width == 0.0


def test_too_few_readings_are_refused() -> None:
    with pytest.raises(ValueError, match="fewer than 4"):
        noise_of_mean(np.arange(3.0), np.arange(3.0), even_weight(3), WIDTH)


def test_tail_and_quantile_are_inverse() -> None:
    for freedom in (1.0, 2.5, 12.0, 300.0):
        for level in (0.5, 0.95, 0.9995):
            t = student_t_quantile(level, freedom)
            assert float(student_t_tail(np.array(t), freedom)) == pytest.approx(1 - level, rel=1e-10)
    assert float(student_t_tail(np.array(0.0), 3.0)) == 1.0
    with pytest.raises(ValueError, match="between 0 and 1"):
        student_t_quantile(95.0, 3.0)
    with pytest.raises(ValueError, match="degree of freedom"):
        student_t_quantile(0.95, 0.5)
