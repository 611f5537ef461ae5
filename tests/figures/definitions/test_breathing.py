"""Breathing from a complete record: demand, induction, the flow bench card, what the heads could support."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from scipy import integrate

from builder.figures.core.inputs import Context
from builder.figures.definitions import REGISTRY
from builder.figures.evaluate import compute
from builder.record.load import read_build
from builder.record.models.shop import Shop
from tests.support.dyno_samples import log_of, one_pull, write_build
from tests.support.figure_records import CAM, TOP_END, V8, figure_of, read, sheet_of

INCH, CFM, INCH_OF_WATER, HP = 0.0254, 0.3048**3 / 60, 249.08891, 745.6998715822702

BENCH = TOP_END.replace(
    "exhaust_valve:",
    """flow_bench:
        depression: 10 inH2O
        intake:
          - {lift: 0.400 in, flow: 130 cfm}
          - {lift: 0.200 in, flow: 75 cfm}
          - {lift: 0.600 in, flow: 150 cfm}
      intake_port_area: 2.05 sq in
      exhaust_valve:""",
)
CARBURETTOR = (
    TOP_END
    + """
    induction: {rated_flow: 600 cfm, rated_depression: 1.5 inHg, allowed_depression: 2.0 inHg}
"""
)


def test_bench_flow_moved_to_the_common_depression(tmp_path: Path) -> None:
    flow = figure_of(tmp_path, "flow_at_depression", {**V8, "top_end": BENCH})
    labels = [position.label.replace("\N{NO-BREAK SPACE}", " ") for position in flow.positions]
    assert labels == ["0.200 in", "0.400 in", "0.600 in"]  # in the order of lift, however the card was written
    expected = [q * CFM * math.sqrt(2.8) for q in (75, 130, 150)]
    assert [p.value for p in flow.positions] == pytest.approx(expected)
    assert flow.value == pytest.approx(expected[-1])


def test_discharge_coefficient_on_the_curtain(tmp_path: Path) -> None:
    figure = figure_of(tmp_path, "discharge_coefficient", {**V8, "top_end": BENCH})
    velocity = math.sqrt(2 * 10 * INCH_OF_WATER / 1.204)
    by_hand = [
        q * CFM / (math.pi * 1.940 * lift * INCH**2 * velocity) for lift, q in ((0.2, 75), (0.4, 130), (0.6, 150))
    ]
    assert [p.value for p in figure.positions] == pytest.approx(by_hand)


def test_two_valves_share_the_port(tmp_path: Path) -> None:
    one = figure_of(tmp_path, "discharge_coefficient", {**V8, "top_end": BENCH})
    pair = BENCH.replace("intake_valve: {diameter: 1.940 in}", "intake_valve: {diameter: 1.940 in, per_cylinder: 2}")
    two = figure_of(tmp_path, "discharge_coefficient", {**V8, "top_end": pair})
    assert two.value == pytest.approx(one.value / 2)


def test_heads_are_compared_at_the_lift_the_cam_gives(tmp_path: Path) -> None:
    lift = 0.335 * 1.6
    ceiling = figure_of(tmp_path, "head_flow_ceiling", {**V8, "top_end": BENCH})
    flow = np.interp(lift, [0.4, 0.6], [130, 150]) * math.sqrt(2.8)
    assert ceiling.value == pytest.approx(0.257 * flow * 8 * HP)
    without_cam = {name: text for name, text in V8.items() if name != "cam"}
    most = figure_of(tmp_path / "other", "head_flow_ceiling", {**without_cam, "top_end": BENCH})
    assert most.value == pytest.approx(0.257 * 150 * math.sqrt(2.8) * 8 * HP)
    assert float(ceiling.display.split("\N{NO-BREAK SPACE}")[0]) % 10 == 0  # a rule of thumb shows no false digits


def test_the_rule_for_heads_is_not_applied_to_other_fuels_and_nitrous_oxide(tmp_path: Path) -> None:
    methanol = {
        **V8,
        "top_end": BENCH,
        "build": V8["build"].replace("fuel: petrol", "fuel: methanol"),
    }
    assert "head_flow_ceiling" not in sheet_of(tmp_path, methanol)
    nitrous = BENCH + "    induction: {nitrous: {kind: with its own fuel}}\n"
    assert "head_flow_ceiling" not in sheet_of(tmp_path / "nitrous", {**V8, "top_end": nitrous})


def test_headroom_at_the_depression_that_is_allowed(tmp_path: Path) -> None:
    sheet = sheet_of(tmp_path, {**V8, "top_end": CARBURETTOR})
    demand = sheet.value("air_demand")
    assert demand == pytest.approx(sheet.value("displacement") * 100 / 2)
    assert sheet.value("induction_headroom") == pytest.approx(600 * CFM * math.sqrt(2.0 / 1.5) / demand)


def test_without_a_depression_the_rating_counts_as_stated(tmp_path: Path) -> None:
    bare = TOP_END + "    induction: {rated_flow: 600 cfm}\n"
    sheet = sheet_of(tmp_path, {**V8, "top_end": bare})
    figure = sheet.get("induction_headroom")
    assert figure is not None
    assert figure.value == pytest.approx(600 * CFM / (sheet.value("air_demand") or 0))
    assert "at the rated pressure drop" in figure.working


def test_port_velocity_by_continuity(tmp_path: Path) -> None:
    sheet = sheet_of(tmp_path, {**V8, "top_end": BENCH})
    piston = sheet.value("mean_piston_speed")
    bores = [4.0305, 4.0304, 4.0306, 4.0305, 4.0303, 4.0305, 4.0306, 4.0304]
    area = math.pi / 4 * np.mean(bores) ** 2
    assert sheet.value("mean_port_velocity") == pytest.approx(area * (piston or 0) / 2.05)


def test_mach_index_needs_the_air_it_breathed(tmp_path: Path) -> None:
    needs = {need.slug: need.needs for need in sheet_of(tmp_path, {**V8, "top_end": BENCH}).needs}
    assert needs["inlet_mach_index"] == ("dyno.yaml: conditions.temperature",)


def test_injector_duty_from_the_pulse_that_was_logged(tmp_path: Path) -> None:
    rpm = np.arange(2000, 6001, 100)
    log = log_of(rpm=rpm, **{"Injector pulse width (ms)": 4.0 + rpm / 1000})
    build, problems = write_build(tmp_path, one_pull(), {"a.csv": log})
    assert not problems
    without = compute(build, Shop())
    (needs,) = [need.needs for need in without.needs if need.slug == "injector_duty"]
    assert needs  # how often an injector opens in a cycle is not guessed
    (build.folder / "top_end.yaml").write_text("induction: {injectors: {count: 4, pulses_per_cycle: 2}}\n")
    again, _ = read_build(build.folder, tmp_path)
    assert again is not None
    sheet = compute(again, Shop())
    duty, speed = sheet.get("injector_duty"), sheet.value("peak_power_speed")
    assert duty is not None
    assert speed is not None
    # Twice in two revolutions: once in each.
    assert duty.value == pytest.approx((4.0 + 0.06 * speed) * 1e-3 * speed, rel=1e-3)


def test_an_injector_rated_by_volume_counts_at_the_fuels_density(tmp_path: Path) -> None:
    """440 cc/min of fuel at 750 kg/m3 is 5.5 g/s; without the density it rests on a typical one."""
    rpm = np.arange(2000, 6001, 100)
    log = log_of(rpm=rpm, **{"Fuel flow (kg/h)": 10 + rpm / 1000})
    build, problems = write_build(tmp_path, one_pull(), {"a.csv": log})
    assert not problems
    (build.folder / "top_end.yaml").write_text("induction: {injectors: {count: 4, flow: 440 cc/min}}\n")
    bases = {}
    for density in ("", "density: 750 kg/m3"):
        sheet_text = f"title: T\nengine: {{cylinders: 4, fuel: {{kind: petrol, {density}}}}}\n"
        (build.folder / "build.yaml").write_text(sheet_text)
        again, more = read_build(build.folder, tmp_path)
        assert not more
        assert again is not None
        sheet = compute(again, Shop())
        bases[density] = sheet["injector_duty"].basis
    assert bases[""] == "typical"
    assert bases["density: 750 kg/m3"] != "typical"
    duty, speed = sheet.value("injector_duty"), sheet.value("peak_power_speed")
    assert speed is not None
    assert duty == pytest.approx((10 + speed * 60 / 1000) / 3600 / (4 * 440e-6 / 60 * 750), rel=1e-3)


@pytest.mark.parametrize("engine", ["ignition: compression", "fuel_system: direct injection"])
def test_injectors_into_the_cylinder_have_no_duty(tmp_path: Path, engine: str) -> None:
    """They spray for some tens of degrees of 720: 85 % of the cycle means nothing. Common practice, no source."""
    rpm = np.arange(2000, 6001, 100)
    build, _ = write_build(tmp_path, one_pull(), {"a.csv": log_of(rpm=rpm, **{"Fuel flow (kg/h)": 10 + rpm / 1000})})
    (build.folder / "build.yaml").write_text(f"title: T\nengine: {{cylinders: 4, {engine}}}\n")
    (build.folder / "top_end.yaml").write_text("induction: {injectors: {count: 4, flow: 20 kg/h}}\n")
    again, _ = read_build(build.folder, tmp_path)
    assert again is not None
    sheet = compute(again, Shop())
    slugs = set(sheet) | {need.slug for need in sheet.needs}
    assert not {"injector_duty", "injector_size_needed"} & slugs


def test_injector_size_needed_and_flow_at_the_fuel_pressure(tmp_path: Path) -> None:
    rpm = np.arange(2000, 6001, 100)
    build, _ = write_build(tmp_path, one_pull(), {"a.csv": log_of(rpm=rpm, **{"Fuel flow (kg/h)": 10 + rpm / 1000})})
    injectors = "{count: 4, flow: 20 kg/h, rated_pressure: 3 bar}"
    (build.folder / "top_end.yaml").write_text(f"induction: {{injectors: {injectors}}}\n")
    (build.folder / "delivery.yaml").write_text("settings: {fuel_pressure: 4 bar}\n")
    again, _ = read_build(build.folder, tmp_path)
    assert again is not None
    sheet = compute(again, Shop.model_validate({"guidelines": {"most_injector_duty": 0.80}}))
    assert sheet.value("injector_flow_at_pressure") == pytest.approx(20 / 3600 * (4 / 3) ** 0.5)
    speed, size = sheet.value("peak_power_speed"), sheet.value("injector_size_needed")
    assert speed is not None
    assert size == pytest.approx((10 + speed * 60 / 1000) / 3600 / (4 * 0.80), rel=1e-3)


def test_without_a_bench_nothing_is_guessed(tmp_path: Path) -> None:
    sheet = sheet_of(tmp_path, {**V8, "cam": CAM})
    needs = {need.slug: need.needs for need in sheet.needs}
    assert needs["head_flow_ceiling"] == ("top_end.yaml: heads.flow_bench.intake",)
    assert "flow_at_depression" not in sheet


def test_the_mean_flow_coefficient_agrees_with_scipys_integral(tmp_path: Path) -> None:
    """SciPy: adaptive quadrature of the coefficient over a half-sine lift, between the points of the card."""
    context = Context(read(tmp_path, {**V8, "top_end": BENCH}), Shop(), REGISTRY)
    found = context.input("mean_flow_coefficient")
    assert found is not None
    full, area = 0.335 * 1.6 * INCH, math.pi / 4 * (1.940 * INCH) ** 2
    velocity = math.sqrt(2 * 10 * INCH_OF_WATER / 1.204)
    lifts, flows = np.array([0, 0.2, 0.4, 0.6]) * INCH, np.array([0, 75, 130, 150]) * CFM
    corners = [math.asin(lift / full) for lift in lifts[1:] if lift < full]
    integral, _ = integrate.quad(
        lambda angle: np.interp(full * math.sin(angle), lifts, flows) / (area * velocity),
        0,
        math.pi,
        points=[*corners, *(math.pi - corner for corner in corners)],
    )
    assert float(np.asarray(found.values)) == pytest.approx(integral / math.pi, rel=2e-5)
