"""Ambient conditions of a pull, and the one factor that takes its readings to the shop's standard."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from builder.engine.air import station_pressure, vapor_pressure
from builder.engine.correction import ISO_1585, SAE_J607, SAE_J1349
from builder.figures.dyno.session import analyse_session
from builder.figures.evaluate import compute
from builder.record.models.shop import Shop
from tests.support.dyno_samples import (
    AIR,
    CONDITIONS,
    RPM,
    log_of,
    one_pull,
    session_of,
    write_build,
)


def test_observed_readings_are_corrected_once_to_the_shops_standard(tmp_path: Path) -> None:
    session = session_of(tmp_path, one_pull(), {"a.csv": log_of()})
    assert session.delivered is not None
    pull = session.delivered.last
    assert pull is not None
    assert session.corrected
    assert session.standard is SAE_J1349
    assert pull.correction is not None
    assert pull.correction.factor == pytest.approx(SAE_J1349.factor(AIR), rel=1e-9)
    assert pull.peaks.torque.value == pytest.approx(130.0 * SAE_J1349.factor(AIR), rel=2e-4)
    assert pull.peaks.torque.speed * 60 == pytest.approx(3500, abs=10)
    assert pull.corrected.torque / pull.corrected.observed_torque == pytest.approx(
        np.full(pull.corrected.speed.shape, SAE_J1349.factor(AIR))
    )
    assert pull.corrected.power == pytest.approx(2 * math.pi * pull.corrected.speed * pull.corrected.torque)


def test_corrected_readings_are_never_corrected_twice(tmp_path: Path) -> None:
    same = session_of(tmp_path / "a", one_pull(readings="sae-j1349"), {"a.csv": log_of()})
    assert same.delivered is not None
    assert same.delivered.peaks.torque.value == pytest.approx(130.0, rel=2e-4)
    moved = session_of(tmp_path / "b", one_pull(readings="sae-j607"), {"a.csv": log_of()})
    assert moved.delivered is not None
    ratio = SAE_J1349.factor(AIR) / SAE_J607.factor(AIR)
    assert moved.delivered.peaks.torque.value == pytest.approx(130.0 * ratio, rel=2e-4)
    assert moved.delivered.corrected.observed_torque.max() == pytest.approx(130.0 / SAE_J607.factor(AIR), rel=2e-4)
    assert any("divided out" in line for line in moved.delivered.last.notes)


def test_a_pulls_own_conditions_override_field_by_field(tmp_path: Path) -> None:
    own = ", conditions: {temperature: 30 degC}"
    session = session_of(tmp_path, one_pull(more=own), {"a.csv": log_of()})
    day = session.pulls[0].conditions
    assert day.temperature == pytest.approx(303.15)
    assert day.pressure == pytest.approx(100_000.0)
    assert (day.humidity_form, day.humidity) == ("relative_humidity", pytest.approx(0.5))


def test_another_form_of_humidity_in_the_pull_replaces_the_sessions(tmp_path: Path) -> None:
    own = ", conditions: {dew_point: 9 degC}"
    day = session_of(tmp_path, one_pull(more=own), {"a.csv": log_of()}).pulls[0].conditions
    assert day.humidity_form == "dew_point"
    assert day.air is not None
    assert day.air.vapor == pytest.approx(float(vapor_pressure(1e5, 293.15, dew_point=282.15)))


def test_a_sea_level_barometer_is_turned_to_the_room(tmp_path: Path) -> None:
    air = "{barometer: 29.92 inHg, barometer_is: sea level, altitude: 2000 ft, temperature: 70 degF, wet_bulb: 60 degF}"
    pull = session_of(tmp_path, one_pull(air), {"a.csv": log_of()}).pulls[0]
    assert pull.conditions.pressure == pytest.approx(float(station_pressure(29.92 * 3386.389, 609.6)), rel=1e-5)
    assert any("at sea level is" in line for line in pull.notes)


def test_conditions_from_the_log_where_the_record_has_none(tmp_path: Path) -> None:
    extra = {
        "Barometer (kPa)": np.full(RPM.size, 100.0),
        "Air temp (°C)": np.full(RPM.size, 20.0),
        "Humidity (%)": np.full(RPM.size, 50.0),
    }
    session = session_of(tmp_path, one_pull(conditions=""), {"a.csv": log_of(**extra)})
    assert session.corrected
    assert session.pulls[0].correction is not None
    assert session.pulls[0].correction.factor == pytest.approx(SAE_J1349.factor(AIR), rel=1e-4)
    assert sum("from the log" in line for line in session.pulls[0].notes) == 3


@pytest.mark.parametrize(
    ("conditions", "readings", "missing"),
    [
        ("", "observed", "conditions.barometer"),
        ("{barometer: 1000 hPa, barometer_is: station, temperature: 20 degC}", "observed", "relative_humidity"),
        (CONDITIONS, None, "readings (observed"),
    ],
)
def test_what_cannot_be_corrected_is_shown_as_logged_and_says_what_it_needs(
    tmp_path: Path, conditions: str, readings: str | None, missing: str
) -> None:
    session = session_of(tmp_path, one_pull(conditions, readings), {"a.csv": log_of()})
    assert not session.corrected
    assert session.delivered is not None
    assert session.delivered.peaks.torque.value == pytest.approx(130.0, rel=2e-4)
    assert any(missing in need for need in session.delivered.last.applied.needs)
    assert any(missing in problem.message and problem.severity == "warning" for problem in session.problems)
    assert "could be corrected" in session.remarks[0]


def test_readings_without_a_standard_are_never_called_observed(tmp_path: Path) -> None:
    session = session_of(tmp_path, one_pull(readings=None), {"a.csv": log_of()})
    assert session.standard.slug == "as-logged"
    assert session.delivered is not None
    assert np.isnan(session.delivered.corrected.observed_torque).all()


def test_din_70020_needs_no_humidity(tmp_path: Path) -> None:
    air = "{barometer: 990 hPa, barometer_is: station, temperature: 25 degC}"
    session = session_of(tmp_path, one_pull(air), {"a.csv": log_of()}, Shop(correction="din-70020"))
    assert session.corrected
    assert session.pulls[0].correction is not None
    assert session.pulls[0].correction.factor == pytest.approx(101.3 / 99.0 * math.sqrt(298.15 / 293))
    assert session.pulls[0].conditions.air is None


def test_conditions_outside_the_standard_are_a_caution(tmp_path: Path) -> None:
    air = "{barometer: 1000 hPa, barometer_is: station, temperature: 5 degC, relative_humidity: 50 %}"
    build, _ = write_build(tmp_path, one_pull(air), {"a.csv": log_of()})
    session = analyse_session(build, Shop())
    assert session is not None
    assert any("air temperature 5.0 °C is below 15.0 °C" in line for line in session.pulls[0].outside)
    assert any(caution.subject == "correction_factor" for caution in compute(build, Shop()).cautions)


def test_air_that_cannot_be_is_a_problem_with_its_line(tmp_path: Path) -> None:
    air = "{barometer: 1000 hPa, barometer_is: station, temperature: 20 degC, wet_bulb: 25 degC}"
    session = session_of(tmp_path, one_pull(air), {"a.csv": log_of()})
    problem = next(problem for problem in session.problems if "cannot be" in problem.message)
    assert (problem.path.name, problem.line, problem.severity) == ("dyno.yaml", 2, "error")
    assert not session.corrected


@pytest.mark.parametrize("ignition", ["spark", "compression"])
@pytest.mark.parametrize("induction", ["natural", "turbocharged"])
@pytest.mark.parametrize("standard", ["sae-j1349", "iso-1585", "sae-j607", "din-70020", "un-r85-diesel", "observed"])
@pytest.mark.parametrize("stated", ["observed", "un-r85-diesel", "sae-j1349", None])
def test_every_pair_of_standards_gives_results_or_says_what_it_needs(
    tmp_path: Path, ignition: str, induction: str, standard: str, stated: str | None
) -> None:
    session = session_of(
        tmp_path, one_pull(readings=stated), {"a.csv": log_of()}, Shop(correction=standard), ignition=ignition,
        induction=induction,
    )  # fmt: skip
    pull = session.pulls[0]
    assert np.isfinite(pull.corrected.torque).all()
    assert pull.applied.needs or session.corrected
    if stated == "un-r85-diesel" and ignition == "spark":
        assert not session.corrected


def test_compression_ignition_takes_its_factor_from_the_fuel(tmp_path: Path) -> None:
    # 0.01 kg/s at 3000 rpm in 1.619 l: 0.01 / 25 cycles / 1.619 l = 247 mg/(l cycle): fm is held at 1.2.
    rich = log_of(**{"Fuel flow (kg/h)": np.full(RPM.size, 36.0)})
    cool = "{barometer: 980 hPa, barometer_is: station, temperature: 15 degC, relative_humidity: 50 %}"
    session = session_of(tmp_path, one_pull(cool), {"a.csv": rich}, ignition="compression", fuel="diesel")
    pull = session.pulls[0]
    assert pull.conditions.air is not None
    atmosphere = 99e3 / pull.conditions.air.dry_pressure * (288.15 / 298) ** 0.7
    assert pull.correction is not None
    assert pull.correction.factor == pytest.approx(atmosphere**1.2, rel=1e-6)
    assert session.remarks[0].endswith("UN Regulation 85 is used")


def test_iso_1585_is_used_where_the_shop_says_so(tmp_path: Path) -> None:
    session = session_of(tmp_path, one_pull(), {"a.csv": log_of()}, Shop(correction="iso-1585"))
    assert session.pulls[0].correction is not None
    assert session.pulls[0].correction.factor == pytest.approx(ISO_1585.factor(AIR), rel=1e-9)
