"""Small archives for tests of the dyno session: one invented four, its brake, and logs made from a known curve."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np

from builder.engine.air import Air, vapor_pressure
from builder.figures.dyno.session import DynoSession, analyse_session
from builder.record.load import read_build
from builder.record.models.build import Build
from builder.record.models.shop import Shop

ENGINE = """\
title: Test four
status: finished
engine:
  layout: inline
  cylinders: 4
  cycle: {cycle}
  ignition: {ignition}
  induction: {induction}
  fuel: {{kind: {fuel}, density: 745 kg/m3, heating_value: 43.2 MJ/kg, stoichiometric: 14.6}}
  red_line: 6500 rpm
"""
BOTTOM_END = """\
block: {bores: {unit: mm, measured: [81.50, 81.50, 81.50, 81.50]}}
crankshaft: {stroke: 77.60 mm}
"""
CONDITIONS = "{barometer: 1000 hPa, barometer_is: station, temperature: 20 degC, relative_humidity: 50 %}"
AIR = Air(100_000.0, 293.15, 0.5 * float(vapor_pressure(1e5, 293.15, relative_humidity=1.0)))
"""The air of CONDITIONS."""
LBF_FT = 1.3558179483314004
HP = 745.6998715822702

RPM = np.arange(2000, 6001, 100)


def torque_curve(rpm: np.ndarray, peak: float = 130.0, at: float = 3500.0) -> np.ndarray:
    """Torque [N m] of a plain engine: a parabola about its peak."""
    return peak * (1 - 0.25 * ((rpm - at) / 2500.0) ** 2)


def csv_of(columns: dict[str, Sequence[float] | np.ndarray], digits: int = 3) -> str:
    """Return a log with its units in the headers."""
    rows = zip(*columns.values(), strict=True)
    lines = [",".join(columns), *(",".join(f"{value:.{digits}f}" for value in row) for row in rows)]
    return "\n".join(lines) + "\n"


def log_of(
    torque: np.ndarray | Callable[[np.ndarray], np.ndarray] = torque_curve,
    rpm: np.ndarray = RPM,
    **more: np.ndarray,
) -> str:
    """Return a log of speed, torque and power that agree, with further columns (header as keyword)."""
    newton_metres = torque(rpm) if callable(torque) else torque
    columns = {
        "Engine speed (rpm)": rpm,
        "Torque (N m)": newton_metres,
        "Power (kW)": newton_metres * rpm * 2 * math.pi / 60e3,
    }
    return csv_of(columns | more)


def write_build(
    tmp_path: Path,
    session: str,
    logs: dict[str, str],
    *,
    cycle: str = "four-stroke",
    ignition: str = "spark",
    induction: str = "natural",
    fuel: str = "petrol",
    bottom_end: str = BOTTOM_END,
) -> tuple[Build, list[str]]:
    """Write and read a build; return it with the messages of the reader."""
    folder = tmp_path / "builds" / "test-four"
    (folder / "dyno").mkdir(parents=True, exist_ok=True)
    values = {"cycle": cycle, "ignition": ignition, "induction": induction, "fuel": fuel}
    (folder / "build.yaml").write_text(ENGINE.format(**values))
    (folder / "bottom_end.yaml").write_text(bottom_end)
    (folder / "dyno.yaml").write_text(session)
    for name, text in logs.items():
        (folder / "dyno" / name).write_text(text)
    build, problems = read_build(folder, tmp_path)
    messages = [str(problem) for problem in problems]
    assert build is not None, messages
    return build, messages


def session_of(
    tmp_path: Path, session: str, logs: dict[str, str], shop: Shop | None = None, **more: str
) -> DynoSession:
    """Return the dyno session of a build written for the purpose."""
    build, _ = write_build(tmp_path, session, logs, **more)  # type: ignore[arg-type]
    result = analyse_session(build, shop or Shop())
    assert result is not None
    return result


def one_pull(conditions: str = CONDITIONS, readings: str | None = "observed", more: str = "") -> str:
    """Return a dyno.yaml with one pull."""
    lines = [f"readings: {readings}"] if readings else []
    lines += [f"conditions: {conditions}"] if conditions else []
    return "\n".join([*lines, "pulls:", f"  - {{name: first, file: dyno/a.csv{more}}}"]) + "\n"
