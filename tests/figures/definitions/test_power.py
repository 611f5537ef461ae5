"""Figures of power: their numbers and their working, from the delivered state."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from builder.engine.correction import SAE_J1349
from builder.figures.core.types import FigureSheet
from builder.figures.evaluate import compute
from tests.support.dyno_figures import AIR, INCH, METRIC, figure, plain, sheet_of
from tests.support.dyno_samples import (
    BOTTOM_END,
    HP,
    LBF_FT,
    RPM,
    csv_of,
    log_of,
    one_pull,
    torque_curve,
    write_build,
)

DISPLACEMENT = math.pi * 0.0815**2 * 0.0776


def test_peaks_and_what_follows_from_them(sheet: FigureSheet) -> None:
    factor = SAE_J1349.factor(AIR)
    assert figure(sheet, "peak_torque").value == pytest.approx(130.0 * factor, rel=3e-4)
    assert figure(sheet, "peak_torque_speed").value * 60 == pytest.approx(3500, abs=10)
    # P = 2 pi n T of the parabola is highest where its derivative is zero.
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
    assert figure(sheet, "torque_power_consistency").description.section == "Power"


def test_a_two_stroke_fires_every_turn(tmp_path: Path) -> None:
    sheet = sheet_of(tmp_path, one_pull(), {"a.csv": log_of()}, cycle="two-stroke")
    torque = figure(sheet, "peak_torque").value
    assert figure(sheet, "bmep").value == pytest.approx(2 * math.pi * torque / DISPLACEMENT)
    assert "2π × " in figure(sheet, "bmep").working


def test_the_delivered_state_gives_the_figures(tmp_path: Path) -> None:
    record = one_pull() + "  - {name: second, file: dyno/b.csv}\ndelivered: first\n"
    logs = {"a.csv": log_of(), "b.csv": log_of(torque_curve(RPM, 128.0, 4200.0))}
    sheet = sheet_of(tmp_path, record, logs)
    assert sheet.session is not None
    assert sheet.session.delivered is not None
    assert sheet.session.best is not None
    assert (sheet.session.delivered.name, sheet.session.best.name) == ("first", "second")
    power = figure(sheet, "peak_power")
    assert power.value == pytest.approx(sheet.session.delivered.peak_power.value)
    assert power.uncertainty == pytest.approx(sheet.session.delivered.peak_power.half_width)
    assert power.positions[1].value == pytest.approx(sheet.session.best.peak_power.value)
    assert power.positions[1].value > power.value
    torque, speed = figure(sheet, "peak_torque"), figure(sheet, "peak_torque_speed")
    assert torque.value == pytest.approx(sheet.session.delivered.peaks.torque.value)
    assert speed.value == pytest.approx(sheet.session.delivered.peaks.torque.speed)
    assert [position.label for position in torque.positions] == ["first", "second"]
    assert torque.working.startswith("first: ")
    assert torque.positions[1].value < torque.value


def test_what_only_another_state_has_is_not_the_engine_as_delivered(tmp_path: Path) -> None:
    record = (
        "range: 2500..5000 rpm\n" + one_pull() + "  - {name: short, file: dyno/b.csv, changed: jets, since: first}\n"
    )
    logs = {"a.csv": log_of(), "b.csv": log_of(rpm=np.arange(2000, 4501, 100))}
    assert "mean_torque" not in sheet_of(tmp_path / "last", record, logs)
    assert (
        figure(sheet_of(tmp_path / "named", f"delivered: first\n{record}", logs), "mean_torque").positions[0].label
        == "first"
    )


def test_a_spike_is_neither_the_raw_nor_the_smoothed_peak(tmp_path: Path) -> None:
    torque = torque_curve(RPM) + np.random.default_rng(3).normal(0, 0.5, RPM.size)
    torque[20] += 25.0
    sheet = sheet_of(tmp_path, one_pull(), {"a.csv": csv_of({"rpm": RPM, "Torque (N m)": torque})})
    factor = SAE_J1349.factor(AIR)
    without_spike = np.delete(torque, 20)
    assert figure(sheet, "raw_peak_torque").value == pytest.approx(without_spike.max() * factor, rel=1e-5)
    assert figure(sheet, "peak_torque").value < figure(sheet, "raw_peak_torque").value
    assert figure(sheet, "peak_torque").value == pytest.approx(130 * factor, abs=0.6)


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
    assert plain(figure(sheet, "bmep").display) == "169 ± 2 psi"
    assert plain(figure(sheet, "displacement").display) == "397.3 cu in"


def test_413_horsepower_is_1_04_for_each_cubic_inch(tmp_path: Path) -> None:
    sheet = _steady(tmp_path, 5000, 413.0 * 5252.113 / 5000, 397.3)
    assert plain(figure(sheet, "peak_power").display) == "413 ± 5 hp"
    assert plain(figure(sheet, "specific_power").display) == "1.04 ± 0.01 hp/cu in"


def test_364_horsepower_at_4500_is_425_pound_feet(tmp_path: Path) -> None:
    sheet = _steady(tmp_path, 4500, 424.8, 397.3)
    assert plain(figure(sheet, "peak_power").display) == "364 ± 4 hp"


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
