"""Figures of air and power: their numbers, their working, and that the best pull stands for the whole."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from builder.engine.air import Air, vapour_pressure
from builder.engine.correction import SAE_J1349
from builder.figures.core.types import Figure, FigureSheet
from builder.figures.evaluate import compute
from builder.record.models.shop import Shop
from tests.support.dyno_samples import (
    BOTTOM_END,
    DAY,
    HP,
    LBF_FT,
    RPM,
    csv_of,
    log_of,
    one_pull,
    torque_curve,
    write_build,
)

METRIC, INCH = Shop(units="metric"), Shop(units="inch")
DISPLACEMENT = math.pi * 0.0815**2 * 0.0776
AIR = Air(1e5, 293.15, float(vapour_pressure(1e5, 293.15, relative_humidity=0.5)))


def sheet_of(tmp_path: Path, record: str, logs: dict[str, str], shop: Shop = METRIC, **more: str) -> FigureSheet:
    build, _ = write_build(tmp_path, record, logs, **more)  # type: ignore[arg-type]
    return compute(build, shop)


def figure(sheet: FigureSheet, slug: str) -> Figure:
    found = sheet.get(slug)
    assert found is not None, [need for need in sheet.needs if need.slug == slug]
    return found


def plain(text: str) -> str:
    return text.replace("\N{NO-BREAK SPACE}", " ")


FLOWS = {
    "Fuel flow (kg/h)": 0.3 * torque_curve(RPM) * RPM * 2 * math.pi / 60e3,
    "Air flow (kg/h)": 0.055 * RPM,
}


@pytest.fixture(scope="module")
def sheet(tmp_path_factory: pytest.TempPathFactory) -> FigureSheet:
    record = "range: 2500..5500 rpm\n" + one_pull()
    return sheet_of(tmp_path_factory.mktemp("one"), record, {"a.csv": log_of(**FLOWS)})


def test_the_air_shows_every_step_of_its_working(sheet: FigureSheet) -> None:
    assert figure(sheet, "vapour_pressure").value == pytest.approx(AIR.vapour)
    assert figure(sheet, "dry_air_pressure").value == pytest.approx(AIR.dry_pressure)
    assert figure(sheet, "air_density").value == pytest.approx(AIR.density)
    assert figure(sheet, "correction_factor").value == pytest.approx(SAE_J1349.factor(AIR))
    assert plain(figure(sheet, "vapour_pressure").working) == "first: 50 % × 2.34 kPa = 1.17 kPa"
    assert plain(figure(sheet, "dry_air_pressure").working) == "first: 100.00 kPa − 1.17 kPa = 98.83 kPa"
    assert plain(figure(sheet, "correction_factor").working) == (
        "first: 1.180 × (99 kPa / 98.83 kPa) × √(293.15 K / 298.15 K) − 0.180 = 0.9921"
    )


def test_peaks_and_what_follows_from_them(sheet: FigureSheet) -> None:
    factor = SAE_J1349.factor(AIR)
    assert figure(sheet, "peak_torque").value == pytest.approx(130.0 * factor, rel=3e-4)
    assert figure(sheet, "peak_torque_speed").value * 60 == pytest.approx(3500, abs=10)
    # P = 2 pi n T of the parabola is highest where its derivative is nought.
    n = np.linspace(3500, 6000, 200_001)
    power = 2 * math.pi * n / 60 * torque_curve(n) * factor
    assert figure(sheet, "peak_power").value == pytest.approx(power.max(), rel=3e-4)
    assert figure(sheet, "peak_power_speed").value * 60 == pytest.approx(n[np.argmax(power)], abs=20)
    torque = figure(sheet, "peak_torque").value
    assert figure(sheet, "bmep").value == pytest.approx(4 * math.pi * torque / DISPLACEMENT)
    assert figure(sheet, "specific_torque").value == pytest.approx(torque / DISPLACEMENT)
    assert figure(sheet, "specific_power").value == pytest.approx(figure(sheet, "peak_power").value / DISPLACEMENT)
    assert plain(figure(sheet, "bmep").working) == "first: 4π × 129.0 N m / 1619 cc = 10.01 bar"
    assert "× 0.9921 (SAE J1349) = 129.0 N m" in plain(figure(sheet, "peak_torque").working)


def test_means_and_band(sheet: FigureSheet) -> None:
    factor = SAE_J1349.factor(AIR)
    n = np.linspace(2500, 5500, 30_001)
    mean = float(np.trapezoid(torque_curve(n), n)) / 3000 * factor
    assert figure(sheet, "mean_torque").value == pytest.approx(mean, rel=1e-3)
    watts = float(np.trapezoid(2 * math.pi * n / 60 * torque_curve(n), n)) / 3000 * factor
    assert figure(sheet, "mean_power").value == pytest.approx(watts, rel=1e-3)
    assert "/ (5,500 − 2,500) rpm" in figure(sheet, "mean_torque").working
    # 90 % of the peak: 0.25 x^2 = 0.1, x = 0.632 of 2500 rpm either side of 3500; the log begins at 2000.
    half = math.sqrt(0.4) * 2500
    assert figure(sheet, "torque_band").value * 60 == pytest.approx(3500 + half - 2000, rel=0.01)


def test_fuel_and_air(sheet: FigureSheet) -> None:
    assert figure(sheet, "bsfc").value == pytest.approx(0.3 / 3.6e6, rel=1e-3)
    assert figure(sheet, "bsfc").display.startswith("300")
    assert figure(sheet, "brake_thermal_efficiency").value == pytest.approx(3.6e6 / 0.3 / 43.2e6, rel=1e-3)
    filling = 0.055 * 60 / 3600 / (AIR.density * DISPLACEMENT / 2)
    assert figure(sheet, "volumetric_efficiency").value == pytest.approx(filling, rel=1e-3)
    assert " / 2) = " in figure(sheet, "volumetric_efficiency").working


def test_torque_and_power_agree(sheet: FigureSheet) -> None:
    assert figure(sheet, "torque_power_consistency").value == pytest.approx(1.0, abs=1e-3)
    assert figure(sheet, "torque_power_consistency").method.section == "Power"


def test_a_two_stroke_fires_every_turn(tmp_path: Path) -> None:
    sheet = sheet_of(tmp_path, one_pull(), {"a.csv": log_of()}, cycle="two-stroke")
    torque = figure(sheet, "peak_torque").value
    assert figure(sheet, "bmep").value == pytest.approx(2 * math.pi * torque / DISPLACEMENT)
    assert "2π × " in figure(sheet, "bmep").working


def test_the_best_pull_stands_for_the_whole(tmp_path: Path) -> None:
    record = one_pull() + "  - {name: second, file: dyno/b.csv}\n"
    logs = {"a.csv": log_of(), "b.csv": log_of(torque_curve(RPM, 128.0, 4200.0))}
    sheet = sheet_of(tmp_path, record, logs)
    assert sheet.session is not None
    assert sheet.session.best is not None
    assert sheet.session.best.name == "second"
    torque, speed = figure(sheet, "peak_torque"), figure(sheet, "peak_torque_speed")
    assert torque.value == pytest.approx(sheet.session.best.peaks.torque.value)
    assert speed.value == pytest.approx(sheet.session.best.peaks.torque.speed)
    assert [position.label for position in torque.positions] == ["second", "first"]
    assert torque.working.startswith("second: ")
    assert torque.positions[1].value > torque.value


def test_the_raw_peak_stands_beside_the_smoothed_one_and_a_spike_is_neither(tmp_path: Path) -> None:
    torque = torque_curve(RPM) + np.random.default_rng(3).normal(0, 0.5, RPM.size)
    torque[20] += 25.0
    sheet = sheet_of(tmp_path, one_pull(), {"a.csv": csv_of({"rpm": RPM, "Torque (N m)": torque})})
    factor = SAE_J1349.factor(AIR)
    kept = np.delete(torque, 20)
    assert figure(sheet, "raw_peak_torque").value == pytest.approx(kept.max() * factor, rel=1e-5)
    assert figure(sheet, "peak_torque").value < figure(sheet, "raw_peak_torque").value
    assert figure(sheet, "peak_torque").value == pytest.approx(130 * factor, abs=0.6)


def test_gain_carries_its_interval(tmp_path: Path) -> None:
    record = one_pull() + "  - {name: second, file: dyno/b.csv, changed: jets, since: first}\n"
    noise = [np.random.default_rng(seed).normal(0, 0.3, RPM.size) for seed in (1, 2)]
    logs = {"a.csv": log_of(torque_curve(RPM) + noise[0]), "b.csv": log_of(torque_curve(RPM) + 5 + noise[1])}
    sheet = sheet_of(tmp_path, record, logs)
    gain = figure(sheet, "gain")
    assert sheet.session is not None
    change = sheet.session.changes[0]
    assert change.gain is not None
    assert gain.value == pytest.approx(change.gain.mean)
    assert gain.uncertainty == pytest.approx(change.gain.half_width)
    assert " ± " in gain.display
    assert gain.positions[0].label == "second against first"


def test_best_setting_is_a_figure_only_where_an_optimum_may_be_named(tmp_path: Path) -> None:
    def record(levels: list[int]) -> str:
        pulls = "".join(
            f"  - {{name: p{n}, file: dyno/{n}.csv, setting: {{name: advance, level: {n} deg}}}}\n" for n in levels
        )
        return f"readings: observed\nconditions: {DAY}\npulls:\n{pulls}"

    def logs(results: dict[int, float]) -> dict[str, str]:
        return {f"{n}.csv": log_of(torque_curve(RPM) + offset) for n, offset in results.items()}

    bent = {28: -4.0, 31: -0.25, 34: -1.0}
    rising = {28: 0.0, 31: 3.0, 34: 7.0}
    best = figure(sheet_of(tmp_path / "a", record(list(bent)), logs(bent)), "best_setting")
    assert 31 < best.value < 34
    assert best.positions[0].label == "advance [°], by peak power"
    sheet = sheet_of(tmp_path / "b", record(list(rising)), logs(rising))
    assert sheet.get("best_setting") is None
    need = next(need for need in sheet.needs if need.slug == "best_setting")
    assert "no optimum may be named" in need.needs[0]
    assert not sheet.problems


def test_repeatability_is_that_of_the_session(tmp_path: Path) -> None:
    record = one_pull() + "  - {name: again, file: dyno/b.csv, repeat_of: first}\n"
    logs = {"a.csv": log_of(), "b.csv": log_of(torque_curve(RPM) + 2.0)}
    sheet = sheet_of(tmp_path, record, logs)
    expected = 2.0 * SAE_J1349.factor(AIR) / math.sqrt(2)
    assert figure(sheet, "repeatability").value == pytest.approx(expected, rel=2e-3)


@pytest.mark.parametrize(
    ("humidity", "form"),
    [
        ("wet_bulb: 14 degC", {"wet_bulb": 287.15}),
        ("dew_point: 9 degC", {"dew_point": 282.15}),
        ("vapour_pressure: 11 mbar", {"vapour_pressure": 1100.0}),
    ],
)
def test_humidity_in_every_form(tmp_path: Path, humidity: str, form: dict[str, float]) -> None:
    air = f"{{barometer: 1000 hPa, barometer_is: station, temperature: 20 degC, {humidity}}}"
    sheet = sheet_of(tmp_path, one_pull(air), {"a.csv": log_of()})
    assert figure(sheet, "vapour_pressure").value == pytest.approx(float(vapour_pressure(1e5, 293.15, **form)))


def test_humidity_in_different_forms_in_one_session(tmp_path: Path) -> None:
    record = one_pull() + "  - {name: second, file: dyno/b.csv, conditions: {dew_point: 9 degC}}\n"
    sheet = sheet_of(tmp_path, record, {"a.csv": log_of(), "b.csv": log_of()})
    values = {position.label: position.value for position in figure(sheet, "vapour_pressure").positions}
    assert values["first"] == pytest.approx(AIR.vapour)
    assert values["second"] == pytest.approx(float(vapour_pressure(1e5, 293.15, dew_point=282.15)))


def test_without_a_session_the_figures_say_what_they_need(tmp_path: Path) -> None:
    sheet = sheet_of(tmp_path, "pulls: []\n", {})
    needs = {need.slug: need.needs for need in sheet.needs}
    for slug in (
        "peak_power",
        "peak_torque",
        "mean_torque",
        "torque_band",
        "correction_factor",
        "gain",
        "best_setting",
    ):
        assert needs[slug], slug
        assert all("dyno.yaml" in need for need in needs[slug]), slug
    assert any("fuel flow" in need for need in needs["bsfc"])
    assert not sheet.problems


def test_without_humidity_peaks_are_shown_as_logged_and_no_factor_is_claimed(tmp_path: Path) -> None:
    air = "{barometer: 1000 hPa, barometer_is: station, temperature: 20 degC}"
    sheet = sheet_of(tmp_path, one_pull(air), {"a.csv": log_of()})
    assert figure(sheet, "peak_torque").value == pytest.approx(130.0, rel=3e-4)
    assert sheet.get("correction_factor") is None
    assert "(observed, not corrected)" in figure(sheet, "peak_torque").working


# Facts of the trade: common practice, no source.


def _steady(tmp_path: Path, rpm: int, pound_feet: float, cubic_inches: float) -> FigureSheet:
    """An engine of the given size that makes one torque at all speeds up to the one in question."""
    speeds = np.arange(rpm - 1500, rpm + 1, 100)
    torque = np.full(speeds.size, pound_feet)
    horsepower = torque * LBF_FT * speeds * 2 * math.pi / 60 / HP
    log = csv_of({"rpm": speeds, "Torque (lb-ft)": torque, "Power (hp)": horsepower})
    litres = cubic_inches * 16.387064e-6
    stroke = litres / (4 * math.pi / 4 * 0.1**2) * 1000
    size = BOTTOM_END.replace("81.50", "100.0").replace("77.60", f"{stroke:.6f}")
    return sheet_of(tmp_path, one_pull(readings="sae-j1349"), {"a.csv": log}, INCH, bottom_end=size)


def test_445_pound_feet_of_397_cubic_inches_is_a_bmep_of_169_psi(tmp_path: Path) -> None:
    sheet = _steady(tmp_path, 4000, 445.0, 397.3)
    assert plain(figure(sheet, "bmep").display) == "168.9 psi"
    assert plain(figure(sheet, "displacement").display) == "397.3 cu in"


def test_413_horsepower_is_1_04_for_each_cubic_inch(tmp_path: Path) -> None:
    sheet = _steady(tmp_path, 5000, 413.0 * 5252.113 / 5000, 397.3)
    assert plain(figure(sheet, "peak_power").display) == "413.0 hp"
    assert plain(figure(sheet, "specific_power").display) == "1.04 hp/cu in"


def test_364_horsepower_at_4500_is_425_pound_feet(tmp_path: Path) -> None:
    sheet = _steady(tmp_path, 4500, 424.8, 397.3)
    assert plain(figure(sheet, "peak_power").display) == "364.0 hp"


def test_pulkrabeks_v6(tmp_path: Path) -> None:
    """205 N m at 3600 rpm from 3.0 l: 77.3 kW and 859 kPa. Pulkrabek, ex. 2-2, from memory, recomputed."""
    speeds = np.arange(2400, 3601, 100)
    log = csv_of({"rpm": speeds, "Torque (N m)": np.full(speeds.size, 205.0)})
    size = "block: {bores: 86.0245 mm}\ncrankshaft: {stroke: 86.0245 mm}\n"
    folder = tmp_path / "v6"
    build, _ = write_build(folder, one_pull(readings="sae-j1349"), {"a.csv": log}, bottom_end=size)
    six = build.build.engine.model_copy(update={"cylinders": 6})
    sheet = compute(replace(build, build=build.build.model_copy(update={"engine": six})), METRIC)
    assert figure(sheet, "peak_power").value == pytest.approx(77.3e3, rel=1e-3)
    assert figure(sheet, "bmep").value == pytest.approx(859e3, rel=1e-3)
