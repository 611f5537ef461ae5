"""Pull against pull: repeats and drift, what a change was worth, and swept settings."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from builder.figures.dyno.comparisons import SettingTrials, scatter_text
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
    assert change.text.startswith("+")
    assert change.text.endswith("rpm up; below that within scatter")
    begins = int(change.text.split("from ")[1].split(" rpm")[0].replace(",", ""))
    assert 3800 <= begins <= 4200


def test_without_repeats_the_scatter_is_assumed_and_the_page_says_so(tmp_path: Path) -> None:
    logs = {"a.csv": log_of(torque_curve(RPM) + _noise(1)), "b.csv": log_of(torque_curve(RPM) + 5 + _noise(2))}
    session = session_of(tmp_path, _record(PAIR), logs, METRIC)
    (change,) = session.changes
    assert change.gain is not None
    assert change.gain.half_width > 2.4 * 0.005 * 120 * np.sqrt(2)
    assert change.gain.verdict == "gain"
    assert scatter_text(session.scatter) == (
        "Pull-to-pull scatter 0.5 % of torque (1 SD) is assumed (common practice); no repeat pulls."
    )


def test_a_loss_has_a_minus(tmp_path: Path) -> None:
    logs = {"a.csv": log_of(torque_curve(RPM) + _noise(1)), "b.csv": log_of(torque_curve(RPM) - 6 + _noise(2))}
    (change,) = session_of(tmp_path, _record(PAIR), logs, METRIC).changes
    assert change.text.startswith(("−5.", "−6."))
    assert "over the whole range, 2,500–5,500 rpm" in change.text
    assert change.mean_text.startswith("−")


def test_nothing_gained_is_no_measurable_change(tmp_path: Path) -> None:
    logs = {"a.csv": log_of(torque_curve(RPM) + _noise(1)), "b.csv": log_of(torque_curve(RPM) + _noise(2))}
    (change,) = session_of(tmp_path, _record(PAIR), logs, METRIC).changes
    assert change.text == "no measurable change, 2,500–5,500 rpm"


def test_repeats_show_the_scatter_and_both_sides_take_all_of_theirs(tmp_path: Path) -> None:
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
    assert (session.scatter.source, session.scatter.repeats, session.scatter.freedom) == ("session", 3, 9)
    assert "from 3 repeat pulls of this session and common practice" in scatter_text(session.scatter)
    assert change.gain.verdict == "gain"


def _repeated(offsets: dict[str, float], order: str) -> tuple[str, dict[str, str]]:
    """Return pulls in an order of letters, those with one letter repeats of its first, b changed since a; and logs."""
    pulls, logs, first = "", {}, {}
    for at, (letter, name) in enumerate(zip(order, offsets, strict=True)):
        changed = f", changed: jets, since: {first['a']}" if pulls else ""
        more = f", repeat_of: {first[letter]}" if letter in first else changed
        first.setdefault(letter, name)
        pulls += f"  - {{name: {name}, file: dyno/{name}.csv{more}}}\n"
        logs[f"{name}.csv"] = log_of(torque_curve(RPM) + offsets[name] + _noise(at, 0.1))
    return pulls, logs


def test_drift_cannot_be_told_from_two_pulls_but_what_changed_meanwhile_is(tmp_path: Path) -> None:
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
    assert repeats.drift.verdict == "cannot be told"
    text = repeats.text.replace("\N{NO-BREAK SPACE}", " ")
    assert text.startswith("Repeatability: ")
    assert "averaged (1 SD, 2 pulls). 2 pulls cannot show drift; meanwhile " in text
    assert "oil 80.0 °C to 105.0 °C" in text
    assert "air 20.0 °C to 26.0 °C" in text


def test_drift_of_several_repeats_is_stated_with_the_advice_to_repeat_the_baseline(tmp_path: Path) -> None:
    offsets = {"a1": 0.0, "a2": -1.0, "a3": -2.0, "a4": -3.0, "b": 2.0}
    pulls, logs = _repeated(offsets, "aaaab")
    session = session_of(tmp_path, _record(pulls), logs, METRIC)
    (repeats,) = session.repeats
    assert repeats.drift.verdict == "seen"
    assert repeats.drift.per_pull == pytest.approx(-1.0, abs=0.15)
    assert "Drift: −1.0" in repeats.text
    (change,) = session.changes
    assert change.drift == "baseline not repeated"
    assert change.drift_text.endswith("pull it again to be sure")


def test_a_baseline_pulled_again_after_the_change_takes_the_drift_out(tmp_path: Path) -> None:
    pulls, logs = _repeated({"a1": 0.0, "b": 2.0, "a2": -4.0}, "aba")
    session = session_of(tmp_path, _record(pulls), logs, METRIC)
    (change,) = session.changes
    assert (change.before, change.after) == (("a1", "a2"), ("b",))
    assert change.gain is not None
    assert change.gain.mean == pytest.approx(4.0, abs=0.2)
    assert change.drift == "removed"
    assert "a steady drift is removed" in change.drift_text


def test_a_steady_session_says_nothing_of_drift(tmp_path: Path) -> None:
    pulls, logs = _repeated({"a1": 0.0, "b": 2.0}, "ab")
    (change,) = session_of(tmp_path, _record(pulls), logs, METRIC).changes
    assert (change.drift, change.drift_text) == ("none", "")


def test_a_short_pull_does_not_shorten_the_range_of_the_others(tmp_path: Path) -> None:
    pulls, logs = _repeated({"a1": 0.0, "a2": 0.5, "b": 5.0}, "aab")
    logs["a2.csv"] = log_of(rpm=np.arange(2000, 3001, 100))
    session = session_of(tmp_path, _record(pulls, ""), logs, METRIC)
    assert session.range == pytest.approx((2000 / 60, 6000 / 60))
    (change,) = session.changes
    assert change.gain is not None
    assert (change.before, change.gain.low, change.gain.high) == (("a1",), *session.range)
    assert session.repeats == ()


def test_a_log_that_shows_one_number_still_has_an_interval(tmp_path: Path) -> None:
    flat = Shop.model_validate({"units": "metric", "repeatability": {"value": "0.02 %", "from": 12}})
    log = log_of(np.full(RPM.size, 130.0), RPM).replace("130.000", "130")
    logs = {"a.csv": log, "b.csv": log}
    session = session_of(tmp_path, _record(PAIR), logs, flat)
    (change,) = session.changes
    assert session.pulls[0].resolution.step == pytest.approx(1.0, rel=0.05)
    assert change.gain is not None
    assert change.gain.half_width > 1.9 / np.sqrt(6)
    assert change.mean_text.replace("\N{NO-BREAK SPACE}", " ").startswith("0.0 N m averaged over 2,500–5,500 rpm, ±")
    assert "±0.0" not in change.mean_text


def test_a_pull_that_was_left_out_is_compared_with_nothing(tmp_path: Path) -> None:
    pulls = (
        "  - {name: a, file: dyno/a.csv, left_out: lead off}\n"
        "  - {name: b, file: dyno/b.csv, changed: jets, since: a}\n"
    )
    logs = {"a.csv": log_of(), "b.csv": log_of()}
    (change,) = session_of(tmp_path, _record(pulls), logs).changes
    assert change.gain is None
    assert change.text == "cannot be compared: a: lead off"


def test_pulls_that_share_no_speeds_are_not_compared(tmp_path: Path) -> None:
    logs = {"a.csv": log_of(rpm=np.arange(2000, 3001, 100)), "b.csv": log_of(rpm=np.arange(4000, 5001, 100))}
    (change,) = session_of(tmp_path, _record(PAIR, ""), logs).changes
    assert "no range of speeds in common" in change.text


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


def test_the_best_setting_is_named_where_the_curve_bends_down(tmp_path: Path) -> None:
    sweep = _setting_trials(tmp_path, {"28": -16.0, "31": -1.0, "34": -4.0, "37": -25.0})
    mean = next(fit for fit in sweep.fits if fit.quantity == "mean torque")
    # Through these four points least squares puts the parabola's top at 32.1 deg (numpy.polyfit says the same).
    a, b, _ = np.polyfit([28, 31, 34, 37], [-16.0, -1.0, -4.0, -25.0], 2)
    assert mean.best is not None
    assert mean.best.optimum == pytest.approx(-b / (2 * a), abs=0.02)
    assert mean.best.interval is not None
    assert mean.best.interval[0] < mean.best.optimum < mean.best.interval[1]
    text = mean.text.replace("\N{NO-BREAK SPACE}", " ")
    assert text.startswith("mean torque: optimum about 32")
    assert "° (quadratic fit), " in text
    assert "(95 % confidence)" in text
    assert sweep.caution == ""
    assert sweep.unit == "°"


def test_the_total_timing_of_a_pull_is_the_level_of_a_setting_that_is_the_spark_advance(tmp_path: Path) -> None:
    lines = "".join(
        f"  - {{name: p{level}, file: dyno/{level}.csv, total_timing: {level} deg, setting: {{name: total timing}}}}\n"
        for level in (28, 31, 34, 37)
    )
    offsets = {28: -16.0, 31: -1.0, 34: -4.0, 37: -25.0}
    logs = {f"{level}.csv": log_of(torque_curve(RPM) + offset) for level, offset in offsets.items()}
    (sweep,) = session_of(tmp_path, _record(lines), logs, METRIC).settings
    assert sweep.fits[0].levels == (28, 31, 34, 37)
    assert sweep.unit == "°"


def test_a_setting_still_rising_carries_the_caution_on_detonation(tmp_path: Path) -> None:
    sweep = _setting_trials(tmp_path, {"24": 0.0, "28": 8.0, "32": 16.5})
    assert all(fit.best is not None and fit.best.optimum is None for fit in sweep.fits)
    assert any("still improving at the highest setting tested, 32°" in fit.text for fit in sweep.fits)
    assert "detonation" in sweep.caution
    assert "manufacturer's limit" in sweep.caution


def test_an_optimum_outside_the_tested_range_carries_the_caution_on_detonation(tmp_path: Path) -> None:
    sweep = _setting_trials(tmp_path, {"30": 0.0, "32": 21.0, "34": 34.0, "36": 39.0})
    assert any("outside the tested range" in fit.text for fit in sweep.fits)
    assert "detonation" in sweep.caution


def test_a_sweep_within_the_scatter_names_no_optimum(tmp_path: Path) -> None:
    sweep = _setting_trials(tmp_path, {"28": -0.4, "31": 0.3, "34": 0.1, "37": -0.3})
    assert {fit.best.verdict for fit in sweep.fits if fit.best} == {"no measurable change"}
    assert sweep.fits[0].text == "peak power: no measurable change from 28 to 37°, so no optimum is named"
    assert sweep.caution == ""


def test_two_settings_make_no_curve(tmp_path: Path) -> None:
    sweep = _setting_trials(tmp_path, {"30": 0.0, "33": 3.0})
    assert all(fit.best is None for fit in sweep.fits)
    assert "an optimum needs three" in sweep.fits[0].text


@pytest.mark.parametrize(
    ("changed", "changes"),
    [
        ("jets", 1),
        ("[jets]", 1),
        ("[jets, total timing 32 to 34 deg]", 2),
        ("'jets, timing'", None),
        ("mixer screw in a turn and a half", None),
    ],
)
def test_several_things_changed_at_once_are_counted(tmp_path: Path, changed: str, changes: int | None) -> None:
    record = _record(PAIR.replace("changed: jets", f"changed: {changed}"))
    (change,) = session_of(tmp_path, record, {"a.csv": log_of(), "b.csv": log_of()}, METRIC).changes
    assert change.changes == changes
    assert change.changed == changed.strip("[]'")
