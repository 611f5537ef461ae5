"""Figures of the fuel: its typical properties, and the air that fuel flow and mixture imply."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from builder.engine import fuel_properties, uncertainty
from builder.engine.fuel_properties import TYPICAL_FUELS, FuelProperties
from builder.engine.validation import Array, Value, unwrap_scalar
from builder.figures.core import display_units as units
from builder.figures.core.inputs import Context, Input, recorded_value
from builder.figures.core.registry import AIR, DEFINITION, HEYWOOD_2, Definitions, unchanged
from builder.figures.core.types import GIVEN, TYPICAL, InputValue
from builder.figures.definitions.pull_inputs import fuel_per_pull, per_pull
from builder.figures.dyno.pull import PullResult, logged_lambda, metered_air
from builder.record.models.build import Build

_FUEL = "build.engine.fuel"
_FUEL_FLOWS = {"fuel_flow", "fuel_flow_volume"}
_AIR_FLOWS = {"air_flow", "air_flow_volume"}


def _logs(build: Build, channels: set[str]) -> bool:
    """Return whether a log of the session has one of these channels."""
    return any(channels & set(log.channels) for log in build.logs.values())


def _logs_mixture(build: Build) -> bool:
    has_lambda = any(slug.startswith("lambda") for log in build.logs.values() for slug in log.channels)
    return _logs(build, _FUEL_FLOWS) and (has_lambda or _logs(build, {"afr"}))


def _needs_air(build: Build) -> bool:
    has_restrictor = build.get("top_end.induction.restrictor_diameter") is not None
    return build.is_boosted or has_restrictor or _logs(build, _AIR_FLOWS)


define = Definitions(AIR, axis="pull", headline="first", applies=_needs_air)


def value_at_peak_power(pull: PullResult, values: Array | None) -> float | None:
    """Return what a pull logged or implies at peak power, between the speeds at which it is known; None where not."""
    if values is None or not np.isfinite(values).any():
        return None
    known = np.isfinite(values)
    return float(np.interp(pull.peaks.power.speed, pull.corrected.speed[known], values[known]))


define.add_inputs(
    fuel_per_pull("fuel_at_peak_power", "fuel flow at peak power",
                  lambda pull: value_at_peak_power(pull, pull.derived.get("fuel_flow_mass"))),
    per_pull("lambda_at_peak_power", "lambda at peak power", "λ", units.RATIO, "dyno.pulls (with lambda in the log)",
             lambda pull: value_at_peak_power(pull, logged_lambda(pull.channels)),
             is_uncertainty_known=False),
    per_pull("ratio_at_peak_power", "air-fuel ratio at peak power", "AFR", units.RATIO,
             "dyno.pulls (with the air-fuel ratio in the log)",
             lambda pull: value_at_peak_power(pull, pull.channels.get("afr")),
             is_uncertainty_known=False),
    per_pull("metered_air", "air by flow meter at peak power", "m_m", units.MASS_FLOW,
             "dyno.pulls (with air flow in the log)",
             lambda pull: value_at_peak_power(pull, metered_air(pull.channels, pull.conditions)),
             is_uncertainty_known=False),
)  # fmt: skip


def _typical(context: Context) -> FuelProperties | None:
    fuel = context.build.build.engine.fuel
    return TYPICAL_FUELS[fuel.kind] if fuel else None


def _own_or_typical(context: Context, item: Input, typical: float | None, relative: float) -> InputValue | None:
    """Return the record's own value, else what fuels of this kind usually have, marked so."""
    recorded = context.build.get(item.path)
    if recorded is not None:
        value = recorded_value(replace(item, provenance=GIVEN), recorded, context.shop)
        return replace(value, where=context.build.where(item.path)) if value else None
    if typical is None:
        return None
    value = item.value(
        typical,
        (item.display_unit.text(typical, context.system),),
        TYPICAL,
        contributions=uncertainty.root(item.name, relative * typical),
        where=context.build.where(_FUEL),
    )
    return replace(value, label=f"{item.label} of {context.build.get(f'{_FUEL}.kind')}")


@define.computed_input(
    "stoichiometric", "air-fuel ratio at lambda 1", "AFR_1", units.RATIO, f"{_FUEL}.stoichiometric", reads=(_FUEL,)
)
def _stoichiometric(context: Context, item: Input) -> InputValue | None:
    typical = _typical(context)
    ratio, relative = (typical.stoichiometric, typical.ratio_uncertainty) if typical else (None, 0.0)
    return _own_or_typical(context, item, ratio, relative)


@define.computed_input("heating_value", "lower heating value", "LHV", units.SPECIFIC_ENERGY, f"{_FUEL}.heating_value")
def _heating_value(context: Context, item: Input) -> InputValue | None:
    typical = _typical(context)
    heat, relative = (typical.heating_value, typical.heat_uncertainty) if typical else (None, 0.0)
    return _own_or_typical(context, item, heat, relative)


define.figure(
    "air_from_fuel",
    "Air from fuel flow and mixture",
    units.MASS_FLOW,
    source=HEYWOOD_2,
    means="Air that the fuel flow and the mixture at peak power imply, without an air flow meter.",
    formula=r"\dot m_f \, \lambda \, AFR_1 \quad \mathrm{or} \quad \dot m_f \, AFR",
    working="{fuel_at_peak_power} × {ratio_at_peak_power}",
    validity="air that passes unburned in overlap reads as a lean mixture; where build.yaml gives no air-fuel ratio at "
    "lambda 1, that of fuels of its kind is used: Heywood, app. D, from memory; blends by their parts",
    applies=_logs_mixture,
    inputs=("fuel_at_peak_power", "ratio_at_peak_power"),
)(fuel_properties.air_from_fuel)


@define.alternative("air_from_fuel", working="{fuel_at_peak_power} × {lambda_at_peak_power} × {stoichiometric}")
def air_from_fuel_and_lambda(fuel_at_peak_power: Value, lambda_at_peak_power: Value, stoichiometric: Value) -> Value:
    """Return the air that fuel flow and lambda imply [kg/s]."""
    ratio = unwrap_scalar(np.asarray(lambda_at_peak_power) * np.asarray(stoichiometric))
    return fuel_properties.air_from_fuel(fuel_at_peak_power, ratio)


define.figure(
    "air_at_peak_power",
    "Air taken in at peak power",
    units.MASS_FLOW,
    source=DEFINITION,
    means="Mass of air that the engine takes in at peak power: by flow meter, else from fuel flow and mixture.",
    formula=r"\dot m_a = \dot m_m",
    working="by flow meter: {metered_air}",
    validity="as observed on the day of the pull, not corrected",
    inputs=("metered_air",),
)(unchanged)


define.alternative(
    "air_at_peak_power", working="from fuel flow and mixture: {air_from_fuel}", inputs=("air_from_fuel",)
)(unchanged)
