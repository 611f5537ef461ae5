"""Whatever a log holds, the session is judged without a traceback, and nothing silently turns into a curve."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from builder.figures.evaluate import compute
from builder.publish.data_export import export_data
from builder.record.dyno_log.reader import DynoLog
from builder.record.models.build import Build
from builder.record.models.shop import Shop
from tests.support.dyno_samples import CONDITIONS, write_build

RECORD = f"""\
readings: observed
conditions: {CONDITIONS}
inertia: 0.3 kg.m2
range: 2000..5000 rpm
pulls:
  - {{name: a, file: dyno/a.csv, setting: {{name: jet, level: 1.20 mm}}}}
  - {{name: b, file: dyno/a.csv, repeat_of: a, setting: {{name: jet, level: 1.25 mm}}}}
  - {{name: c, file: dyno/a.csv, changed: jets, since: a, setting: {{name: jet, level: 1.30 mm}}}}
"""
LESSER = (
    "time", "power", "fuel_flow", "air_flow", "air_flow_volume", "afr", "lambda", "oil_pressure", "oil_temperature",
    "blow_by", "exhaust_temperature_1", "exhaust_temperature_2", "barometer", "throttle", "manifold_pressure",
)  # fmt: skip


@pytest.fixture(scope="module")
def build(tmp_path_factory: pytest.TempPathFactory) -> Build:
    made, _ = write_build(tmp_path_factory.mktemp("any"), RECORD, {"a.csv": "rpm,Torque (N m)\n2000,100\n3000,110\n"})
    return made


def _log(seed: int, rows: int, channels: frozenset[str], kind: str) -> DynoLog:
    random = np.random.default_rng(seed)
    found: dict[str, np.ndarray] = {}
    for slug in ("engine_speed", "torque", *sorted(channels)):
        scale = 10.0 ** random.integers(-6, 6)
        values = random.normal(0, scale, rows) if kind == "wild" else np.abs(random.normal(scale, scale / 9, rows))
        if kind == "holes":
            values[random.random(rows) < 0.4] = np.nan
        if kind == "constant":
            values[:] = values[0]
        found[slug] = values
    found["engine_speed"] = np.abs(random.normal(50, 20, rows)) + (0 if kind == "wild" else 1)
    if kind == "sweep":
        found["engine_speed"] = np.linspace(20, 100, rows)
        found["time"] = np.arange(rows) * 0.05
    if kind == "only power":
        found["power"] = found.pop("torque")
    for values in found.values():
        values.setflags(write=False)
    return DynoLog(Path("dyno/a.csv"), found, dict.fromkeys(found, "?"), {}, np.arange(rows), ())


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(
    seed=st.integers(0, 2**32 - 1),
    rows=st.sampled_from([1, 2, 3, 5, 8, 9, 30, 300]),
    channels=st.frozensets(st.sampled_from(LESSER), max_size=8),
    kind=st.sampled_from(["wild", "tame", "holes", "constant", "sweep", "only power"]),
)
# Readings set aside at an end of the log once left a curve of NaN there.
@example(
    seed=1855958992,
    rows=300,
    channels=frozenset(
        {"air_flow_volume", "lambda", "power", "oil_temperature", "oil_pressure", "afr", "fuel_flow", "air_flow"}
    ),
    kind="tame",
)
def test_any_log_is_judged_or_refused(build: Build, seed: int, rows: int, channels: frozenset[str], kind: str) -> None:
    logs = {name: _log(seed + k, rows, channels, kind) for k, name in enumerate("abc")}
    made = replace(build, logs=logs)
    sheet = compute(made, Shop())
    assert sheet.session is not None
    for pull in sheet.session.pulls:
        assert np.isfinite(pull.corrected.torque).all()
        logged = logs[pull.name].channels["engine_speed"]
        assert pull.corrected.speed.size == 0 or (
            pull.corrected.speed.min() >= logged.min() - 1e-6 and pull.corrected.speed.max() <= logged.max() + 1e-6
        )
    for problem in sheet.session.problems:
        assert problem.line >= 1
        assert problem.path.name in ("dyno.yaml", "a.csv")
    export_data(made, sheet)
