"""Air from fuel flow and mixture, with the record's own fuel properties and with typical ones."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from builder.figures.core.types import FigureSheet
from builder.figures.evaluate import compute
from tests.support.dyno_figures import AIR, METRIC, figure, plain
from tests.support.dyno_samples import ENGINE, RPM, log_of, one_pull, write_build

FUEL = 0.004 * RPM  # [kg/h]
LAMBDA = np.full(RPM.shape, 0.85)
OWN = "heating_value: 43.2 MJ/kg, stoichiometric: 14.6"


def sheet_of_fuel(archive: Path, monkeypatch: pytest.MonkeyPatch, fuel: str, **more: np.ndarray) -> FigureSheet:
    """Return the figures of a build that records nothing of its fuel but its kind."""
    monkeypatch.setattr("tests.support.dyno_samples.ENGINE", ENGINE.replace(f", {OWN}", ""))
    log = log_of(**{"Fuel flow (kg/h)": FUEL}, **more)
    build, messages = write_build(archive, one_pull(), {"a.csv": log}, fuel=fuel, induction="turbo")
    assert build.get("build.engine.fuel.stoichiometric") is None, messages
    return compute(build, METRIC)


def test_fuel_flow_and_lambda_alone_give_air_filling_and_efficiency(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    sheet = sheet_of_fuel(tmp_path, monkeypatch, "E85", Lambda=LAMBDA)
    speed = figure(sheet, "peak_power_speed").value * 60
    air = 0.004 * speed / 3600 * 0.85 * 9.8
    assert figure(sheet, "air_from_fuel").value == pytest.approx(air, rel=5e-3)
    assert figure(sheet, "air_at_peak_power").value == figure(sheet, "air_from_fuel").value
    filling = 0.004 / 60 * 0.85 * 9.8 / (AIR.density * figure(sheet, "displacement").value / 2)
    assert figure(sheet, "volumetric_efficiency").value == pytest.approx(filling, rel=5e-3)
    assert "brake_thermal_efficiency" in sheet


def test_what_rests_on_a_typical_value_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    sheet = sheet_of_fuel(tmp_path, monkeypatch, "E85", Lambda=LAMBDA)
    for slug in ("air_from_fuel", "air_at_peak_power", "volumetric_efficiency", "brake_thermal_efficiency"):
        found = figure(sheet, slug)
        assert (found.provenance, found.basis) == ("typical", "typical"), slug
        assert "typical, not measured" in plain(found.calculated_from), slug
    assert sheet.session is not None
    notes = " ".join(sheet.session.pulls[0].notes)
    assert "air-fuel ratio typical of E85, 9.8" in notes
    assert "heating value typical of E85" in notes
    assert "air-fuel ratio at lambda 1 of E85" in plain(figure(sheet, "air_from_fuel").calculated_from)


def test_the_records_own_properties_come_first(tmp_path: Path) -> None:
    log = log_of(**{"Fuel flow (kg/h)": FUEL, "Lambda": LAMBDA})
    build, _ = write_build(tmp_path, one_pull(), {"a.csv": log}, fuel="E85")
    sheet = compute(build, METRIC)
    found = figure(sheet, "air_from_fuel")
    assert found.value == pytest.approx(0.004 * figure(sheet, "peak_power_speed").value * 60 / 3600 * 0.85 * 14.6)
    assert "typical" not in found.calculated_from
    assert "typical" not in figure(sheet, "brake_thermal_efficiency").calculated_from
    assert "air_at_peak_power" not in sheet


def test_a_flow_meter_comes_before_the_fuel(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    sheet = sheet_of_fuel(tmp_path, monkeypatch, "E85", Lambda=LAMBDA, **{"Air flow (kg/h)": 0.05 * RPM})
    speed = figure(sheet, "peak_power_speed").value * 60
    assert figure(sheet, "air_at_peak_power").value == pytest.approx(0.05 * speed / 3600)
    assert figure(sheet, "air_at_peak_power").basis == "measured"
    assert figure(sheet, "volumetric_efficiency").basis != "typical"
    assert figure(sheet, "air_from_fuel").basis == "typical"


def test_a_logged_air_fuel_ratio_is_not_turned_into_lambda_by_a_typical_value(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    sheet = sheet_of_fuel(tmp_path, monkeypatch, "E85", AFR=np.full(RPM.shape, 12.5))
    assert "lambda" not in {caution.name for caution in sheet.cautions}
    assert figure(sheet, "air_from_fuel").basis == "measured"


PUMP = "induction: {fuel_pump: {count: 1, flow: 30 L/h, pressure: 3 bar}}\n"


def pump_sheet(archive: Path, settings: str, pump: str = PUMP, **more: np.ndarray) -> FigureSheet:
    log = log_of(**{"Fuel flow (kg/h)": FUEL}, **more)
    write_build(archive, one_pull(), {"a.csv": log}, induction="turbo")
    folder = archive / "builds" / "test-four"
    (folder / "top_end.yaml").write_text(pump)
    (folder / "delivery.yaml").write_text(settings)
    build, _ = write_build(archive, one_pull(), {"a.csv": log}, induction="turbo")
    return compute(build, METRIC)


def test_a_fuel_pump_with_little_left_is_a_caution(tmp_path: Path) -> None:
    sheet = pump_sheet(tmp_path, "settings: {fuel_pressure: 3 bar}\n")
    fuel = 0.004 * figure(sheet, "peak_power_speed").value * 60 / 3600
    margin = figure(sheet, "fuel_pump_margin").value
    assert margin == pytest.approx(30e-3 / 3600 * 745 / fuel, rel=1e-3)
    assert margin < 1.2
    assert [caution.subject for caution in sheet.cautions if caution.name == "fuel_pump"] == ["fuel_pump_margin"]


def test_a_fuel_pump_is_asked_for_the_boost_as_well(tmp_path: Path) -> None:
    ample = PUMP.replace("30 L/h", "130 L/h")
    boost = {"Boost (kPa)": np.full(RPM.shape, 80.0)}
    sheet = pump_sheet(tmp_path, "settings: {fuel_pressure: 3 bar}\n", ample, **boost)
    (caution,) = (caution for caution in sheet.cautions if caution.name == "fuel_pump")
    assert "3.8 bar" in plain(caution.sentence)
    enough = pump_sheet(tmp_path, "settings: {fuel_pressure: 3 bar}\n", ample.replace("3 bar", "4 bar"), **boost)
    assert not [caution for caution in enough.cautions if caution.name == "fuel_pump"]


VOLUME = np.asarray(FUEL / 0.745)  # [L/h] of a fuel of 745 kg/m3


def sheet_of_volume(archive: Path, monkeypatch: pytest.MonkeyPatch, fuel: str, recorded: str = "") -> FigureSheet:
    """Return the figures of a build whose log has the fuel by volume."""
    monkeypatch.setattr("tests.support.dyno_samples.ENGINE", ENGINE.replace(", density: 745 kg/m3", recorded))
    log = log_of(**{"Fuel flow (L/h)": VOLUME, "Lambda": LAMBDA})
    write_build(archive, one_pull(), {"a.csv": log}, fuel=fuel)
    (archive / "builds" / "test-four" / "top_end.yaml").write_text(
        "induction: {injectors: {count: 4, flow: 250 cc/min, rated_pressure: 3 bar}}\n"
    )
    build, messages = write_build(archive, one_pull(), {"a.csv": log}, fuel=fuel)
    assert messages == []
    return compute(build, METRIC)


def test_fuel_by_volume_without_a_density_takes_the_typical_one_and_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    sheet = sheet_of_volume(tmp_path, monkeypatch, "gasoline")
    own = sheet_of_volume(tmp_path, monkeypatch, "gasoline", ", density: 745 kg/m3")
    for slug in ("bsfc", "air_from_fuel", "injector_duty", "injector_size_needed", "brake_thermal_efficiency"):
        found = figure(sheet, slug)
        assert found.value == pytest.approx(figure(own, slug).value), slug
        assert (found.provenance, found.basis, found.uncertainty) == ("typical", "typical", None), slug
        assert "density of gasoline" in plain(found.calculated_from), slug
        assert figure(own, slug).basis != "typical", slug
    assert sheet.session is not None
    assert "fuel flow by volume, with the density typical of gasoline, 745 kg/m³" in sheet.session.pulls[0].notes


def test_a_gas_has_no_typical_density(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    sheet = sheet_of_volume(tmp_path, monkeypatch, "LPG")
    assert "bsfc" not in sheet
    assert "injector_duty" not in sheet


def test_a_correction_by_fuel_does_not_rest_on_a_typical_density(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("tests.support.dyno_samples.ENGINE", ENGINE.replace(", density: 745 kg/m3", ""))
    log = log_of(**{"Fuel flow (L/h)": VOLUME})
    build, _ = write_build(tmp_path, one_pull(), {"a.csv": log}, fuel="diesel", ignition="compression")
    sheet = compute(build, METRIC)
    assert sheet.session is not None
    assert any("it needs build.yaml: engine.fuel.density" in note for note in sheet.session.pulls[0].notes)
    assert figure(sheet, "bsfc").basis == "typical"
