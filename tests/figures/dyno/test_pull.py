"""One pull: torque from power, acceleration added back, derived channels, and logs of every kind."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from builder.engine.correction import SAE_J1349
from builder.figures.evaluate import compute
from builder.record.models.shop import Shop
from tests.support.dyno_samples import (
    AIR,
    RPM,
    csv_of,
    log_of,
    one_pull,
    session_of,
    torque_curve,
    write_build,
)


def test_torque_is_worked_out_where_only_power_was_logged(tmp_path: Path) -> None:
    log = csv_of({"rpm": RPM, "Power (kW)": torque_curve(RPM) * RPM * 2 * math.pi / 60e3}, digits=5)
    session = session_of(tmp_path, one_pull(), {"a.csv": log})
    assert session.delivered is not None
    assert session.delivered.corrected.observed_torque.max() == pytest.approx(130.0, rel=2e-4)
    assert any("torque calculated" in line for line in session.delivered.last.notes)


def test_torque_spent_on_acceleration_is_added_back_to_a_sweep(tmp_path: Path) -> None:
    seconds = np.arange(0, 12, 0.05)
    rpm = 2000 + 4000 * seconds / 12
    spent = 0.4 * 2 * np.pi * (4000 / 60 / 12)
    log = "Time (s),rpm,Torque (N m)\n" + "".join(
        f"{t:.2f},{n:.2f},{q - spent:.3f}\n" for t, n, q in zip(seconds, rpm, torque_curve(rpm), strict=True)
    )
    session = session_of(tmp_path, "inertia: 0.4 kg.m2\n" + one_pull(), {"a.csv": log})
    pull = session.pulls[0]
    assert pull.kind == "sweep"
    assert pull.corrected.observed_torque.max() == pytest.approx(130.0, rel=1e-3)
    assert any("added back" in line for line in pull.notes)
    without = session_of(tmp_path / "x", one_pull(), {"a.csv": log}).pulls[0]
    assert without.corrected.observed_torque.max() == pytest.approx(130.0 - spent, rel=1e-3)


def test_torque_added_back_is_in_the_standard_of_the_log(tmp_path: Path) -> None:
    seconds = np.arange(0, 12, 0.05)
    rpm = 2000 + 4000 * seconds / 12
    log = "Time (s),rpm,Torque (N m)\n" + "".join(
        f"{t:.2f},{n:.2f},{100:.3f}\n" for t, n in zip(seconds, rpm, strict=True)
    )
    record = "inertia: 0.4 kg.m2\n" + one_pull(readings="sae-j1349")
    pull = session_of(tmp_path, record, {"a.csv": log}).pulls[0]
    assert pull.conditions.air is not None
    spent = 0.4 * 2 * np.pi * (4000 / 60 / 12)
    expected = 100 + spent * SAE_J1349.factor(pull.conditions.air)
    assert pull.corrected.torque == pytest.approx(np.full(pull.corrected.torque.shape, expected), rel=1e-4)
    unknown_air = session_of(tmp_path / "x", "inertia: 0.4 kg.m2\n" + one_pull("", "sae-j1349"), {"a.csv": log}).pulls[
        0
    ]
    assert unknown_air.corrected.torque == pytest.approx(np.full(unknown_air.corrected.torque.shape, 100.0))
    assert any("no inertia correction" in line for line in unknown_air.notes)


def test_the_run_up_and_the_coast_down_are_left_out(tmp_path: Path) -> None:
    up, pull, down = np.linspace(1000, 2000, 40), np.linspace(2000, 6000, 200), np.linspace(6000, 1500, 60)
    rpm = np.concatenate([up, pull, down])
    torque = np.concatenate([np.full(40, 8.0), torque_curve(pull), np.full(60, -15.0)])
    log = "Time (s),rpm,Torque (N m)\n" + "".join(
        f"{k * 0.05:.2f},{n:.1f},{q:.2f}\n" for k, (n, q) in enumerate(zip(rpm, torque, strict=True))
    )
    result = session_of(tmp_path, one_pull(), {"a.csv": log}).pulls[0]
    assert result.corrected.speed.min() * 60 == pytest.approx(2000, abs=80)
    assert result.corrected.observed_torque.max() == pytest.approx(130, rel=5e-3)
    assert result.corrected.observed_torque.min() > 80
    assert any("excluded: " in line and "coast-down" in line for line in result.notes)


def test_derived_channels_along_the_curve(tmp_path: Path) -> None:
    extra = {"Fuel flow (kg/h)": np.full(RPM.size, 10.0), "AFR": np.full(RPM.size, 12.5)}
    pull = session_of(tmp_path, one_pull(), {"a.csv": log_of(**extra)}).pulls[0]
    displacement = 4 * math.pi / 4 * 0.0815**2 * 0.0776
    assert pull.derived["bmep"] == pytest.approx(4 * math.pi * pull.corrected.torque / displacement)
    assert pull.derived["piston_speed"] == pytest.approx(2 * 0.0776 * pull.corrected.speed)
    air = 10.0 / 3600 * 12.5
    assert pull.derived["air_flow_mass"] == pytest.approx(np.full(pull.corrected.speed.shape, air))
    filling = air / (AIR.density * displacement * pull.corrected.speed / 2)
    assert pull.derived["volumetric_efficiency"] == pytest.approx(filling, rel=1e-6)
    assert pull.derived["bsfc"] == pytest.approx(10.0 / 3600 / pull.corrected.observed_power, rel=1e-6)
    efficiency = pull.corrected.observed_power / (10.0 / 3600 * 43.2e6)
    assert pull.derived["brake_thermal_efficiency"] == pytest.approx(efficiency, rel=1e-6)


UNUSUAL_LOGS = {
    "two rows": csv_of({"rpm": [2000, 3000], "Torque (N m)": [120, 130]}),
    "three rows": csv_of({"rpm": [2000, 3000, 4000], "Torque (N m)": [120, 130, 125]}),
    "falling": log_of(rpm=RPM[::-1]),
    "gaps in torque": "rpm,Torque (N m)\n2000,\n2500,120\n3000,130\n3500,\n4000,125\n",
    "never above zero": csv_of({"rpm": RPM, "Torque (N m)": -torque_curve(RPM)}),
    "all zero": csv_of({"rpm": RPM, "Torque (N m)": 0 * RPM}),
    "empty channel": "rpm,Torque (N m),Oil pressure (bar)\n" + "".join(f"{n},120,\n" for n in RPM),
    "within one grid step": csv_of({"rpm": np.linspace(3001, 3020, 12), "Torque (N m)": np.full(12, 100.0)}),
    "zero speed first": csv_of({"rpm": [0, 1000, 2000, 3000], "Power (kW)": [0, 10, 22, 35]}),
    "one exhaust": log_of(**{"EGT 1 (°C)": np.full(RPM.size, 700.0)}),
    "no fuel": log_of(**{"Fuel flow (kg/h)": np.zeros(RPM.size)}),
    "no air": log_of(**{"Air flow (cfm)": np.zeros(RPM.size), "Blow-by (cfm)": np.ones(RPM.size)}),
    "lambda of nought": log_of(**{"Lambda": np.zeros(RPM.size), "Fuel flow (kg/h)": np.ones(RPM.size)}),
}


@pytest.mark.parametrize("name", UNUSUAL_LOGS)
def test_unusual_logs_never_end_in_a_traceback(tmp_path: Path, name: str) -> None:
    record = one_pull(more=", setting: {name: advance, level: 30 deg}")
    folder = tmp_path / "x"
    try:
        build, _ = write_build(folder, record, {"a.csv": UNUSUAL_LOGS[name]})
    except AssertionError:
        return  # the reader refused it with file and line
    sheet = compute(build, Shop())
    assert sheet.session is not None
    for pull in sheet.session.pulls:
        assert np.isfinite(pull.corrected.torque).all()
        assert pull.corrected.speed.shape == pull.corrected.torque.shape == pull.corrected.power.shape
