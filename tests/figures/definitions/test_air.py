"""The air of a pull and the correction made from it: every step of the working, humidity in every form."""

from __future__ import annotations

from pathlib import Path

import pytest

from builder.engine.air import vapor_pressure
from builder.engine.correction import SAE_J1349
from builder.figures.core.types import FigureSheet
from tests.support.dyno_figures import AIR, figure, plain, sheet_of
from tests.support.dyno_samples import log_of, one_pull


def test_the_air_shows_every_step_of_its_working(sheet: FigureSheet) -> None:
    assert figure(sheet, "vapor_pressure").value == pytest.approx(AIR.vapor)
    assert figure(sheet, "dry_air_pressure").value == pytest.approx(AIR.dry_pressure)
    assert figure(sheet, "air_density").value == pytest.approx(AIR.density)
    assert figure(sheet, "correction_factor").value == pytest.approx(SAE_J1349.factor(AIR))
    assert plain(figure(sheet, "vapor_pressure").working) == "first: 50 % × 2.34 kPa = 1.17 kPa"
    assert plain(figure(sheet, "dry_air_pressure").working) == "first: 100.00 kPa − 1.17 kPa = 98.83 kPa"
    assert plain(figure(sheet, "correction_factor").working) == (
        "first: 1.180 × (99 kPa / 98.83 kPa) × √(293.15 K / 298.15 K) − 0.180 = 0.9921"
    )


@pytest.mark.parametrize(
    ("humidity", "form"),
    [
        ("wet_bulb: 14 degC", {"wet_bulb": 287.15}),
        ("dew_point: 9 degC", {"dew_point": 282.15}),
        ("vapor_pressure: 11 mbar", {"vapor_pressure": 1100.0}),
    ],
)
def test_humidity_in_every_form(tmp_path: Path, humidity: str, form: dict[str, float]) -> None:
    air = f"{{barometer: 1000 hPa, barometer_is: station, temperature: 20 degC, {humidity}}}"
    sheet = sheet_of(tmp_path, one_pull(air), {"a.csv": log_of()})
    assert figure(sheet, "vapor_pressure").value == pytest.approx(float(vapor_pressure(1e5, 293.15, **form)))


def test_humidity_in_different_forms_in_one_session(tmp_path: Path) -> None:
    record = one_pull() + "  - {name: second, file: dyno/b.csv, conditions: {dew_point: 9 degC}}\n"
    sheet = sheet_of(tmp_path, record, {"a.csv": log_of(), "b.csv": log_of()})
    values = {position.label: position.value for position in figure(sheet, "vapor_pressure").positions}
    assert values["first"] == pytest.approx(AIR.vapor)
    assert values["second"] == pytest.approx(float(vapor_pressure(1e5, 293.15, dew_point=282.15)))


def test_without_humidity_peaks_are_as_logged_and_there_is_no_factor(tmp_path: Path) -> None:
    air = "{barometer: 1000 hPa, barometer_is: station, temperature: 20 degC}"
    sheet = sheet_of(tmp_path, one_pull(air), {"a.csv": log_of()})
    assert figure(sheet, "peak_torque").value == pytest.approx(130.0, rel=3e-4)
    assert sheet.get("correction_factor") is None
    assert "(observed, not corrected)" in figure(sheet, "peak_torque").working
