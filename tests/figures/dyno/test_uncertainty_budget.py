"""The budget of a session: what each record says of the dyno and its instruments, in the result's uncertainty."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from builder.figures.dyno.session import analyse_session
from builder.figures.dyno.uncertainty_budget import ResultBudget, result_budget
from builder.figures.evaluate import compute
from builder.record.models.shop import Instrument, Shop
from builder.record.quantities.units import parse_quantity
from tests.support.dyno_samples import RPM, log_of, write_build

SESSION = """\
readings: observed
{more}
conditions:
  barometer: 1000 hPa
  barometer_is: station
  temperature: 20 degC
  relative_humidity: 50 %
  with: {{barometer: B1, temperature: T1, humidity: H1}}
pulls: [{{name: first, file: dyno/a.csv}}]
"""


def instrument(name: str, uncertainty: str, resolution: str, dimension: str) -> Instrument:
    return Instrument(
        id=name,
        kind="gauge",
        expanded_uncertainty=parse_quantity(uncertainty, dimension),
        resolution=parse_quantity(resolution, dimension),
    )


SHOP = Shop(
    instruments=(
        instrument("B1", "1 hPa", "0.1 hPa", "pressure"),
        instrument("T1", "1 degC", "0.1 degC", "temperature"),
        instrument("H1", "4 %", "1 %", "fraction"),
        instrument("D1", "0.8 N.m", "0.1 N.m", "torque"),
    )
)


def budget_of(tmp_path: Path, more: str = "", shop: Shop = SHOP) -> ResultBudget:
    build, messages = write_build(tmp_path, SESSION.format(more=more), {"a.csv": log_of()})
    assert messages == []
    session = analyse_session(build, shop)
    assert session is not None
    assert session.delivered is not None
    return result_budget(build, shop, session.delivered)


def test_the_air_by_the_formula_of_the_standard(tmp_path: Path) -> None:
    """By hand. Source: SAE J1349, 1.18 (99/Pd) sqrt(T/298.15) - 0.18, differentiated; JCGM 100, 5.1.3."""
    rows = {row.influence.name: row.influence for row in budget_of(tmp_path).rows}
    vapor = 0.5 * 2338.8  # saturation pressure at 20 °C [Pa]: ASHRAE Handbook, Psychrometrics, table 3
    dry = 100_000.0 - vapor
    main = 1.18 * 99_000.0 / dry * math.sqrt(293.15 / 298.15)
    factor = main - 0.18
    barometer = math.hypot(50.0, 10.0 / math.sqrt(12))
    assert rows["Barometer"].contribution == pytest.approx(main / factor / dry * barometer, rel=1e-3)
    temperature = math.hypot(0.5, 0.1 / math.sqrt(12))
    # Warmer air at the same relative humidity holds more vapor: 2338.8 Pa at 20 °C, 6.2 % more for each kelvin.
    slope = main / factor * (0.5 / 293.15 + vapor * 0.0620 / dry)
    assert rows["Temperature"].contribution == pytest.approx(slope * temperature, rel=5e-3)
    humidity = math.hypot(0.02, 0.01 / math.sqrt(12))
    assert rows["Humidity"].contribution == pytest.approx(main / factor / dry * 2338.8 * humidity, rel=2e-3)


def test_calibration_and_resolution(tmp_path: Path) -> None:
    """By hand. Source: JCGM 100, 4.3.7 (an error within limits, a resolution) and 4.3.3 (a certificate)."""
    more = "with: D1\nmachine: {calibration: {error_found: 0.3 %}}"
    result = budget_of(tmp_path, more)
    rows = {row.influence.name: row for row in result.rows}
    torque = 0.1 / math.sqrt(12) / rows["Resolution"].influence.contribution
    assert torque == pytest.approx(130 * 0.99, rel=0.02)
    expected = math.hypot(0.003 / math.sqrt(3), 0.4 / torque)
    assert rows["Calibration"].influence.contribution == pytest.approx(expected, rel=1e-9)
    assert rows["Calibration"].origins == ("calibration", "certificate")
    assert result.missing == ()
    total = math.sqrt(sum(row.influence.contribution**2 for row in result.rows))
    assert result.budget.combined == pytest.approx(total)
    assert result.budget.expanded() > 1.96 * total


def test_what_is_not_recorded_is_said(tmp_path: Path) -> None:
    result = budget_of(tmp_path, shop=Shop())
    assert result.missing == ("calibration of the dyno",)
    origins = {row.influence.name: row.origins for row in result.rows}
    assert origins["Barometer"] == ("written",)
    assert origins["Resolution"] == ("log",)


def test_a_pull_with_its_own_weather_was_read_with_the_sessions_instruments(tmp_path: Path) -> None:
    build, _ = write_build(
        tmp_path,
        SESSION.format(more="").replace("a.csv}", "a.csv, conditions: {barometer: 998 hPa, barometer_is: station}}"),
        {"a.csv": log_of()},
    )
    session = analyse_session(build, SHOP)
    assert session is not None
    assert session.delivered is not None
    origins = {row.influence.name: row.origins for row in result_budget(build, SHOP, session.delivered).rows}
    assert origins["Barometer"] == ("certificate", "instrument")


def test_air_that_is_only_in_the_log_is_said_not_to_be_included(tmp_path: Path) -> None:
    session = SESSION.format(more="").replace("  temperature: 20 degC\n", "")
    build, _ = write_build(tmp_path, session, {"a.csv": log_of(**{"Air temp (degC)": np.full(RPM.shape, 20.0)})})
    result = analyse_session(build, SHOP)
    assert result is not None
    assert result.delivered is not None
    budget = result_budget(build, SHOP, result.delivered)
    assert "temperature, which is only in the log" in budget.missing
    assert {"Barometer", "Humidity"} <= {row.influence.name for row in budget.rows}


def test_the_uncertainty_of_the_result_is_a_figure(tmp_path: Path) -> None:
    build, _ = write_build(tmp_path, SESSION.format(more="with: D1"), {"a.csv": log_of()})
    sheet = compute(build, SHOP)
    relative = budget_of(tmp_path, "with: D1").budget.expanded()
    assert sheet.value("torque_uncertainty") == pytest.approx(relative * sheet["peak_torque"].value)
    assert sheet.value("power_uncertainty") == pytest.approx(relative * sheet["peak_power"].value, rel=0.01)


@pytest.mark.parametrize("slug", ["peak_power", "peak_torque", "mean_torque", "bmep"])
def test_a_result_is_no_surer_than_the_calibration_of_the_dyno(tmp_path: Path, slug: str) -> None:
    """By hand. Source: JCGM 100, 4.3.7 and 5.1.2: an error of up to 3 % is 1.73 %, added as squares."""
    session = SESSION.format(more="machine: {calibration: {error_found: 3 %}}\nrange: 2500..5500 rpm")
    uncertainty = {}
    for more, text in (("calibrated", session), ("unknown", session.replace("error_found: 3 %", "date: 2025-01-14"))):
        (tmp_path / more).mkdir()
        build, messages = write_build(tmp_path / more, text, {"a.csv": log_of()})
        assert messages == []
        figure = compute(build, SHOP)[slug]
        assert figure.uncertainty is not None
        uncertainty[more] = figure.uncertainty / figure.value
    assert uncertainty["calibrated"] > 1.96 * math.hypot(0.03 / math.sqrt(3), uncertainty["unknown"] / 4)
    assert uncertainty["unknown"] < 0.02


def test_a_correction_that_the_readings_came_with_is_said_not_to_be_included(tmp_path: Path) -> None:
    for stated in ("sae-j1349", "din-70020"):
        (tmp_path / stated).mkdir()
        text = SESSION.format(more="").replace("observed", stated)
        build, _ = write_build(tmp_path / stated, text, {"a.csv": log_of()})
        session = analyse_session(build, SHOP)
        assert session is not None
        assert session.delivered is not None
        missing = " ".join(result_budget(build, SHOP, session.delivered).missing)
        assert "that the readings came with" in missing


def test_a_barometer_at_sea_level_is_said_to_be_turned_to_the_height(tmp_path: Path) -> None:
    session = SESSION.format(more="").replace("barometer_is: station", "barometer_is: sea level\n  altitude: 400 m")
    build, _ = write_build(tmp_path, session, {"a.csv": log_of()})
    result = analyse_session(build, SHOP)
    assert result is not None
    assert result.delivered is not None
    assert any("sea level" in text for text in result_budget(build, SHOP, result.delivered).missing)
