"""Torque, power and speed of a log against P = 2 pi n T: mix-ups of units, and how the record settles them."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from tests.support.dyno_samples import (
    HP,
    LBF_FT,
    RPM,
    csv_of,
    one_pull,
    session_of,
    torque_curve,
)


@pytest.mark.parametrize(
    ("torque_scale", "power_scale", "slip", "units"),
    [
        (1 / LBF_FT, 1.0, "torque in lbf ft was read as N m", "torque: lbf.ft"),
        (LBF_FT, 1.0, "torque in N m was read as lbf ft", ""),
        (1.0, 1000 / HP, "power in mechanical horsepower was read as kW", "power: hp"),
    ],
)
def test_units_that_disagree_are_named_and_exclude_the_pull(
    tmp_path: Path, torque_scale: float, power_scale: float, slip: str, units: str
) -> None:
    torque = torque_curve(RPM)
    watts = torque * RPM * 2 * math.pi / 60
    log = csv_of({"rpm": RPM, "Torque (N m)": torque * torque_scale, "Power (kW)": watts / 1000 * power_scale})
    session = session_of(tmp_path, one_pull(), {"a.csv": log})
    problem = next(problem for problem in session.problems if "most likely" in problem.message)
    assert session.delivered is None
    assert not session.pulls[0].counted
    assert problem.severity == "error"
    assert problem.path.name == "dyno.yaml"
    assert units in problem.message
    if torque_scale != LBF_FT:
        assert slip in problem.message


def test_the_record_settles_a_mix_up_of_units(tmp_path: Path) -> None:
    torque = torque_curve(RPM)
    log = csv_of(
        {"rpm": RPM, "Torque (N m)": torque / LBF_FT, "Power (kW)": torque * RPM * 2 * math.pi / 60e3}, digits=4
    )
    session = session_of(tmp_path, one_pull(more=", units: {torque: lbf.ft}"), {"a.csv": log})
    assert session.delivered is not None
    assert not session.problems
    assert session.delivered.corrected.observed_torque.max() == pytest.approx(130.0, rel=3e-4)


def test_metric_horsepower_read_as_mechanical_is_caught(tmp_path: Path) -> None:
    torque = torque_curve(RPM)
    log = csv_of({"rpm": RPM, "Torque (N m)": torque, "Power (hp)": torque * RPM * 2 * math.pi / 60 / 735.49875})
    session = session_of(tmp_path, one_pull(), {"a.csv": log})
    assert any("metric horsepower was read as mechanical" in problem.message for problem in session.problems)


def test_few_digits_are_not_taken_for_a_mix_up(tmp_path: Path) -> None:
    rpm = np.array([2000, 2500, 3000, 3500, 4000])
    torque = np.array([4.0, 5.0, 5.0, 5.0, 4.0])
    power = np.round(torque * 1.04 * rpm * 2 * math.pi / 60 / 1000)
    log = csv_of({"rpm": rpm, "Torque (N m)": torque, "Power (kW)": power}, digits=0)
    session = session_of(tmp_path, one_pull(), {"a.csv": log})
    assert session.delivered is not None


def test_where_both_units_are_stated_the_record_decides(tmp_path: Path) -> None:
    torque = torque_curve(RPM)
    log = csv_of({"rpm": RPM, "Torque (N m)": torque, "Power (kW)": torque * RPM * 2 * math.pi / 60e3 * 1.03})
    without = session_of(tmp_path / "a", one_pull(), {"a.csv": log})
    stated = session_of(tmp_path / "b", one_pull(more=", units: {torque: N m, power: kW}"), {"a.csv": log})
    assert without.delivered is None
    assert stated.delivered is not None
    assert [problem.severity for problem in stated.problems] == ["warning"]
