"""The dyno reader against another reader of CSV, and its unit factors against published ones."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from builder.record.dyno_log.channels import CHANNELS, factor
from builder.record.dyno_log.reader import read_dyno_log


@pytest.mark.parametrize(
    ("sep", "decimal", "thousands"), [(",", ".", None), (";", ",", "."), ("\t", ".", ","), ("|", ",", None)]
)
@pytest.mark.parametrize("digits", [1, 3, 12])
def test_clean_files_read_as_pandas_reads_them(
    tmp_path: Path, sep: str, decimal: str, thousands: str | None, digits: int
) -> None:
    """Source: pandas.read_csv, whose own way to round may differ in the last bit."""
    random = np.random.default_rng(digits)
    speed = 1500.0 + np.arange(3000) + random.uniform(0.0, 0.4, 3000)
    torque, lambda_ = random.normal(400.0, 9.0, 3000), random.uniform(0.8, 1.2, 3000)
    columns = {"Engine speed (rev/s)": speed, "Torque (N m)": torque, "Lambda": lambda_}
    swap = {ord("."): decimal, ord(","): thousands or ""}
    lines = [sep.join(columns)]
    for row in zip(*columns.values(), strict=True):
        lines.append(sep.join(f"{value:,.{digits}f}".translate(swap) for value in row))
    path = tmp_path / "clean.csv"
    path.write_text("\n".join(lines) + "\n")
    theirs = pd.read_csv(path, sep=sep, decimal=decimal, thousands=thousands)
    log, problems = read_dyno_log(path)
    assert log is not None, problems
    for slug, name in zip(("engine_speed", "torque", "lambda"), columns, strict=True):
        np.testing.assert_allclose(log.channels[slug], theirs[name].to_numpy(dtype=float), rtol=4e-16)


@pytest.mark.parametrize(
    ("unit", "dimension", "published"),
    [
        ("lb-ft", "torque", 1.355818), ("lbf in", "torque", 0.1129848), ("kgf m", "torque", 9.80665),
        ("hp", "power", 745.6999), ("PS", "power", 735.4988), ("psi", "pressure", 6894.757),
        ("bar", "pressure", 1e5), ("atm", "pressure", 101325.0), ("inHg", "pressure", 3386.389),
        ("mmHg", "pressure", 133.3224), ("kgf/cm2", "pressure", 98066.5), ("inH2O", "pressure", 249.0889),
        ("lb/h", "mass_flow", 1.259979e-4), ("lb/min", "mass_flow", 7.559873e-3), ("cfm", "volume_flow", 4.719474e-4),
        ("US gal/h", "volume_flow", 3.785412e-3 / 3600.0), ("imp gal/h", "volume_flow", 4.54609e-3 / 3600.0),
        ("rpm", "speed", 1.0 / 60.0), ("deg", "angle", 1.0), ("%", "fraction", 0.01),
    ],
)  # fmt: skip
def test_unit_factors_are_the_published_ones(unit: str, dimension: str, published: float) -> None:
    """Source: NIST Special Publication 811 (2008), appendix B.8; inH2O is its "conventional" inch of water."""
    scale, offset = factor(unit, dimension) or (0.0, 0.0)
    assert scale == pytest.approx(published, rel=5e-7)
    assert offset == 0.0


def test_temperatures() -> None:
    """Source: NIST SP 811, appendix B.8: K = C + 273.15, K = (F + 459.67)/1.8."""
    for unit, at in (("°C", lambda t: t + 273.15), ("degF", lambda t: (t + 459.67) / 1.8), ("K", lambda t: t)):
        scale, offset = factor(unit, "temperature") or (0.0, 0.0)
        for value in (-40.0, 0.0, 98.6, 850.0):
            assert scale * value + offset == pytest.approx(at(value), rel=1e-14)


def test_no_two_spellings_of_a_dimension_are_lost() -> None:
    """Common practice, no source: the spellings met on dynos; none may be mistaken for another dimension's."""
    for text, dimension, base in (
        ("ft.lb", "torque", "lb-ft"), ("ft-lbs", "torque", "lb-ft"), ("lbf·ft", "torque", "lb-ft"),
        ("ftlb", "torque", "lb-ft"),
        ("N.m", "torque", "Nm"), ("N·m", "torque", "Nm"), ("N-m", "torque", "Nm"), ("bhp", "power", "hp"),
        ("cv", "power", "PS"), ("hp (metric)", "power", "PS"), ("min⁻¹", "speed", "rpm"), ("1/min", "speed", "rpm"),
        ("lbs/hr", "mass_flow", "lb/h"), ("m³/h", "volume_flow", "m3/h"), ("ft^3/min", "volume_flow", "cfm"),
        ("ºC", "temperature", "°C"), ("℉", "temperature", "°F"), ("in. Hg", "pressure", "inHg"),
    ):  # fmt: skip
        assert factor(text, dimension) == factor(base, dimension) is not None
    for text in ("gal/h", "N/m", "hp", "", "nautical mile", "9**9**9", "x" * 1000):
        assert factor(text, "torque") is None
    assert {factor("psig", d) for d in ("absolute_pressure",)} == {None}
    assert all(channel.low < channel.high for channel in CHANNELS.values())
