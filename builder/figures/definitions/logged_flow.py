"""Figures of fuel and air flow as logged on the dyno: injector duty and volumetric efficiency."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from builder.engine import breathing
from builder.engine.fuel_properties import TYPICAL_FUELS, air_from_fuel
from builder.engine.validation import Array, Value, unwrap_scalar
from builder.figures.core import display_units as units
from builder.figures.core.display_units import join_unit, written_text
from builder.figures.core.inputs import Context, Input, recorded_value
from builder.figures.core.registry import AIR, COMMON_PRACTICE, HEYWOOD_2, Definitions
from builder.figures.core.types import GIVEN, LISTED, InputValue
from builder.figures.definitions.pull_inputs import fuel_per_pull, per_pull, with_typical_density
from builder.figures.dyno.pull import PullResult, logged_lambda, metered_air
from builder.figures.review.guideline_defaults import guideline_value
from builder.record.models.build import Build
from builder.record.models.goals import Goals, Target
from builder.record.quantities.readings import Reading
from builder.record.quantities.units import Quantity

define = Definitions(AIR)

_AIR_FLOW_LOG = "dyno.pulls (with air flow in the log, or fuel flow with AFR or lambda)"


def _fullest(pull: PullResult) -> int | None:
    """Return the row at which the cylinders fill best; None where the air is not known."""
    filling = pull.derived.get("volumetric_efficiency")
    return None if filling is None or not np.isfinite(filling).any() else int(np.nanargmax(filling))


def _when_fullest(pull: PullResult, values: Array | None) -> float | None:
    row = _fullest(pull)
    return None if row is None or values is None or not np.isfinite(values[row]) else float(values[row])


def _speed_when_fullest(pull: PullResult) -> float | None:
    row = _fullest(pull)
    return None if row is None else float(pull.corrected.speed[row])


def _pulse_at_peak_power(pull: PullResult) -> float | None:
    pulse = pull.channels.get("injector_pulse")
    return None if pulse is None else pull.corrected.at(pulse, pull.peaks.power.speed)


define.add_inputs(
    Input("injectors", "injectors", "k", units.COUNT, "top_end.induction.injectors.count", provenance=GIVEN),
    Input("injector_pressure", "pressure of the injectors' rating", "p_r", units.PRESSURE,
          "top_end.induction.injectors.rated_pressure", provenance=LISTED),
    Input("injector_pulses", "pulses of one injector in a cycle", "i", units.COUNT,
          "top_end.induction.injectors.pulses_per_cycle", provenance=GIVEN),
    Input("fuel_pumps", "fuel pumps", "k_p", units.COUNT, "top_end.induction.fuel_pump.count", provenance=GIVEN),
    per_pull("pulse_at_peak_power", "injector pulse at peak power", "t_i", units.PULSE,
             "dyno.pulls (with the injector pulse in the log)", _pulse_at_peak_power,
             is_uncertainty_known=False),
    per_pull("fullest_air", "air taken in where the cylinders fill best", "m_a", units.MASS_FLOW, _AIR_FLOW_LOG,
             lambda pull: _when_fullest(pull, metered_air(pull.channels, pull.conditions)),
             is_uncertainty_known=False),
    fuel_per_pull("fullest_fuel", "fuel flow where the cylinders fill best",
                  lambda pull: _when_fullest(pull, pull.derived.get("fuel_flow_mass"))),
    per_pull("fullest_lambda", "lambda there", "λ", units.RATIO, "dyno.pulls (with lambda in the log)",
             lambda pull: _when_fullest(pull, logged_lambda(pull.channels)),
             is_uncertainty_known=False),
    per_pull("fullest_ratio", "air-fuel ratio there", "AFR", units.RATIO,
             "dyno.pulls (with the air-fuel ratio in the log)",
             lambda pull: _when_fullest(pull, pull.channels.get("afr")),
             is_uncertainty_known=False),
    per_pull("fullest_speed", "speed there", "n", units.SPEED, _AIR_FLOW_LOG, _speed_when_fullest),
)  # fmt: skip


@define.computed_input(
    "injector_flow",
    "flow of one injector",
    "m_i",
    units.MASS_FLOW,
    "top_end.induction.injectors.flow",
    hint="top_end.yaml: induction.injectors.flow (rated by volume: build.yaml, engine.fuel too)",
    reads=("top_end.induction.injectors", "build.engine.fuel"),
)
def _injector_flow(context: Context, item: Input) -> InputValue | None:
    return _flow_by_mass(context, item)


def _flow_by_mass(context: Context, item: Input) -> InputValue | None:
    """Return the rated flow by mass; one by volume times the density of the fuel, else that typical of its kind."""
    flow = context.build.get(item.path)
    if not isinstance(flow, Quantity):
        return None
    where = context.build.where(item.path)
    if flow.dimension != "volume flow":
        return item.value(flow.si, (written_text(flow),), LISTED, where=where)
    fuel = context.build.build.engine.fuel
    recorded = fuel.density if fuel else None
    density = recorded.si if recorded else TYPICAL_FUELS[fuel.kind].density if fuel else None
    if density is None:
        return None
    text = written_text(recorded) if recorded else join_unit(f"{density:.4g}", "kg/m³")
    value = item.value(flow.si * density, (f"({written_text(flow)} × {text})",), LISTED, where=where)
    return with_typical_density(value, context.build)


@define.computed_input(
    "fuel_pump_flow",
    "flow of one fuel pump",
    "m_p",
    units.MASS_FLOW,
    "top_end.induction.fuel_pump.flow",
    hint="top_end.yaml: induction.fuel_pump.flow (by volume: build.yaml, engine.fuel too)",
)
def _fuel_pump_flow(context: Context, item: Input) -> InputValue | None:
    return _flow_by_mass(context, item)


@define.computed_input(
    "fuel_pressure", "fuel pressure", "p", units.PRESSURE, "delivery.settings.fuel_pressure",
    reads=("delivery.settings.fuel_pressure",),
)  # fmt: skip
def _fuel_pressure(context: Context, item: Input) -> InputValue | None:
    reading = context.build.get(item.path)
    if not isinstance(reading, Reading) or reading.dimension != "pressure":
        return None
    value = recorded_value(item, reading, context.shop)
    return replace(value, where=context.build.where(item.path)) if value else None


def _has_duty(build: Build) -> bool:
    """Return whether electric injectors may spray through most of the cycle: not those into the cylinder."""
    engine = build.build.engine
    return engine.ignition == "spark" and engine.fuel_system not in (
        "carburetor",
        "direct injection",
        "mechanical injection",
    )


@define.figure(
    "injector_duty",
    "Injector duty",
    units.WHOLE_PERCENT,
    source=COMMON_PRACTICE,
    applies=_has_duty,
    axis="pull",
    headline="first",
    means="Share of the time the injectors are open at peak power; above 85 % leaves little reserve.",
    formula=r"\frac{\dot m_f}{k \, \dot m_i \sqrt{p / p_r}} \quad \mathrm{or} \quad t_i \, n \, i / r",
    working="{fuel_at_peak_power} / ({injectors} × {injector_flow} × √({fuel_pressure} / {injector_pressure}))",
    validity="fuel flow as logged at peak power; pressure across the injector taken as the fuel pressure; a "
    "rating by volume counts at the density of the fuel, not of the rig's fluid; without a "
    "fuel flow, the injector pulse as logged, the time it takes to open counted in",
)
def injector_duty(
    fuel_at_peak_power: Value, injector_flow: Value, injectors: Value, fuel_pressure: Value, injector_pressure: Value
) -> Value:
    """Return the share of the time that the injectors are open at peak power [1]."""
    flow = breathing.flow_at_depression(injector_flow, injector_pressure, fuel_pressure)
    return breathing.injector_duty(fuel_at_peak_power, flow, round(float(np.mean(injectors))))


@define.alternative(
    "injector_duty", working="{fuel_at_peak_power} / ({injectors} × {injector_flow}), at the rated pressure"
)
def injector_duty_as_rated(fuel_at_peak_power: Value, injector_flow: Value, injectors: Value) -> Value:
    """Return the share of the time that the injectors are open, at the pressure of their rating [1]."""
    return breathing.injector_duty(fuel_at_peak_power, injector_flow, round(float(np.mean(injectors))))


@define.alternative(
    "injector_duty",
    working="{pulse_at_peak_power} × {speed_of_peak_power} × {injector_pulses} / {revolutions_per_cycle}",
)
def injector_duty_from_pulse(
    pulse_at_peak_power: Value, speed_of_peak_power: Value, injector_pulses: Value, revolutions_per_cycle: Value
) -> Value:
    """Return the share of the time that the injectors are open at peak power, from the length of their pulse [1]."""
    often = np.asarray(injector_pulses) / np.asarray(revolutions_per_cycle)
    return breathing.injector_duty_from_pulse(pulse_at_peak_power, speed_of_peak_power, unwrap_scalar(often))


def _has_injectors(build: Build) -> bool:
    return build.get("top_end.induction.injectors") is not None


@define.figure(
    "injector_flow_at_pressure",
    "Injector flow at the fuel pressure",
    units.MASS_FLOW,
    source="Bernoulli",
    means="Flow of one injector held open at the fuel pressure of this engine, which is seldom that of its rating.",
    formula=r"\dot m_i \, \sqrt{p / p_r}",
    working="{injector_flow} × √({fuel_pressure} / {injector_pressure})",
    validity="pressure across the injector taken as the fuel pressure; boost in the manifold takes from it",
    applies=_has_injectors,
)
def injector_flow_at_pressure(injector_flow: Value, fuel_pressure: Value, injector_pressure: Value) -> Value:
    """Return the flow of one injector at the fuel pressure [kg/s]."""
    return breathing.flow_at_depression(injector_flow, injector_pressure, fuel_pressure)


@define.computed_input(
    "injector_duty_allowed", "highest injector duty", "D", units.WHOLE_PERCENT, "top_end.induction.injectors"
)
def _injector_duty_allowed(context: Context, item: Input) -> InputValue | None:
    """Return the shop's guideline, or that of common practice; None where it is set to nothing."""
    rule = guideline_value(context.shop, "most_injector_duty")
    return item.value(rule.value, (item.display_unit.text(rule.value, context.system),), GIVEN) if rule.value else None


