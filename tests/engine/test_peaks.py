"""Peaks: the engine's own, free of what noise adds, with their speeds and how well they are known."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from builder.engine.constants import REV_PER_MINUTE
from builder.engine.curves import curve, map_curve
from builder.engine.peaks import COARSE_SPEED, FINE_SPEED, peak, torque_band


def torque(rpm: np.ndarray) -> np.ndarray:
    return 400 + 60 * np.exp(-(((rpm - 4400) / 1100) ** 2))


RPM = np.arange(2000.0, 6501.0, 50.0)
PULL = curve(RPM / 60, torque(RPM))


def test_the_peak_is_found_between_grid_points() -> None:
    top = peak(PULL)
    assert top.speed * 60 == pytest.approx(4400, abs=1)
    assert top.value == pytest.approx(460, rel=1e-3)
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
    assert peak(spiked).value == pytest.approx(peak(PULL).value, rel=1e-3)
    assert peak(spiked).raw_value == 460.0


def test_torque_band_crossings() -> None:
    triangle = curve(RPM / 60, 500 - np.abs(RPM - 4250) / 10, width=50 * REV_PER_MINUTE)
    ((low, high),) = torque_band(triangle)
    assert (low * 60, high * 60) == (pytest.approx(3750, abs=15), pytest.approx(4750, abs=15))
    dip = curve(RPM / 60, 400 + 60 * np.cos((RPM - 3000) / 1500 * np.pi) * 1.0)
    assert len(torque_band(dip)) == 2
    with pytest.raises(ValueError, match="above zero"):
        torque_band(curve(RPM / 60, -RPM))


def test_a_million_rows_keep_the_peak() -> None:
    rng = np.random.default_rng(4)
    rpm = np.linspace(2000, 6500, 1_000_000) + rng.normal(0, 8, 1_000_000)
    values = torque(rpm) + rng.normal(0, 6, 1_000_000)
    values[[1000, 500_000]] = 1e7
    top = peak(curve(rpm / 60, values))
    assert top.value == pytest.approx(460, rel=1e-3)
    assert top.speed * 60 == pytest.approx(4400, abs=50)
    assert top.raw_value < 500


def test_the_peak_scales_with_the_curve() -> None:
    doubled, top = peak(map_curve(PULL, lambda n, t: 2 * t)), peak(PULL)
    assert doubled.value == pytest.approx(2 * top.value)
    assert doubled.deviation == pytest.approx(2 * top.deviation)
    assert doubled.speed == top.speed


def _plateau(rpm: np.ndarray) -> np.ndarray:
    return 400 * (1 - 0.12 * ((rpm - 3300) / 2000) ** 4)


def _broad(rpm: np.ndarray) -> np.ndarray:
    return 500 * (1 - 0.25 * ((rpm - 3500) / 2500) ** 2)


def _two_humps(rpm: np.ndarray) -> np.ndarray:
    return 480 * (0.82 + 0.16 * np.exp(-(((rpm - 3000) / 700) ** 2)) + 0.18 * np.exp(-(((rpm - 4800) / 1000) ** 2)))


@pytest.mark.parametrize("shape", [_plateau, _broad, _two_humps])
@pytest.mark.parametrize("step", [25, 100, 250])
def test_noise_does_not_make_the_peak_higher(shape: Callable[[np.ndarray], np.ndarray], step: int) -> None:
    """At 1 % noise the mean of many peaks is the true one to 0.3 %, which that of the smoothed curve is not."""
    rng, rpm = np.random.default_rng(7), np.arange(2000.0, 5501.0, step)
    true = float(shape(np.linspace(2000, 5500, 10_001)).max())
    peaks, tops = [], []
    for _ in range(200):
        noisy = curve(rpm / 60, shape(rpm) * (1 + 0.01 * rng.normal(size=rpm.size)))
        peaks.append(peak(noisy).value)
        tops.append(noisy.value.max())
    # The mean of 200 trials is itself known to about 0.05 %.
    assert abs(np.mean(peaks) / true - 1) < 0.003
    assert abs(np.mean(peaks) / true - 1) < np.mean(tops) / true - 1


def test_a_quiet_log_keeps_the_waves_of_the_torque() -> None:
    """Waves of 1 % with 1,200 rpm between their crests, as the tuned lengths of an intake make them."""
    rng, rpm = np.random.default_rng(3), np.arange(1800.0, 5401.0, 100.0)

    def waves(at: np.ndarray) -> np.ndarray:
        return 500 * (1 - 0.1 * np.abs((at - 3050) / 1450) ** 2.2) * (1 + 0.01 * np.sin(2 * np.pi * at / 1200 + 1))

    true = float(waves(np.linspace(1800, 5400, 10_001)).max())
    peaks = [peak(curve(rpm / 60, waves(rpm) * (1 + 0.001 * rng.normal(size=rpm.size)))).value for _ in range(50)]
    assert np.mean(peaks) == pytest.approx(true, rel=1e-3)


def test_the_scatter_of_readings_gives_the_scatter_of_the_peak() -> None:
    rng = np.random.default_rng(11)
    peaks = [peak(curve(RPM / 60, _broad(RPM) * (1 + 0.01 * rng.normal(size=RPM.size)))) for _ in range(300)]
    stated = np.sqrt(np.mean([top.deviation**2 for top in peaks]))
    assert stated == pytest.approx(float(np.std([top.value for top in peaks])), rel=0.15)


def test_speeds_of_peaks_are_as_fine_as_the_log_supports() -> None:
    rng = np.random.default_rng(5)
    assert peak(PULL).speed_step == FINE_SPEED
    noisy = peak(curve(RPM / 60, _broad(RPM) * (1 + 0.01 * rng.normal(size=RPM.size))))
    wide_steps = np.arange(2000.0, 6501.0, 250.0)
    coarse = peak(curve(wide_steps / 60, torque(wide_steps)))
    for top in (noisy, coarse):
        assert top.speed_step == COARSE_SPEED
        assert (top.speed / COARSE_SPEED) % 1 == pytest.approx(0, abs=1e-9)
    assert coarse.speed / REV_PER_MINUTE == pytest.approx(4400, abs=25)


def test_the_speed_of_a_peak_lies_within_the_log() -> None:
    short = curve(np.array([3010.0, 3040.0]) / 60, [100.0, 110.0])
    assert short.lowest <= peak(short).speed <= short.highest
    rising = peak(curve(np.arange(2000.0, 3031.0, 10) / 60, np.arange(2000.0, 3031.0, 10)))
    assert rising.speed * 60 == pytest.approx(3025)
    assert rising.at_end


def test_few_readings_give_the_top_of_the_smoothed_curve() -> None:
    few = curve(np.array([2000.0, 4000.0, 6000.0]) / 60, [100.0, 120.0, 100.0])
    assert peak(few).value == pytest.approx(120, rel=1e-3)
    assert (peak(few).deviation, peak(few).freedom) == (0.0, 0)
    assert peak(curve(RPM / 60, np.zeros(RPM.size))).value == 0.0
