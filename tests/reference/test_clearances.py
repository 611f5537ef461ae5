"""Fits against NumPy on random readings, and against rules of the trade."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import studentized_range

from builder.engine import clearances

INCH = 0.0254


def test_bore_geometry_on_random_readings() -> None:
    """NumPy alone, over every pair of readings: the largest difference is taper or out of round."""
    rng = np.random.default_rng(20_240_611)
    bores = 4.030 * INCH + rng.normal(0, 0.0003 * INCH, size=(60, 3, 2))
    pairs_down = np.abs(bores[:, :, None, :] - bores[:, None, :, :]).max(axis=(1, 2, 3))
    pairs_across = np.abs(bores[:, :, :, None] - bores[:, :, None, :]).max(axis=(1, 2, 3))
    np.testing.assert_allclose(clearances.bore_taper(bores), pairs_down, rtol=0, atol=1e-18)
    np.testing.assert_allclose(clearances.bore_out_of_round(bores), pairs_across, rtol=0, atol=1e-18)
    assert clearances.bore_taper(bores[7]) == pytest.approx(pairs_down[7], abs=1e-18)


def test_ring_gap_rule() -> None:
    """Common practice, no source (maker's sheet wins): 0.0045 in per inch, so 0.018 in on a 4.000 in bore."""
    assert clearances.ring_gap_rule(4.000 * INCH) / INCH == pytest.approx(0.018)


def test_oil_clearance_rule() -> None:
    """Common practice, no source: 0.001 in per inch, so 0.0025 in on a 2.500 in journal."""
    assert clearances.oil_clearance_rule(2.500 * INCH) / INCH == pytest.approx(0.0025)


def test_fit_position_against_interpolation() -> None:
    """NumPy interp over the range, on random readings inside it."""
    rng = np.random.default_rng(7)
    values = rng.uniform(0.0025, 0.0035, 50)
    expected = np.interp(values, [0.0025, 0.0035], [0.0, 1.0])
    np.testing.assert_allclose(clearances.position_in_range(values, 0.0025, 0.0035), expected, atol=1e-12)


@pytest.mark.parametrize("depths", [2, 3, 4])
def test_least_taper_that_a_gauge_resolves(depths: int) -> None:
    """SciPy's studentized range (Tukey): the largest of two ranges of true bores exceeds the limit 1 in 20 at most."""
    limit = clearances.resolvable_difference(1.0, 0.0, depths * (depths - 1))
    by_chance = 1 - float(studentized_range.cdf(limit, depths, np.inf)) ** 2
    assert 0.035 < by_chance <= 0.05


@pytest.mark.parametrize("scatter", [0.2, 0.5, 1.0, 2.0])
@pytest.mark.parametrize("depths", [2, 3, 4])
def test_a_true_bore_is_seldom_read_as_tapered_or_oval(scatter: float, depths: int) -> None:
    """Monte Carlo (JCGM 101): true bores read with a scatter and rounded; at most 1 in 20, and 1 % for luck."""
    rng = np.random.default_rng(20_260_611)
    readings = np.round(rng.uniform(0, 1, (20_000, 1, 1)) + rng.normal(0, scatter, (20_000, depths, 2)))
    taper, oval = np.ptp(readings, axis=1).max(axis=1), np.ptp(readings, axis=2).max(axis=1)
    for found, pairs in ((taper, depths * (depths - 1)), (oval, depths)):
        assert np.mean(found > clearances.resolvable_difference(scatter, 1.0, pairs)) < 0.06