def _plans_power(build: Build) -> bool:
    goals = build.build.goals
    return not build.pulls and goals is not None and _power_wanted(goals) is not None


def _power_wanted(goals: Goals) -> Target | None:
    """Return the highest power that the goals ask for at least; None where they ask for none."""
    wanted = [target for target in goals.read_targets if target.quantity == "power" and target.minimum is not None]
    return max(wanted, key=lambda target: target.minimum or 0.0, default=None)


@define.computed_input(
    "power_wanted", "power wanted", "P_w", units.POWER, "build.goals.targets", reads=("build.goals",),
    hint="build.yaml: goals, targets: power",
)  # fmt: skip
def _power_wanted_input(context: Context, item: Input) -> InputValue | None:
    """Return the power that the goals ask for; none of an engine that was on the dyno, which shows what it takes."""
    goals = context.build.build.goals
    target = _power_wanted(goals) if goals and not context.build.pulls else None
    if target is None or target.minimum is None:
        return None
    return item.value(target.minimum, (written_text(target.wanted[0]),), GIVEN, where=context.build.where(item.path))


@define.computed_input(
    "planned_bsfc", "fuel for each unit of energy, planned", "b", units.SPECIFIC_FUEL, "build.goals.targets"
)
def _planned_bsfc(context: Context, item: Input) -> InputValue | None:
    """Return the shop's guideline, or that of common practice, for gasoline; None where it is set to nothing."""
    rule = guideline_value(context.shop, "planned_bsfc")
    value = rule.value / _GRAMS_PER_KWH
    return item.value(value, (item.display_unit.text(value, context.system),), GIVEN) if rule.value > 0 else None


