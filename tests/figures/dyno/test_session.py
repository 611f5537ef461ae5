"""The dyno session of a build: which pulls count, the delivered state, and the range that means are taken over."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from builder.engine.correction import SAE_J1349
from builder.figures.dyno.session import analyse_session
from builder.record.load import read_build, read_shop
from builder.record.models.shop import Shop
from tests.support.demo_builds import folders
from tests.support.dyno_samples import (
    AIR,
    CONDITIONS,
    RPM,
    log_of,
    one_pull,
    session_of,
    torque_curve,
    write_build,
)

REPO = Path(__file__).parents[3]


def test_no_session_without_a_log(tmp_path: Path) -> None:
    build, _ = write_build(tmp_path, "pulls:\n  - {name: first}\n", {})
    assert analyse_session(build, Shop()) is None


def test_a_pull_that_cannot_be_corrected_does_not_count_where_others_can(tmp_path: Path) -> None:
    record = (
        f"readings: observed\nconditions: {CONDITIONS}\npulls:\n  - {{name: a, file: dyno/a.csv}}\n"
        "  - {name: b, file: dyno/b.csv, readings: un-r85-diesel}\n"
    )
    session = session_of(tmp_path, record, {"a.csv": log_of(), "b.csv": log_of(torque_curve(RPM, 150))})
    assert [pull.counted for pull in session.pulls] == [True, False]
    assert session.delivered is not None
    assert session.delivered.pulls == (session.pulls[0],)
    assert "could not be corrected" in session.pulls[1].exclusion_reason


THREE = (
    f"readings: observed\nconditions: {CONDITIONS}\npulls:\n  - {{name: a, file: dyno/a.csv}}\n"
    "  - {name: b, file: dyno/b.csv, changed: a spacer, since: a}\n"
    "  - {name: c, file: dyno/c.csv, changed: spacer off, since: a}\n"
    "  - {name: d, file: dyno/d.csv, left_out: plug lead came off}\n"
)
PEAKS = {"a": 130.0, "b": 134.0, "c": 131.0, "d": 140.0}
THREE_LOGS = {f"{name}.csv": log_of(torque_curve(RPM, peak)) for name, peak in PEAKS.items()}


def test_the_record_names_the_delivered_state(tmp_path: Path) -> None:
    session = session_of(tmp_path, f"delivered: a\n{THREE}", THREE_LOGS)
    assert session.delivered is not None
    assert (session.delivered.name, session.delivered.assumed) == ("a", False)
    assert [state.name for state in session.states] == ["a", "b", "c"]
    assert session.best is not None
    assert session.best.name == "b"
    assert session.pulls[3].exclusion_reason == "plug lead came off"


def test_without_a_name_the_last_counted_pull_is_assumed_to_be_the_delivered_state(tmp_path: Path) -> None:
    session = session_of(tmp_path, THREE, THREE_LOGS)
    assert session.delivered is not None
    assert (session.delivered.name, session.delivered.assumed) == ("c", True)
    assert [state.name for state in session.states] == ["c", "a", "b"]
    assert session.states[0] is session.delivered


def test_there_is_no_better_state_where_the_delivered_one_is_the_best(tmp_path: Path) -> None:
    assert session_of(tmp_path, f"delivered: b\n{THREE}", THREE_LOGS).best is None


def test_a_state_is_not_called_better_by_less_than_the_uncertainty(tmp_path: Path) -> None:
    logs = {**THREE_LOGS, "b.csv": log_of(torque_curve(RPM, 131.0))}
    session = session_of(tmp_path, f"delivered: a\n{THREE}", logs)
    peaks = {state.name: state.peak_power for state in session.states}
    difference = peaks["b"].value - peaks["a"].value
    assert 0 < difference < np.hypot(peaks["a"].half_width, peaks["b"].half_width)
    assert session.best is None


def test_repeats_are_one_state_with_mean_curves_and_any_of_them_names_it(tmp_path: Path) -> None:
    record = (
        f"delivered: b\nreadings: observed\nconditions: {CONDITIONS}\npulls:\n  - {{name: a, file: dyno/a.csv}}\n"
        "  - {name: b, file: dyno/b.csv, repeat_of: a}\n  - {name: c, file: dyno/c.csv, repeat_of: b}\n"
    )
    logs = {f"{name}.csv": log_of(torque_curve(RPM, peak)) for name, peak in PEAKS.items()}
    session = session_of(tmp_path, record, logs)
    delivered = session.delivered
    assert delivered is not None
    assert [pull.name for pull in delivered.pulls] == ["a", "b", "c"]
    assert (delivered.name, delivered.label, delivered.assumed) == ("a", "a, mean of 3", False)
    assert session.states == (delivered,)
    peaks = [pull.peaks.torque.value for pull in session.pulls]
    assert delivered.peak_torque.value == pytest.approx(float(np.mean(peaks)), rel=1e-3)
    torques = [pull.corrected.torque for pull in session.pulls]
    assert delivered.corrected.torque == pytest.approx(np.mean(torques, axis=0))
    assert delivered.readings.speed.size == 3 * session.pulls[0].readings.speed.size
    assert delivered.mean_of(lambda pull: pull.mean_torque) == pytest.approx(
        float(np.mean([pull.mean_torque for pull in session.pulls]))
    )


def test_a_short_repeat_gives_nothing_to_the_mean_curves(tmp_path: Path) -> None:
    record = one_pull() + "  - {name: short, file: dyno/b.csv, repeat_of: first}\n"
    session = session_of(tmp_path, record, {"a.csv": log_of(), "b.csv": log_of(rpm=np.arange(2000, 4001, 100))})
    assert session.delivered is not None
    assert [pull.name for pull in session.delivered.pulls] == ["first", "short"]
    assert session.delivered.corrected is session.pulls[0].corrected


def test_more_repeats_make_the_peaks_surer(tmp_path: Path) -> None:
    single = session_of(tmp_path / "one", one_pull(), {"a.csv": log_of()}).delivered
    record = one_pull() + "".join(f"  - {{name: {n}, file: dyno/a.csv, repeat_of: first}}\n" for n in "bcd")
    four = session_of(tmp_path / "four", record, {"a.csv": log_of()}).delivered
    assert single is not None
    assert four is not None
    # The mean of four is twice as sure, and three repeats without a difference show that the scatter is small.
    assert four.peak_power.half_width < single.peak_power.half_width / 2
    assert single.peak_torque.half_width > 0


def test_a_delivered_pull_that_cannot_be_corrected_is_reported_with_its_line(tmp_path: Path) -> None:
    record = (
        f"readings: observed\nconditions: {CONDITIONS}\npulls:\n  - {{name: a, file: dyno/a.csv}}\n"
        "  - {name: b, file: dyno/b.csv, readings: un-r85-diesel}\ndelivered: b\n"
    )
    session = session_of(tmp_path, record, {"a.csv": log_of(), "b.csv": log_of()})
    problem = next(problem for problem in session.problems if "delivered" in problem.message)
    assert problem.severity == "warning"
    assert problem.line == record.count("\n")
    assert "'b' does not count (could not be corrected" in problem.message
    assert session.delivered is not None
    assert (session.delivered.name, session.delivered.assumed) == ("a", True)


def test_means_are_over_the_stated_range_and_only_of_pulls_that_cover_it(tmp_path: Path) -> None:
    record = "range: 2500..5000 rpm\n" + one_pull() + "  - {name: short, file: dyno/b.csv}\n"
    logs = {"a.csv": log_of(), "b.csv": log_of(rpm=np.arange(2000, 4501, 100))}
    session = session_of(tmp_path, record, logs)
    first, short = session.pulls
    n = np.linspace(2500, 5000, 4001)
    exact = float(np.trapezoid(torque_curve(n), n)) / 2500 * SAE_J1349.factor(AIR)
    assert first.mean_torque == pytest.approx(exact, rel=1e-3)
    assert session.range_from == "dyno.yaml"
    assert short.mean_torque is None
    assert any("not run over the whole" in line for line in short.notes)


def test_without_a_range_the_shared_speeds_are_taken_and_a_short_pull_shortens_them_for_none(
    tmp_path: Path,
) -> None:
    record = one_pull() + "  - {name: short, file: dyno/b.csv}\n"
    logs = {"a.csv": log_of(), "b.csv": log_of(rpm=np.arange(2500, 4501, 100))}
    session = session_of(tmp_path, record, logs)
    assert session.range is not None
    assert [60 * end for end in session.range] == pytest.approx([2000, 6000])


def test_every_demonstration_session_is_analysed_without_an_error() -> None:
    shop, _ = read_shop(REPO)
    for folder in folders():
        if not (folder / "dyno.yaml").exists():
            continue
        build, problems = read_build(folder, REPO)
        if build is None:
            pytest.skip(f"{folder.name} is not readable: {problems[0]}")
        session = analyse_session(build, shop)
        if session is None:
            continue
        assert session.delivered is not None, folder.name
        assert not [problem for problem in session.problems if problem.severity == "error"], folder.name
