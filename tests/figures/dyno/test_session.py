"""The dyno session: correction once, units caught, the best pull, and odd logs."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from builder.engine.air import Air, station_pressure, vapour_pressure
from builder.engine.correction import ISO_1585, SAE_J607, SAE_J1349
from builder.figures.dyno.session import analyse_session
from builder.figures.evaluate import compute
from builder.record.load import read_build, read_shop
from builder.record.models.shop import Shop
from tests.support.dyno_samples import (
    CONDITIONS,
    HP,
    LBF_FT,
    RPM,
    csv_of,
    log_of,
    one_pull,
    session_of,
    torque_curve,
    write_build,
)

REPO = Path(__file__).parents[3]
AIR = Air(100_000.0, 293.15, 0.5 * float(vapour_pressure(1e5, 293.15, relative_humidity=1.0)))


def test_no_session_without_a_log(tmp_path: Path) -> None:
    build, _ = write_build(tmp_path, "pulls:\n  - {name: first}\n", {})
    assert analyse_session(build, Shop()) is None


def test_observed_readings_are_corrected_once_to_the_shops_standard(tmp_path: Path) -> None:
    session = session_of(tmp_path, one_pull(), {"a.csv": log_of()})
    pull = session.best
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
    assert same.best is not None
    assert same.best.peaks.torque.value == pytest.approx(130.0, rel=2e-4)
    moved = session_of(tmp_path / "b", one_pull(readings="sae-j607"), {"a.csv": log_of()})
    assert moved.best is not None
    ratio = SAE_J1349.factor(AIR) / SAE_J607.factor(AIR)
    assert moved.best.peaks.torque.value == pytest.approx(130.0 * ratio, rel=2e-4)
    assert moved.best.corrected.observed_torque.max() == pytest.approx(130.0 / SAE_J607.factor(AIR), rel=2e-4)
    assert any("divided out" in line for line in moved.best.notes)


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
    assert day.air.vapour == pytest.approx(float(vapour_pressure(1e5, 293.15, dew_point=282.15)))


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
    assert session.best is not None
    assert session.best.peaks.torque.value == pytest.approx(130.0, rel=2e-4)
    assert any(missing in need for need in session.best.applied.needs)
    assert any(missing in problem.message and problem.severity == "warning" for problem in session.problems)
    assert "could be corrected" in session.remarks[0]


def test_readings_of_unknown_standing_are_never_called_observed(tmp_path: Path) -> None:
    session = session_of(tmp_path, one_pull(readings=None), {"a.csv": log_of()})
    assert session.standard.slug == "as-logged"
    assert session.best is not None
    assert np.isnan(session.best.corrected.observed_torque).all()


def test_a_pull_that_cannot_be_corrected_does_not_count_beside_those_that_can(tmp_path: Path) -> None:
    record = (
        f"readings: observed\nconditions: {CONDITIONS}\npulls:\n  - {{name: a, file: dyno/a.csv}}\n"
        "  - {name: b, file: dyno/b.csv, readings: un-r85-diesel}\n"
    )
    session = session_of(tmp_path, record, {"a.csv": log_of(), "b.csv": log_of(torque_curve(RPM, 150))})
    assert [pull.counted for pull in session.pulls] == [True, False]
    assert session.best is session.pulls[0]
    assert "could not be corrected" in session.pulls[1].exclusion_reason


def test_din_70020_needs_no_humidity(tmp_path: Path) -> None:
    air = "{barometer: 990 hPa, barometer_is: station, temperature: 25 degC}"
    session = session_of(tmp_path, one_pull(air), {"a.csv": log_of()}, Shop(correction="din-70020"))
    assert session.corrected
    assert session.pulls[0].correction is not None
    assert session.pulls[0].correction.factor == pytest.approx(101.3 / 99.0 * math.sqrt(298.15 / 293))
    assert session.pulls[0].conditions.air is None


def test_conditions_outside_the_standard_are_said(tmp_path: Path) -> None:
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


@pytest.mark.parametrize(
    ("torque_scale", "power_scale", "slip", "units"),
    [
        (1 / LBF_FT, 1.0, "torque in lbf ft was read as N m", "torque: lbf.ft"),
        (LBF_FT, 1.0, "torque in N m was read as lbf ft", ""),
        (1.0, 1000 / HP, "power in mechanical horsepower was read as kW", "power: hp"),
    ],
)
def test_units_that_disagree_are_named_and_keep_the_pull_from_counting(
    tmp_path: Path, torque_scale: float, power_scale: float, slip: str, units: str
) -> None:
    torque = torque_curve(RPM)
    watts = torque * RPM * 2 * math.pi / 60
    log = csv_of({"rpm": RPM, "Torque (N m)": torque * torque_scale, "Power (kW)": watts / 1000 * power_scale})
    session = session_of(tmp_path, one_pull(), {"a.csv": log})
    problem = next(problem for problem in session.problems if "most likely" in problem.message)
    assert session.best is None
    assert not session.pulls[0].counted
    assert problem.severity == "error"
    assert problem.path.name == "dyno.yaml"
    assert units in problem.message
    if torque_scale != LBF_FT:
        assert slip in problem.message


def test_the_record_settles_a_slip_of_units(tmp_path: Path) -> None:
    torque = torque_curve(RPM)
    log = csv_of(
        {"rpm": RPM, "Torque (N m)": torque / LBF_FT, "Power (kW)": torque * RPM * 2 * math.pi / 60e3}, digits=4
    )
    session = session_of(tmp_path, one_pull(more=", units: {torque: lbf.ft}"), {"a.csv": log})
    assert session.best is not None
    assert not session.problems
    assert session.best.corrected.observed_torque.max() == pytest.approx(130.0, rel=3e-4)


def test_metric_horsepower_read_as_mechanical_is_caught(tmp_path: Path) -> None:
    torque = torque_curve(RPM)
    log = csv_of({"rpm": RPM, "Torque (N m)": torque, "Power (hp)": torque * RPM * 2 * math.pi / 60 / 735.49875})
    session = session_of(tmp_path, one_pull(), {"a.csv": log})
    assert any("metric horsepower was read as mechanical" in problem.message for problem in session.problems)


def test_few_digits_are_not_taken_for_a_slip(tmp_path: Path) -> None:
    rpm = np.array([2000, 2500, 3000, 3500, 4000])
    torque = np.array([4.0, 5.0, 5.0, 5.0, 4.0])
    power = np.round(torque * 1.04 * rpm * 2 * math.pi / 60 / 1000)
    log = csv_of({"rpm": rpm, "Torque (N m)": torque, "Power (kW)": power}, digits=0)
    session = session_of(tmp_path, one_pull(), {"a.csv": log})
    assert session.best is not None


def test_both_units_stated_is_the_records_last_word(tmp_path: Path) -> None:
    torque = torque_curve(RPM)
    log = csv_of({"rpm": RPM, "Torque (N m)": torque, "Power (kW)": torque * RPM * 2 * math.pi / 60e3 * 1.03})
    without = session_of(tmp_path / "a", one_pull(), {"a.csv": log})
    stated = session_of(tmp_path / "b", one_pull(more=", units: {torque: N m, power: kW}"), {"a.csv": log})
    assert without.best is None
    assert stated.best is not None
    assert [problem.severity for problem in stated.problems] == ["warning"]


def test_the_best_pull_has_the_highest_peak_power_of_those_that_count(tmp_path: Path) -> None:
    record = (
        f"readings: observed\nconditions: {CONDITIONS}\npulls:\n  - {{name: a, file: dyno/a.csv}}\n"
        "  - {name: b, file: dyno/b.csv}\n  - {name: c, file: dyno/c.csv, left_out: plug lead came off}\n"
    )
    logs = {f"{name}.csv": log_of(torque_curve(RPM, peak)) for name, peak in (("a", 130), ("b", 133), ("c", 140))}
    session = session_of(tmp_path, record, logs)
    assert session.best is not None
    assert session.best.name == "b"
    assert session.best_first[0] is session.best
    assert [pull.name for pull in session.best_first] == ["b", "a"]
    assert [pull.index for pull in session.pulls] == [0, 1, 2]
    assert session.pulls[2].exclusion_reason == "plug lead came off"


def test_torque_is_worked_out_where_only_power_was_logged(tmp_path: Path) -> None:
    log = csv_of({"rpm": RPM, "Power (kW)": torque_curve(RPM) * RPM * 2 * math.pi / 60e3}, digits=5)
    session = session_of(tmp_path, one_pull(), {"a.csv": log})
    assert session.best is not None
    assert session.best.corrected.observed_torque.max() == pytest.approx(130.0, rel=2e-4)
    assert any("torque is worked out" in line for line in session.best.notes)


ODD_LOGS = {
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


@pytest.mark.parametrize("name", ODD_LOGS)
def test_odd_logs_never_end_in_a_traceback(tmp_path: Path, name: str) -> None:
    record = one_pull(more=", setting: {name: advance, level: 30 deg}")
    folder = tmp_path / "x"
    try:
        build, _ = write_build(folder, record, {"a.csv": ODD_LOGS[name]})
    except AssertionError:
        return  # the reader refused it with file and line
    sheet = compute(build, Shop())
    assert sheet.session is not None
    for pull in sheet.session.pulls:
        assert np.isfinite(pull.corrected.torque).all()
        assert pull.corrected.speed.shape == pull.corrected.torque.shape == pull.corrected.power.shape


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


def test_means_are_over_the_stated_range_and_only_of_pulls_that_cover_it(tmp_path: Path) -> None:
    record = "range: 2500..5000 rpm\n" + one_pull() + "  - {name: short, file: dyno/b.csv}\n"
    logs = {"a.csv": log_of(), "b.csv": log_of(rpm=np.arange(2000, 4501, 100))}
    session = session_of(tmp_path, record, logs)
    first, short = session.pulls
    n = np.linspace(2500, 5000, 4001)
    exact = float(np.trapezoid(torque_curve(n), n)) / 2500 * SAE_J1349.factor(AIR)
    assert first.mean_torque == pytest.approx(exact, rel=1e-3)
    assert session.range_from == "dyno.yaml"
    assert short.mean_torque is None
    assert any("not run over the whole" in line for line in short.notes)


def test_without_a_range_the_speeds_that_all_pulls_share_are_taken(tmp_path: Path) -> None:
    record = one_pull() + "  - {name: short, file: dyno/b.csv}\n"
    logs = {"a.csv": log_of(), "b.csv": log_of(rpm=np.arange(2500, 4501, 100))}
    session = session_of(tmp_path, record, logs)
    assert session.range is not None
    assert [60 * end for end in session.range] == pytest.approx([2500, 4500])


def test_what_follows_along_the_curve(tmp_path: Path) -> None:
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


def test_iso_1585_is_used_where_the_shop_says_so(tmp_path: Path) -> None:
    session = session_of(tmp_path, one_pull(), {"a.csv": log_of()}, Shop(correction="iso-1585"))
    assert session.pulls[0].correction is not None
    assert session.pulls[0].correction.factor == pytest.approx(ISO_1585.factor(AIR), rel=1e-9)


def test_every_demonstration_session_is_studied_without_an_error() -> None:
    shop, _ = read_shop(REPO)
    for folder in sorted((REPO / "builds").iterdir()):
        if not (folder / "dyno.yaml").exists():
            continue
        build, problems = read_build(folder, REPO)
        if build is None:
            pytest.skip(f"{folder.name} is not readable: {problems[0]}")
        session = analyse_session(build, shop)
        if session is None:
            continue
        assert session.best is not None, folder.name
        assert not [problem for problem in session.problems if problem.severity == "error"], folder.name