_GRAMS_PER_KWH = 3.6e9
"""g/kWh in one kg/J."""


@define.figure(
    "planned_fuel_flow",
    "Fuel flow for the power wanted",
    units.MASS_FLOW,
    source=COMMON_PRACTICE,
    means="Fuel that the power asked for takes, to choose injectors and pump by before the engine runs.",
    formula=r"P_w \, b \, \frac{H_0}{LHV}",
    symbols=(("H_0", "lower heating value of gasoline", "J/kg"),),
    working="{power_wanted} × {planned_bsfc} × lower heating value of gasoline / {heating_value}",
    validity="a rule of thumb for full power, to be replaced by the fuel flow on the dyno; the consumption is set in "
    "shop.yaml, guidelines.planned_bsfc",
    applies=_plans_power,
)
def planned_fuel_flow(power_wanted: Value, planned_bsfc: Value, heating_value: Value) -> Value:
    """Return the fuel that the power wanted takes [kg/s]."""
    gasoline = TYPICAL_FUELS["gasoline"].heating_value
    assert gasoline is not None  # the table has one for gasoline
    return breathing.fuel_for_power(power_wanted, planned_bsfc, heating_value, gasoline)


@define.figure(
    "injector_size_needed",
    "Injector size needed",
    units.MASS_FLOW,
    source=COMMON_PRACTICE,
    axis="pull",
    headline="first",
    means="Flow that one injector needs at the fuel pressure to give the fuel of peak power at the highest duty.",
    formula=r"\frac{\dot m_f}{k \, D}",
    working="{fuel_at_peak_power} / ({injectors} × {injector_duty_allowed})",
    validity="fuel flow as logged at peak power; the highest duty is the shop's guideline or common practice; not for "
    "injectors into the cylinder, which spray for a small part of the cycle",
    applies=lambda build: _has_injectors(build) and _has_duty(build),
)
def injector_size_needed(fuel_at_peak_power: Value, injectors: Value, injector_duty_allowed: Value) -> Value:
    """Return the flow that one injector needs [kg/s]."""
    return breathing.injector_size_needed(fuel_at_peak_power, round(float(np.mean(injectors))), injector_duty_allowed)


