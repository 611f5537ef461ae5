"""The smoother keeps peaks, joins what is one reading, and sets aside only what stands alone."""

from __future__ import annotations

import numpy as np
import pytest

from builder.engine.smoothing import (
    _median_of_five,
    local_fit,
    lone_readings,
    merge_duplicates,
    smoother_rows,
    spikes,
)


def parabola(x: np.ndarray) -> np.ndarray:
    return 440.0 - 0.02 * (x - 70.0) ** 2


@pytest.mark.parametrize("tapered", [True, False])
def test_a_parabola_comes_through_untouched_at_uneven_speeds(tapered: bool) -> None:
    x = np.sort(np.random.default_rng(1).uniform(30, 110, 60))
    at = np.linspace(x[0], x[-1], 40)
    value, slope = local_fit(x, parabola(x), at, 9.0, tapered=tapered)
    np.testing.assert_allclose(value, parabola(at), rtol=1e-9)
    np.testing.assert_allclose(slope, -0.04 * (at - 70.0), atol=1e-7)


def test_nothing_is_extrapolated() -> None:
    x = np.linspace(40, 100, 30)
    value, _ = local_fit(x, parabola(x), np.array([39.0, 40.0, 100.0, 101.0]), 8.0)
    assert np.isnan(value[[0, 3]]).all()
    assert np.isfinite(value[[1, 2]]).all()


@pytest.mark.parametrize("rows", [1, 2, 3, 4, 5])
def test_few_readings_give_what_they_can(rows: int) -> None:
    x = np.linspace(40.0, 80.0, rows)
    straight = 300 + 2 * x
    at = np.linspace(x[0], x[-1], 7)
    expected = 300 + 2 * at
    np.testing.assert_allclose(local_fit(x, straight, at, 8.0)[0], expected, rtol=1e-9)


def test_steady_readings_far_apart_are_passed_through() -> None:
    x = np.array([2000.0, 2500, 3000, 3500, 4000, 4500, 5000]) / 60
    y = np.array([300.0, 350, 390, 436, 420, 380, 330])
    np.testing.assert_allclose(local_fit(x, y, x, 500 / 60)[0], y, rtol=1e-9)


def test_the_curve_never_jumps() -> None:
    rng = np.random.default_rng(2)
    x = np.sort(rng.uniform(30, 110, 25))
    at = np.linspace(x[0], x[-1], 20_001)
    value, _ = local_fit(x, rng.normal(400, 5, 25), at, 8.0)
    assert np.abs(np.diff(value)).max() < 0.2


def test_the_rows_of_the_smoother_add_up_to_one() -> None:
    x = np.sort(np.random.default_rng(3).uniform(30, 110, 50))
    value_rows, slope_rows = smoother_rows(x, np.linspace(x[0], x[-1], 30), 8.0)
    np.testing.assert_allclose(value_rows.sum(axis=1), 1.0, atol=1e-9)
    np.testing.assert_allclose(slope_rows.sum(axis=1), 0.0, atol=1e-9)


def test_noise_is_reduced_and_the_peak_is_not() -> None:
    rng = np.random.default_rng(4)
    x = np.arange(2000, 6501, 50) / 60
    true = 400 + 60 * np.exp(-(((60 * x - 4500) / 900) ** 2))
    trials = np.stack([local_fit(x, true + rng.normal(0, 2, x.size), x, 500 / 60)[0] for _ in range(200)])
    middle = slice(10, -10)
    assert trials.std(axis=0)[middle].mean() < 1.2
    assert abs(trials.mean(axis=0)[50] - true[50]) < 0.3


def test_errors_are_plain() -> None:
    with pytest.raises(ValueError, match="at least one reading"):
        local_fit(np.empty(0), np.empty(0), np.array([1.0]), 1.0)
    with pytest.raises(ValueError, match="width"):
        local_fit(np.array([1.0, 2.0]), np.array([1.0, 2.0]), np.array([1.0]), 0.0)


def test_readings_at_one_speed_become_their_mean_in_order() -> None:
    x, y, rows = merge_duplicates(np.array([50.0, 40.0, 50.0, 60.0]), np.array([10.0, 1.0, 20.0, 3.0]))
    np.testing.assert_array_equal(x, [40, 50, 60])
    np.testing.assert_array_equal(y, [1, 15, 3])
    np.testing.assert_array_equal(rows, [1, 2, 1])


def test_near_readings_join_but_a_chain_of_them_does_not_run_away() -> None:
    x = np.array([40.0, 40.09, 45.0, 45.09, 45.18, 45.27, 45.36])
    joined, _, rows = merge_duplicates(x, x.copy(), same=0.1)
    assert rows.sum() == x.size
    assert joined.size == 4
    np.testing.assert_allclose(joined[0], 40.045)


def test_cells_lie_at_whole_multiples_and_keep_every_row() -> None:
    rng = np.random.default_rng(5)
    x = rng.uniform(33, 108, 5000)
    joined, value, rows = merge_duplicates(x, 2 * x, cell=0.5)
    assert rows.sum() == 5000
    assert np.all(np.diff(joined) > 0)
    np.testing.assert_allclose(value, 2 * joined, rtol=1e-12)
    far = np.append(x, 1e9)
    joined, _, rows = merge_duplicates(far, far, cell=0.5)
    assert rows.sum() == 5001
    assert joined[-1] == 1e9


def test_median_of_five_is_the_median() -> None:
    five = np.random.default_rng(6).normal(size=(5, 4000))
    np.testing.assert_array_equal(_median_of_five(*five), np.median(five, axis=0))


def test_one_or_two_stray_rows_of_a_long_log_are_found_and_nothing_else() -> None:
    rng = np.random.default_rng(7)
    value = 400 + 30 * np.sin(np.arange(20_000) / 4000) + rng.normal(0, 2, 20_000)
    value[[100, 9000, 9001, 19_999]] += [200, -150, -160, 90]
    np.testing.assert_array_equal(np.flatnonzero(spikes(value)), [100, 9000, 9001, 19_999])


def test_a_lasting_change_is_the_engine_not_a_spike() -> None:
    value = np.full(1000, 400.0)
    value[500:530] = 430.0
    assert not spikes(value).any()


@pytest.mark.parametrize("where", [0, 1, 30, 60, 89, 90])
@pytest.mark.parametrize("size", [0.06, -0.08])
def test_a_spike_anywhere_in_a_pull_is_the_only_one_set_aside(where: int, size: float) -> None:
    x = np.linspace(2000, 6500, 91) / 60
    y = 400 + 60 * np.exp(-(((60 * x - 4500) / 1200) ** 2))
    y += np.random.default_rng(8).normal(0, 0.8, 91)
    y[where] *= 1 + size
    np.testing.assert_array_equal(np.flatnonzero(lone_readings(x, y, 500 / 60)), [where])


def test_real_curves_lose_next_to_nothing() -> None:
    rng = np.random.default_rng(9)
    lost = total = 0
    for _ in range(150):
        rows = int(rng.integers(12, 150))
        x = np.linspace(2000, 6500, rows) / 60
        y = 400 + 60 * np.exp(-(((60 * x - 4500) / 1200) ** 2)) + 6 * np.sin(12 * x / 20)
        y *= 1 + rng.normal(0, 0.005, rows)
        lost += int(lone_readings(x, y, 500 / 60).sum())
        total += rows
    assert lost / total < 0.001


def test_a_step_test_of_few_rows_is_left_as_it_is() -> None:
    x = np.array([2000.0, 3000, 4000, 5000, 6000]) / 60
    assert not lone_readings(x, np.array([300.0, 380, 900, 400, 350]), 500 / 60).any()
