"""Pull against pull: gain, best setting, repeatability."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from builder.engine.correction import SAE_J1349
from tests.support.dyno_figures import AIR, figure, sheet_of
from tests.support.dyno_samples import CONDITIONS, RPM, log_of, one_pull, torque_curve


def test_gain_carries_its_interval(tmp_path: Path) -> None:
    record = one_pull() + "  - {name: second, file: dyno/b.csv, changed: jets, since: first}\n"
    noise = [np.random.default_rng(seed).normal(0, 0.3, RPM.size) for seed in (1, 2)]
    logs = {"a.csv": log_of(torque_curve(RPM) + noise[0]), "b.csv": log_of(torque_curve(RPM) + 5 + noise[1])}
    sheet = sheet_of(tmp_path, record, logs)
    gain = figure(sheet, "gain")
    assert sheet.session is not None
    change = sheet.session.changes[0]
    assert change.gain is not None
    assert gain.value == pytest.approx(change.gain.mean)
    assert gain.uncertainty == pytest.approx(change.gain.half_width)
    assert " ± " in gain.display
    assert gain.positions[0].label == "second against first"


def test_best_setting_is_a_figure_only_where_an_optimum_may_be_named(tmp_path: Path) -> None:
    def record(levels: list[int]) -> str:
        pulls = "".join(
            f"  - {{name: p{n}, file: dyno/{n}.csv, setting: {{name: advance, level: {n} deg}}}}\n" for n in levels
        )
        return f"readings: observed\nconditions: {CONDITIONS}\npulls:\n{pulls}"

    def logs(results: dict[int, float]) -> dict[str, str]:
        return {f"{n}.csv": log_of(torque_curve(RPM) + offset) for n, offset in results.items()}

    bent = {28: -30.0, 31: -2.0, 34: -8.0}
    rising = {28: 0.0, 31: 7.0, 34: 14.0}
    best = figure(sheet_of(tmp_path / "a", record(list(bent)), logs(bent)), "best_setting")
    assert 31 < best.value < 34
    assert best.positions[0].label == "advance [°], by peak power"
    sheet = sheet_of(tmp_path / "b", record(list(rising)), logs(rising))
    assert sheet.get("best_setting") is None
    need = next(need for need in sheet.needs if need.slug == "best_setting")
    assert "no optimum is named" in need.needs[0]
    assert not sheet.problems


def test_repeatability_is_that_of_the_session(tmp_path: Path) -> None:
    record = one_pull() + "  - {name: again, file: dyno/b.csv, repeat_of: first}\n"
    logs = {"a.csv": log_of(), "b.csv": log_of(torque_curve(RPM) + 2.0)}
    sheet = sheet_of(tmp_path, record, logs)
    expected = 2.0 * SAE_J1349.factor(AIR) / math.sqrt(2)
    assert figure(sheet, "repeatability").value == pytest.approx(expected, rel=2e-3)
