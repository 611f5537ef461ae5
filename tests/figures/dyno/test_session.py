"""The dyno session of a build: which pulls count, the best one, and the range that means are taken over."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from builder.engine.correction import SAE_J1349
from builder.figures.dyno.session import analyse_session
from builder.record.load import read_build, read_shop
from builder.record.models.shop import Shop
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
    assert session.best is session.pulls[0]
    assert "could not be corrected" in session.pulls[1].exclusion_reason


def test_the_best_pull_has_the_highest_peak_power_of_those_that_count(tmp_path: Path) -> None:
    record = (
        f"readings: observed\nconditions: {CONDITIONS}\npulls:\n  - {{name: a, file: dyno/a.csv}}\n"
        "  - {name: b, file: dyno/b.csv}\n  - {name: c, file: dyno/c.csv, left_out: plug lead came off}\n"
    )
    logs = {f"{name}.csv": log_of(torque_curve(RPM, peak)) for name, peak in (("a", 130), ("b", 133), ("c", 140))}
    session = session_of(tmp_path, record, logs)
    assert session.best is not None
    assert session.best.name == "b"
    assert session.best_first[0] is session.best
    assert [pull.name for pull in session.best_first] == ["b", "a"]
    assert [pull.index for pull in session.pulls] == [0, 1, 2]
    assert session.pulls[2].exclusion_reason == "plug lead came off"


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


def test_without_a_range_the_speeds_that_all_pulls_share_are_taken(tmp_path: Path) -> None:
    record = one_pull() + "  - {name: short, file: dyno/b.csv}\n"
    logs = {"a.csv": log_of(), "b.csv": log_of(rpm=np.arange(2500, 4501, 100))}
    session = session_of(tmp_path, record, logs)
    assert session.range is not None
    assert [60 * end for end in session.range] == pytest.approx([2500, 4500])


def test_every_demonstration_session_is_analysed_without_an_error() -> None:
    shop, _ = read_shop(REPO)
    for folder in sorted((REPO / "builds").iterdir()):
        if not (folder / "dyno.yaml").exists():
            continue
        build, problems = read_build(folder, REPO)
        if build is None:
            pytest.skip(f"{folder.name} is not readable: {problems[0]}")
        session = analyse_session(build, shop)
        if session is None:
            continue
        assert session.best is not None, folder.name
        assert not [problem for problem in session.problems if problem.severity == "error"], folder.name
