"""Pull against pull: repeats and drift, what a change was worth, and settings tried at several levels."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from builder.figures.dyno.comparisons import SettingTrials
from builder.record.models.shop import Shop
from tests.support.dyno_samples import (
    CONDITIONS,
    RPM,
    log_of,
    session_of,
    torque_curve,
)

METRIC = Shop(units="metric")


def _noise(seed: int, size: float = 0.3) -> np.ndarray:
    return np.random.default_rng(seed).normal(0.0, size, RPM.size)


def _record(pulls: str, more: str = "range: 2500..5500 rpm\n") -> str:
    return f"readings: observed\nconditions: {CONDITIONS}\n{more}pulls:\n{pulls}"


PAIR = "  - {name: a, file: dyno/a.csv}\n  - {name: b, file: dyno/b.csv, changed: jets, since: a}\n"


def test_a_gain_is_named_from_the_speed_it_begins_at(tmp_path: Path) -> None:
    better = torque_curve(RPM) + np.where(RPM >= 4000, 8.0, 0.0)
    pulls = "".join(f"  - {{name: a{k}, file: dyno/a{k}.csv, repeat_of: a}}\n" for k in (2, 3, 4))
    logs = {f"a{k}.csv": log_of(torque_curve(RPM) + _noise(k)) for k in (2, 3, 4)}
    logs |= {"a.csv": log_of(torque_curve(RPM) + _noise(1)), "b.csv": log_of(better + _noise(9))}
    session = session_of(tmp_path, _record(PAIR.replace("  - {name: b", pulls + "  - {name: b")), logs, METRIC)
    (change,) = session.changes
    factor_at = session.pulls[0].applied.at
    assert factor_at is not None
    factor = factor_at(50.0).factor
    assert change.gain is not None
    assert change.gain.mean == pytest.approx(8.0 * factor * 1550 / 3000, abs=0.4)
    assert change.verdict.startswith("worth ")
    assert change.verdict.endswith("rpm up; below that no more than the noise")
    begins = int(change.verdict.split("from ")[1].split(" rpm")[0].replace(",", ""))
    assert 3800 <= begins <= 4200
    assert change.power is not None
    assert change.power.mean > 0


def test_without_repeats_the_readings_give_the_noise(tmp_path: Path) -> None:
    logs = {"a.csv": log_of(torque_curve(RPM) + _noise(1)), "b.csv": log_of(torque_curve(RPM) + 5 + _noise(2))}
    (change,) = session_of(tmp_path, _record(PAIR), logs, METRIC).changes
    assert change.gain is not None
    assert change.gain.basis == "readings"
    assert "what a repeat would have shown is not known" in change.noise_text
    assert change.gain.beyond_noise


def test_a_loss_costs_torque(tmp_path: Path) -> None:
    logs = {"a.csv": log_of(torque_curve(RPM) + _noise(1)), "b.csv": log_of(torque_curve(RPM) - 6 + _noise(2))}
    (change,) = session_of(tmp_path, _record(PAIR), logs, METRIC).changes
    assert change.verdict.startswith("costs 5.") or change.verdict.startswith("costs 6.")
    assert "over the whole range, 2,500 to 5,500 rpm" in change.verdict
    assert change.mean_text.startswith("−")


def test_nothing_gained_is_no_more_than_the_noise(tmp_path: Path) -> None:
    logs = {"a.csv": log_of(torque_curve(RPM) + _noise(1)), "b.csv": log_of(torque_curve(RPM) + _noise(2))}
    (change,) = session_of(tmp_path, _record(PAIR), logs, METRIC).changes
    assert change.verdict == "no more than the noise anywhere from 2,500 to 5,500 rpm"


def test_repeats_give_the_noise_and_both_sides_take_all_of_theirs(tmp_path: Path) -> None:
    pulls = (
        "  - {name: a, file: dyno/a.csv}\n  - {name: a2, file: dyno/a2.csv, repeat_of: a}\n"
        "  - {name: a3, file: dyno/a3.csv, repeat_of: a2}\n"
        "  - {name: b, file: dyno/b.csv, changed: jets, since: a2}\n  - {name: b2, file: dyno/b2.csv, repeat_of: b}\n"
    )
    logs = {
        f"{name}.csv": log_of(torque_curve(RPM) + offset + _noise(seed))
        for seed, (name, offset) in enumerate({"a": 0.0, "a2": 0.6, "a3": -0.5, "b": 5.0, "b2": 5.5}.items())
    }
    session = session_of(tmp_path, _record(pulls), logs, METRIC)
    assert [each.names for each in session.repeats] == [("a", "a2", "a3"), ("b", "b2")]
    means = np.array([pull.mean_torque for pull in session.pulls[:3]], dtype=np.float64)
    assert session.repeats[0].repeatability.of_means == pytest.approx(float(np.std(means, ddof=1)), rel=1e-9)
    (change,) = session.changes
    assert (change.before, change.after) == (("a", "a2", "a3"), ("b", "b2"))
    assert change.gain is not None
    assert change.gain.basis == "repeats"
    assert change.gain.freedom == 3
    assert "repeat pulls, 3 degrees of freedom" in change.noise_text
    assert change.gain.beyond_noise


def test_drift_between_repeats_is_reported_with_what_changed_meanwhile(tmp_path: Path) -> None:
    pulls = (
        "  - {name: a, file: dyno/a.csv}\n"
        "  - {name: a2, file: dyno/b.csv, repeat_of: a, conditions: {temperature: 26 degC}}\n"
    )
    oil = {"Oil temperature (°C)": np.full(RPM.size, 80.0)}
    hot = {"Oil temperature (°C)": np.full(RPM.size, 105.0)}
    logs = {
        "a.csv": log_of(torque_curve(RPM) + _noise(1), **oil),
        "b.csv": log_of(torque_curve(RPM) - 4 + _noise(2), **hot),
    }
    (repeats,) = session_of(tmp_path, _record(pulls), logs, METRIC).repeats
    assert repeats.drift.beyond_noise
    assert "They drift" in repeats.text
    assert "the oil went from 80.0 °C to 105.0 °C" in repeats.text.replace("\N{NO-BREAK SPACE}", " ")
    assert "the air went from 20.0 °C to 26.0 °C" in repeats.text.replace("\N{NO-BREAK SPACE}", " ")


def test_a_pull_that_was_left_out_is_compared_with_nothing(tmp_path: Path) -> None:
    pulls = (
        "  - {name: a, file: dyno/a.csv, left_out: lead off}\n"
        "  - {name: b, file: dyno/b.csv, changed: jets, since: a}\n"
    )
    logs = {"a.csv": log_of(), "b.csv": log_of()}
    (change,) = session_of(tmp_path, _record(pulls), logs).changes
    assert change.gain is None
    assert change.verdict == "cannot be compared: a: lead off"


def test_pulls_that_share_no_speeds_are_not_compared(tmp_path: Path) -> None:
    logs = {"a.csv": log_of(rpm=np.arange(2000, 3001, 100)), "b.csv": log_of(rpm=np.arange(4000, 5001, 100))}
    (change,) = session_of(tmp_path, _record(PAIR, ""), logs).changes
    assert "no range of speeds in common" in change.verdict


def _sweep_record(levels: dict[str, float], unit: str = "deg") -> str:
    return _record(
        "".join(
            f"  - {{name: p{level}, file: dyno/{level}.csv, setting: {{name: spark advance, level: {level} {unit}}}}}\n"
            for level in levels
        )
    )


def _setting_trials(tmp_path: Path, levels: dict[str, float]) -> SettingTrials:
    logs = {f"{level}.csv": log_of(torque_curve(RPM) + offset) for level, offset in levels.items()}
    (sweep,) = session_of(tmp_path, _sweep_record(levels), logs, METRIC).settings
    return sweep


def test_the_best_level_is_named_where_the_curve_bends_down(tmp_path: Path) -> None:
    sweep = _setting_trials(tmp_path, {"28": -4.0, "31": -0.25, "34": -1.0, "37": -6.25})
    mean = next(fit for fit in sweep.fits if fit.quantity == "mean torque")
    # Through these four points least squares puts the parabola's top at 32.1 deg (numpy.polyfit says the same).
    a, b, _ = np.polyfit([28, 31, 34, 37], [-4.0, -0.25, -1.0, -6.25], 2)
    assert mean.best is not None
    assert mean.best.optimum == pytest.approx(-b / (2 * a), abs=0.02)
    assert "best at about 32" in mean.verdict
    assert sweep.caution == ""
    assert sweep.unit == "°"


def test_a_setting_still_rising_carries_the_caution_on_detonation(tmp_path: Path) -> None:
    sweep = _setting_trials(tmp_path, {"24": 0.0, "28": 3.0, "32": 6.5})
    assert all(fit.best is not None and fit.best.optimum is None for fit in sweep.fits)
    assert any("still rising at the last level tried, 32°" in fit.verdict for fit in sweep.fits)
    assert "detonation" in sweep.caution
    assert "maker's limit" in sweep.caution


def test_an_optimum_beyond_the_last_level_carries_the_caution_on_detonation(tmp_path: Path) -> None:
    sweep = _setting_trials(tmp_path, {"30": 0.0, "33": 3.0, "35": 3.6})
    assert any("beyond the last level tried" in fit.verdict for fit in sweep.fits)
    assert "detonation" in sweep.caution


def test_two_levels_make_no_curve(tmp_path: Path) -> None:
    sweep = _setting_trials(tmp_path, {"30": 0.0, "33": 3.0})
    assert all(fit.best is None for fit in sweep.fits)
    assert "a curve needs three" in sweep.fits[0].verdict
