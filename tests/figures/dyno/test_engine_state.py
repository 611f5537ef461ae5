"""States of the engine: their peaks with intervals that hold what they promise."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from builder.engine.curves import curve, map_curve
from builder.engine.peaks import peak
from builder.engine.pull_scatter import Scatter, Variance
from builder.figures.dyno.engine_state import EngineState
from builder.figures.dyno.pull import CorrectedCurves, PullPeaks, PullResult
from builder.figures.dyno.pull_scatter import prior_scatter
from builder.record.models.shop import Shop
from tests.support.dyno_samples import RPM, log_of, one_pull, session_of, torque_curve

TRIALS = 200
PRIOR = prior_scatter(Shop())


def _pull(template: PullResult, torque: np.ndarray) -> PullResult:
    smoothed = curve(RPM / 60, torque)
    power = map_curve(smoothed, lambda speed, value: 2 * np.pi * speed * value)
    curves = CorrectedCurves(
        torque_curve=smoothed,
        power_curve=power,
        speed=smoothed.speed,
        torque=smoothed.value,
        power=power.value,
        observed_torque=smoothed.value,
    )
    peaks = PullPeaks(torque=peak(smoothed), power=peak(power), torque_band=())
    return replace(template, corrected=curves, peaks=peaks)


@pytest.mark.parametrize("pulls", [1, 3])
def test_intervals_of_peaks_hold_the_true_peak_95_times_in_100(tmp_path: Path, pulls: int) -> None:
    """Pulls scattered by a deviation drawn from the prior (inverse chi-square), with 0.3 % noise on the readings."""
    template = session_of(tmp_path, one_pull(), {"a.csv": log_of()}).pulls[0]
    rng = np.random.default_rng(20)
    true = torque_curve(RPM)
    torque_peak = float(torque_curve(np.linspace(RPM[0], RPM[-1], 20_001)).max())
    speed = np.linspace(RPM[0], RPM[-1], 20_001)
    power_peak = float((2 * np.pi * speed / 60 * torque_curve(speed)).max())
    within_torque, within_power = 0, 0
    for _ in range(TRIALS):
        deviation = PRIOR.relative * np.sqrt(PRIOR.freedom / rng.chisquare(PRIOR.freedom))
        group = tuple(
            _pull(template, true * (1 + deviation * rng.normal()) * (1 + 0.003 * rng.normal(size=RPM.size)))
            for _ in range(pulls)
        )
        state = EngineState(pulls=group, scatter=PRIOR)
        within_torque += abs(state.peak_torque.value - torque_peak) <= state.peak_torque.half_width
        within_power += abs(state.peak_power.value - power_peak) <= state.peak_power.half_width
    # 200 trials show 95 % to 1.5 % (one standard deviation).
    assert 0.91 <= within_torque / TRIALS <= 0.99
    assert 0.91 <= within_power / TRIALS <= 0.99


def test_a_longer_stated_experience_makes_the_interval_narrower(tmp_path: Path) -> None:
    pull = session_of(tmp_path, one_pull(), {"a.csv": log_of()}).pulls[0]
    known = replace(PRIOR, scatter=Scatter(variance=Variance(value=PRIOR.relative**2, freedom=60.0)), source="shop")
    assert (
        EngineState(pulls=(pull,), scatter=known).peak_power.half_width
        < EngineState(pulls=(pull,), scatter=PRIOR).peak_power.half_width
    )


def test_the_interval_is_never_zero(tmp_path: Path) -> None:
    session = session_of(tmp_path, one_pull(), {"a.csv": log_of()})
    assert session.delivered is not None
    assert session.delivered.peak_torque.half_width > 0.005 * session.delivered.peak_torque.value
    assert session.delivered.relative_half_width > 0.005


def test_a_state_has_the_level_of_what_was_varied(tmp_path: Path) -> None:
    record = one_pull() + "".join(
        f"  - {{name: t{level}, file: dyno/a.csv, setting: {{name: total timing, level: {level} deg}}}}\n"
        for level in (28, 30)
    )
    session = session_of(tmp_path, f"delivered: t28\n{record}", {"a.csv": log_of()})
    assert session.delivered is not None
    assert [(item.name, item.level.text) for item in session.delivered.settings] == [("total timing", "28 deg")]
    assert all(not state.settings for state in session.states if state.name == "first")
