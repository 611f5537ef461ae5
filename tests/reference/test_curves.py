"""Smoothing and integrals against SciPy."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad, trapezoid
from scipy.optimize import minimize_scalar
from scipy.signal import medfilt, savgol_filter

from builder.engine.curves import area_under, curve, mean_over
from builder.engine.peaks import peak
from builder.engine.smoothing import _median_of_five, local_fit


@pytest.mark.parametrize("window", [5, 9, 15])
def test_even_weights_on_an_even_grid_are_savitzky_golay(window: int) -> None:
    """Source: scipy.signal.savgol_filter, second order, mode interp, ends included."""
    x = np.arange(80.0)
    y = np.random.default_rng(window).normal(400, 10, 80)
    ours = local_fit(x, y, x, float(window - 1), tapered=False)[0]
    np.testing.assert_allclose(ours, savgol_filter(y, window, 2, mode="interp"), rtol=1e-9)


def test_the_slope_is_savitzky_golays_first_derivative() -> None:
    """Source: scipy.signal.savgol_filter, deriv=1."""
    x = np.arange(60.0)
    y = np.random.default_rng(1).normal(400, 10, 60)
    ours = local_fit(x, y, x, 8.0, tapered=False)[1]
    np.testing.assert_allclose(ours, savgol_filter(y, 9, 2, deriv=1, mode="interp"), atol=1e-9)


def test_the_local_quadratic_at_uneven_speeds_is_numpys_weighted_polyfit() -> None:
    """Source: numpy.polyfit with tricube weights (Cleveland 1979) at one speed after another."""
    rng = np.random.default_rng(2)
    x = np.sort(rng.uniform(33, 108, 120))
    y = rng.normal(400, 5, 120)
    for at in np.linspace(45, 95, 17):
        distance = np.abs(x - at)
        weight = np.clip(1 - (distance / 4.5) ** 3, 0, None) ** 3
        inside = weight > 0
        fit = np.polyfit(x[inside] - at, y[inside], 2, w=np.sqrt(weight[inside]))
        assert local_fit(x, y, np.array([at]), 9.0)[0][0] == pytest.approx(fit[-1], rel=1e-9)


def test_the_median_of_five_is_scipys() -> None:
    """Source: scipy.signal.medfilt, five wide, away from its zero-padded ends."""
    y = np.random.default_rng(3).normal(size=500)
    ours = _median_of_five(*(y[k : k + 496] for k in range(5)))
    np.testing.assert_array_equal(ours, medfilt(y, 5)[2:-2])


def test_area_and_mean_are_scipys_trapezoid() -> None:
    """Source: scipy.integrate.trapezoid over the same points, to 1e-9."""
    rpm = np.arange(2000.0, 6501.0, 50.0)
    of = curve(rpm / 60, 400 + 50 * np.sin(rpm / 900))
    speed, value = of.points()
    assert area_under(of) == pytest.approx(trapezoid(value, speed), rel=1e-9)
    assert mean_over(of) == pytest.approx(trapezoid(value, speed) / (speed[-1] - speed[0]), rel=1e-9)


def test_area_and_mean_are_the_true_integral() -> None:
    """Source: scipy.integrate.quad of the curve that the readings were taken from."""
    rpm = np.arange(2000.0, 6501.0, 50.0)

    def true(speed: float) -> float:
        return float(400 + 50 * np.exp(-(((speed - 73) / 20) ** 2)))

    of = curve(rpm / 60, np.array([true(n) for n in rpm / 60]))
    assert area_under(of, 50.0, 100.0) == pytest.approx(quad(true, 50.0, 100.0)[0], rel=2e-5)


def test_the_peak_is_the_true_one() -> None:
    """Source: scipy.optimize.minimize_scalar of the curve that the readings were taken from."""
    rpm = np.arange(2000.0, 6501.0, 100.0)

    def true(speed: float) -> float:
        return float(400 + 60 * np.exp(-(((speed - 71.3) / 18) ** 2)) + 0.4 * speed)

    best = minimize_scalar(lambda n: -true(n), bounds=(34, 108), method="bounded", options={"xatol": 1e-9})
    found = peak(curve(rpm / 60, np.array([true(n) for n in rpm / 60])))
    assert found.speed * 60 == pytest.approx(best.x * 60, abs=25)
    assert found.value == pytest.approx(-best.fun, rel=1e-3)
