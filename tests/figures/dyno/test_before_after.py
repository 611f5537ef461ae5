"""The engine before the work and as delivered: differences with intervals that hold what they promise."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from builder.figures.dyno.before_after import BeforeAfter, compare_before_after
from builder.figures.dyno.engine_state import EngineState
from builder.figures.dyno.session import DynoSession
from tests.figures.dyno.test_engine_state import PRIOR, _pull
from tests.support.dyno_samples import RPM, log_of, one_pull, session_of, torque_curve

RECORD = one_pull() + "  - {name: second, file: dyno/b.csv, changed: everything, since: first}\n"


def _session(tmp_path: Path, record: str) -> DynoSession:
    more = torque_curve(RPM, peak=150.0)
    return session_of(tmp_path, record, {"a.csv": log_of(), "b.csv": log_of(more)})


def test_the_named_pull_is_compared_with_the_delivered_one(tmp_path: Path) -> None:
    session = _session(tmp_path, f"before_work: first\ndelivered: second\n{RECORD}")
    results = session.before_after
    assert isinstance(results, BeforeAfter)
    assert (results.before.name, results.delivered) == ("first", session.delivered)
    ratio = 150.0 / 130.0
    for difference in (results.power, results.torque, results.mean_torque):
        assert difference is not None
        assert difference.delivered / difference.before == pytest.approx(ratio, rel=1e-3)
        assert difference.value == pytest.approx(difference.delivered - difference.before)
        assert 0.005 * difference.before < difference.half_width < 0.05 * difference.before


def test_without_a_name_nothing_is_compared(tmp_path: Path) -> None:
    assert _session(tmp_path, RECORD).before_after is None


def test_intervals_hold_the_true_difference_95_times_in_100(tmp_path: Path) -> None:
    """Both pulls scattered by a deviation drawn from the prior (inverse chi-square), 0.3 % noise on the readings."""
    template = session_of(tmp_path, one_pull(), {"a.csv": log_of()}).pulls[0]
    rng = np.random.default_rng(21)
    curves = torque_curve(RPM), torque_curve(RPM, peak=150.0)
    trials, within_peak, within_mean = 200, 0, 0
    mean_difference = float(np.trapezoid(curves[1] - curves[0], RPM) / (RPM[-1] - RPM[0]))
    for _ in range(trials):
        deviation = PRIOR.relative * np.sqrt(PRIOR.freedom / rng.chisquare(PRIOR.freedom))
        before, delivered = (
            EngineState(
                pulls=(
                    _pull(template, true * (1 + deviation * rng.normal()) * (1 + 0.003 * rng.normal(size=RPM.size))),
                ),
                scatter=PRIOR,
            )
            for true in curves
        )
        results = compare_before_after(before, delivered, RPM[0] / 60, RPM[-1] / 60)
        within_peak += abs(results.torque.value - 20.0) <= results.torque.half_width
        assert results.mean_torque is not None
        within_mean += abs(results.mean_torque.value - mean_difference) <= results.mean_torque.half_width
    # 200 trials show 95 % to 1.5 % (one standard deviation).
    assert 0.91 <= within_peak / trials <= 0.99
    assert 0.91 <= within_mean / trials <= 1.0
