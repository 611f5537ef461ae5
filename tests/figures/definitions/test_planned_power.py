"""What a wanted power takes before the engine runs: fuel, injectors, a restrictor; lash by shims."""

from __future__ import annotations

from pathlib import Path

import pytest

from builder.engine import breathing
from builder.engine.constants import MECHANICAL_HORSEPOWER, POUND
from tests.support.figure_records import V8, figure_of, sheet_of

PLANNED = """
    title: Track four
    status: planned
    goals: {power: 250 hp}
    engine: {cylinders: 4, fuel: gasoline}
"""
INJECTED = """
    induction: {restrictor_diameter: 34 mm, injectors: {count: 4, flow: 42 lb/h, rated_pressure: 3 bar}}
"""


def test_fuel_for_the_power_wanted(tmp_path: Path) -> None:
    """305 g/kWh is 0.50 lb/(hp h): 250 hp take 125 lb/h."""
    flow = figure_of(tmp_path, "planned_fuel_flow", {"build": PLANNED, "top_end": INJECTED})
    assert flow.value == pytest.approx(125 * POUND / 3600, rel=0.005)


def test_another_fuel_counts_by_its_heating_value(tmp_path: Path) -> None:
    on_e85 = {"build": PLANNED.replace("gasoline", "E85"), "top_end": INJECTED}
    ratio = figure_of(tmp_path, "planned_fuel_flow", on_e85).value / (125 * POUND / 3600)
    assert 1.35 < ratio < 1.6


def test_injectors_for_the_power_wanted(tmp_path: Path) -> None:
    """125 lb/h over four injectors at 85 % are 36.8 lb/h each."""
    size = figure_of(tmp_path, "injector_size_needed", {"build": PLANNED, "top_end": INJECTED})
    assert size.value == pytest.approx(125 / 4 / 0.85 * POUND / 3600, rel=0.005)


def test_without_a_power_goal_there_is_none(tmp_path: Path) -> None:
    sheet = sheet_of(tmp_path, {**V8, "top_end": INJECTED})
    assert "planned_fuel_flow" not in sheet
    assert "injector_size_needed" not in sheet


def test_a_restrictor_before_the_dyno_is_judged_in_standard_air(tmp_path: Path) -> None:
    """34 mm at 1013.25 hPa and 15 C: 0.2189 kg/s, from memory of 241 kg/(s m2) at that state."""
    flow = figure_of(tmp_path, "restrictor_choked_flow", {"build": PLANNED, "top_end": INJECTED})
    assert flow.value == pytest.approx(0.2189, rel=2e-3)
    assert "standard air" in flow.working


def test_the_fuel_of_a_power_is_power_times_consumption() -> None:
    flow = breathing.fuel_for_power(100 * MECHANICAL_HORSEPOWER, 305 / 3.6e9, 22e6, 44e6)
    assert flow == pytest.approx(2 * 100 * MECHANICAL_HORSEPOWER * 305 / 3.6e9)
    with pytest.raises(ValueError, match="greater than zero"):
        breathing.fuel_for_power(1.0, 0.0, 1.0, 1.0)


def test_lash_of_every_valve_where_shims_set_it(tmp_path: Path) -> None:
    documents = {
        "build": PLANNED,
        "cam": "lifters: {kind: bucket, intake_shims: {unit: mm, measured: [2.50, 2.55, 2.50, 2.60]}}\n",
        "assembly": "checks: {intake_lash: {unit: mm, measured: [0.20, 0.24, 0.27, 0.18]}}\n",
    }
    lash = figure_of(tmp_path, "intake_lash", documents)
    assert [position.value for position in lash.positions] == pytest.approx([0.20e-3, 0.24e-3, 0.27e-3, 0.18e-3])
    assert "exhaust_lash" not in sheet_of(tmp_path, documents)