@define.alternative("injector_size_needed", working="{planned_fuel_flow} / ({injectors} × {injector_duty_allowed})")
def injector_size_planned(planned_fuel_flow: Value, injectors: Value, injector_duty_allowed: Value) -> Value:
    """Return the flow that one injector needs for the power wanted [kg/s]."""
    return breathing.injector_size_needed(planned_fuel_flow, round(float(np.mean(injectors))), injector_duty_allowed)


def _has_fuel_pump(build: Build) -> bool:
    return build.get("top_end.induction.fuel_pump") is not None


@define.figure(
    "fuel_pump_margin",
    "Fuel pump flow over fuel needed",
    units.INDEX,
    source=COMMON_PRACTICE,
    axis="pull",
    headline="first",
    means="What the fuel pump delivers at its stated pressure over the fuel that the engine takes at peak power.",
    formula=r"k_p \, \dot m_p / \dot m_f",
    working="{fuel_pumps} × {fuel_pump_flow} / {fuel_at_peak_power}",
    validity="fuel flow as logged at peak power; a pump gives less against more pressure and at less voltage: its "
    "flow counts at the pressure of the rail, with boost on top where the regulator follows it",
    applies=_has_fuel_pump,
)
def fuel_pump_margin(fuel_pump_flow: Value, fuel_at_peak_power: Value, fuel_pumps: Value = 1.0) -> Value:
    """Return the flow of all fuel pumps over the fuel taken at peak power [1]."""
    return unwrap_scalar(np.asarray(fuel_pumps) * np.asarray(fuel_pump_flow) / np.asarray(fuel_at_peak_power))


@define.figure(
    "volumetric_efficiency",
    "Volumetric efficiency (on outside air)",
    units.PERCENT,
    source=HEYWOOD_2,
    axis="pull",
    headline="first",
    means="Air taken in over the outside air that the swept volume would hold, at its best speed; boost raises it.",
    formula=r"\frac{\dot m_a}{\rho \, V_d \, n / r}",
    symbols=(
        (r"\rho", "density of the air outside", "kg/m^3"),
        ("V_d", "displacement", "m^3"),
    ),
    working="{fullest_air} / ({air_density} × {displacement} × {fullest_speed} / {revolutions_per_cycle})",
    validity="air by flow meter, or fuel flow times air-fuel ratio, which includes unburned fuel",
)
def volumetric_efficiency(
    fullest_air: Value, air_density: Value, displacement: Value, fullest_speed: Value, revolutions_per_cycle: Value
) -> Value:
    """Return the highest volumetric efficiency of each pull [-]."""
    revolutions = round(float(np.mean(revolutions_per_cycle)))
    return breathing.volumetric_efficiency(fullest_air, air_density, displacement, fullest_speed, revolutions)


@define.alternative(
    "volumetric_efficiency",
    working="{fullest_fuel} × {fullest_ratio} / ({air_density} × {displacement} × {fullest_speed}"
    " / {revolutions_per_cycle})",
)
def volumetric_efficiency_from_ratio(
    fullest_fuel: Value,
    fullest_ratio: Value,
    air_density: Value,
    displacement: Value,
    fullest_speed: Value,
    revolutions_per_cycle: Value,
) -> Value:
    """Return the highest volumetric efficiency from fuel flow and air-fuel ratio [-]."""
    air = air_from_fuel(fullest_fuel, fullest_ratio)
    return volumetric_efficiency(air, air_density, displacement, fullest_speed, revolutions_per_cycle)


@define.alternative(
    "volumetric_efficiency",
    working="{fullest_fuel} × {fullest_lambda} × {stoichiometric} / ({air_density} × {displacement} × {fullest_speed}"
    " / {revolutions_per_cycle})",
)
def volumetric_efficiency_from_lambda(
    fullest_fuel: Value,
    fullest_lambda: Value,
    stoichiometric: Value,
    air_density: Value,
    displacement: Value,
    fullest_speed: Value,
    revolutions_per_cycle: Value,
) -> Value:
    """Return the highest volumetric efficiency from fuel flow and lambda [-]."""
    ratio = unwrap_scalar(np.asarray(fullest_lambda) * np.asarray(stoichiometric))
    air = air_from_fuel(fullest_fuel, ratio)
    return volumetric_efficiency(air, air_density, displacement, fullest_speed, revolutions_per_cycle)
