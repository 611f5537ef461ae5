"""Figures of forced induction and of a restrictor: charge, compressor flow, and the most air there can be."""

from __future__ import annotations

import numpy as np

from builder.engine import boost, breathing
from builder.engine.air import STANDARD_TEMPERATURE
from builder.engine.constants import STANDARD_ATMOSPHERE
from builder.engine.validation import Value, unwrap_scalar
from builder.figures.core import display_units as units
from builder.figures.core.inputs import Context, Input
from builder.figures.core.registry import AIR, COMMON_PRACTICE, DEFINITION, HEYWOOD_2, Definitions
from builder.figures.core.types import GIVEN, MEASURED, InputValue
from builder.figures.definitions.pull_inputs import per_pull, session_of
from builder.figures.dyno.pull import PullResult
from builder.record.models.build import Build

_INDUCTION = "top_end.induction"
_BOOST_LOG = "dyno.pulls (with boost or manifold pressure in the log) or top_end.yaml: induction.boost"
_CHARGE_LOG = "dyno.pulls (with the charge temperature in the log) or top_end.yaml: induction.charge_temperature"


def _is_boosted(build: Build) -> bool:
    return build.is_boosted


def _has_restrictor(build: Build) -> bool:
    return build.get(f"{_INDUCTION}.restrictor_diameter") is not None


define = Definitions(AIR, axis="pull", headline="first", applies=_is_boosted)


def _boost_at_peak_power(pull: PullResult) -> float | None:
    """Return the boost above the barometer that the log holds at peak power [Pa]."""
    logged = pull.channels.get("boost_pressure")
    if logged is not None:
        return pull.corrected.at(logged, pull.peaks.power.speed)
    logged, ambient = pull.channels.get("manifold_pressure"), pull.conditions.pressure
    if logged is None or ambient is None:
        return None
    return pull.corrected.at(logged, pull.peaks.power.speed) - ambient


def _observed_torque(pull: PullResult) -> float | None:
    """Return the torque at peak power as the engine made it on the day [N m]."""
    if not np.isfinite(pull.corrected.observed_torque).any():
        return None
    return pull.corrected.at(pull.corrected.observed_torque, pull.peaks.power.speed)


def _charge_at_peak_power(pull: PullResult) -> float | None:
    logged = pull.channels.get("charge_temperature")
    return None if logged is None else pull.corrected.at(logged, pull.peaks.power.speed)


define.add_inputs(
    per_pull("boost_logged", "boost at peak power", "p_b", units.PRESSURE, "dyno.pulls", _boost_at_peak_power,
             hint=_BOOST_LOG,
             is_uncertainty_known=False),
    Input("boost_recorded", "boost as recorded", "p_b", units.PRESSURE, f"{_INDUCTION}.boost", provenance=GIVEN),
    per_pull("charge_logged", "charge in the manifold at peak power", "T_m", units.TEMPERATURE, "dyno.pulls",
             _charge_at_peak_power, hint=_CHARGE_LOG,
             is_uncertainty_known=False),
    Input("charge_recorded", "charge in the manifold as recorded", "T_m", units.TEMPERATURE,
          f"{_INDUCTION}.charge_temperature"),
    per_pull("observed_torque", "torque there, as observed", "T_0", units.TORQUE, "dyno.pulls", _observed_torque),
    Input("restrictor_diameter", "restrictor diameter", "d", units.LENGTH, f"{_INDUCTION}.restrictor_diameter"),
    Input("restrictor_coefficient", "discharge coefficient of the restrictor", "C_d", units.INDEX,
          f"{_INDUCTION}.restrictor_coefficient", provenance=GIVEN),
)  # fmt: skip


@define.computed_input(
    "delivered_pressure_ratio",
    "pressure ratio as delivered",
    "r_p",
    units.RATIO,
    f"{_INDUCTION}.boost",
    hint=_BOOST_LOG,
)
def _delivered_pressure_ratio(context: Context, item: Input) -> InputValue | None:
    """Return the pressure ratio of the delivered state at peak power: logged boost first, else the recorded one."""
    session, recorded = session_of(context), context.build.get(item.path)
    state = session.delivered if session else None
    ambient = state.mean_of(lambda pull: pull.conditions.pressure) if state else None
    logged = state.mean_of(_boost_at_peak_power) if state else None
    gauge = recorded.si if logged is None and recorded is not None else logged
    if gauge is None or ambient is None:
        return None
    ratio = float(boost.pressure_ratio(gauge, ambient))
    return item.value(
        ratio,
        (f"{ratio:.3f}",),
        GIVEN if logged is None else MEASURED,
        is_uncertainty_known=False,
        where=context.build.where(item.path),
    )


define.figure(
    "pressure_ratio",
    "Pressure ratio",
    units.INDEX,
    source=DEFINITION,
    means="Manifold pressure over the pressure outside, both absolute, at peak power.",
    formula=r"\frac{P + p_b}{P}",
    symbols=(("P", "barometer in the room", "Pa"),),
    working="({barometer} + {boost_logged}) / {barometer}",
    validity="in the manifold: the compressor makes more where a charge cooler, filter or throttle takes some",
    inputs=("boost_logged", "barometer"),
)(boost.pressure_ratio)


define.alternative(
    "pressure_ratio", working="({barometer} + {boost_recorded}) / {barometer}", inputs=("boost_recorded", "barometer")
)(boost.pressure_ratio)


@define.figure(
    "charge_density",
    "Charge density",
    units.DENSITY,
    source="ideal gas",
    means="Density of the air in the manifold at peak power: boost raises it, heat takes some of it back.",
    formula=r"\rho_m = r_p \, \frac{(P - p_v) M_a + p_v M_w}{R \, T_m}",
    symbols=(
        ("r_p", "pressure ratio", "1"),
        ("p_v", "vapor pressure of the air outside", "Pa"),
        ("M_a, M_w", "molar mass of dry air and of water", "kg/mol"),
        ("R", "molar gas constant", "J/(mol K)"),
    ),
    working="air at {barometer} × {pressure_ratio} and {charge_logged}, vapor {vapor_pressure} × {pressure_ratio}",
    validity="charge without fuel; no water condensed in the charge cooler",
)
def charge_density(barometer: Value, pressure_ratio: Value, charge_logged: Value, vapor_pressure: Value) -> Value:
    """Return the density of the charge of each pull [kg/m3]."""
    manifold = unwrap_scalar(np.asarray(barometer) * np.asarray(pressure_ratio))
    return boost.charge_density(manifold, charge_logged, vapor_pressure, pressure_ratio)


define.alternative(
    "charge_density",
    working="air at {barometer} × {pressure_ratio} and {charge_recorded}, vapor {vapor_pressure} × {pressure_ratio}",
    inputs=("barometer", "pressure_ratio", "charge_recorded", "vapor_pressure"),
)(charge_density)


@define.figure(
    "density_ratio",
    "Charge density over outside air",
    units.INDEX,
    source=DEFINITION,
    means="Density of the charge over that of the air outside; below the pressure ratio where the charge is warmer.",
    formula=r"\rho_m / \rho",
    symbols=((r"\rho_m, \rho", "density of the charge and of the air outside", "kg/m³"),),
    working="{charge_density} / {air_density}",
    validity="at peak power; charge and outside air without fuel",
)
def density_ratio(charge_density: Value, air_density: Value) -> Value:
    """Return charge density over the density of the air outside [-]."""
    return unwrap_scalar(np.asarray(charge_density) / np.asarray(air_density))


@define.figure(
    "volumetric_efficiency_manifold",
    "Volumetric efficiency (on manifold density)",
    units.PERCENT,
    source=HEYWOOD_2,
    means="Air taken in over the charge that the swept volume would hold, at peak power: how well the engine itself "
    "breathes, without the boost.",
    formula=r"\frac{\dot m_a}{\rho_m \, V_d \, n / r}",
    symbols=((r"\rho_m", "charge density", "kg/m³"), ("V_d", "displacement", "m³")),
    working="{air_at_peak_power} / ({charge_density} × {displacement} × {speed_of_peak_power} "
    "/ {revolutions_per_cycle})",
    validity="air that blows through in overlap is counted as taken in",
)
def volumetric_efficiency_manifold(
    air_at_peak_power: Value,
    charge_density: Value,
    displacement: Value,
    speed_of_peak_power: Value,
    revolutions_per_cycle: Value,
) -> Value:
    """Return the volumetric efficiency of each pull on the charge in the manifold [-]."""
    revolutions = round(float(np.mean(revolutions_per_cycle)))
    return breathing.volumetric_efficiency(
        air_at_peak_power, charge_density, displacement, speed_of_peak_power, revolutions
    )


@define.figure(
    "boosted_air_demand",
    "Airflow demand with boost",
    units.VOLUME_FLOW,
    source=HEYWOOD_2,
    means="Outside air that the engine asks for at peak power, the manifold's charge filling every cylinder.",
    formula=r"V_d \, \frac{n}{r} \, \frac{\rho_m}{\rho}",
    symbols=(("V_d", "displacement", "m³"), (r"\rho_m / \rho", "charge density over outside air", "1")),
    working="{displacement} × {speed_of_peak_power} / {revolutions_per_cycle} × {density_ratio}",
    validity="at 100 % volumetric efficiency on the charge in the manifold",
)
def boosted_air_demand(
    displacement: Value, speed_of_peak_power: Value, revolutions_per_cycle: Value, density_ratio: Value
) -> Value:
    """Return the outside air by volume that a boosted engine asks for [m3/s]."""
    revolutions = round(float(np.mean(revolutions_per_cycle)))
    return breathing.air_demand(displacement, speed_of_peak_power, density_ratio, revolutions)


@define.figure(
    "corrected_compressor_flow",
    "Compressor flow, corrected",
    units.MASS_FLOW,
    source="similarity of flow; reference of SAE J1826 from memory, check the standard and the map",
    means="Mass flow through the compressor at peak power, as its map states it: 298 K and 100 kPa at the inlet.",
    formula=r"\dot m_a \, \frac{\sqrt{T / 298\,\mathrm{K}}}{P / 100\,\mathrm{kPa}}",
    symbols=(("T, P", "air at the inlet and barometer", "K, Pa"),),
    working="{air_at_peak_power} × √({air_temperature} / 298 K) / ({barometer} / 100 kPa)",
    validity="loss of the air filter not counted; for all compressors together; keep to the manufacturer's map",
)
def corrected_compressor_flow(air_at_peak_power: Value, air_temperature: Value, barometer: Value) -> Value:
    """Return the compressor's mass flow at the reference inlet [kg/s]."""
    return boost.corrected_compressor_flow(air_at_peak_power, barometer, air_temperature)


define.figure(
    "boosted_effective_ratio",
    "Dynamic compression ratio × pressure ratio",
    units.COMPRESSION,
    source=COMMON_PRACTICE,
    axis="lift",
    means="Compression of the charge by compressor and piston together, from the closing of the intake.",
    formula=r"r_p \, \epsilon",
    symbols=((r"\epsilon", "dynamic compression ratio", "1"),),
    working="{effective_compression_ratio} × {delivered_pressure_ratio}",
    validity="a way to compare like engines: cooling of the charge is not in it, and it is no limit",
    inputs=("effective_compression_ratio", "delivered_pressure_ratio"),
)(boost.boosted_effective_ratio)


@define.figure(
    "specific_power_per_pressure",
    "Power per liter and bar",
    units.SPECIFIC_POWER_PER_PRESSURE,
    source=DEFINITION,
    means="Power per displacement over the absolute manifold pressure: what the engine makes of its boost.",
    formula=r"\frac{P_e}{V_d \, P \, r_p}",
    symbols=(("P_e", "peak power", "W"), ("V_d", "displacement", "m³"), ("r_p", "pressure ratio", "1")),
    working="{specific_power} / ({barometer} × {pressure_ratio})",
    validity="peak power as the results state it; pressure in the manifold at peak power, absolute",
)
def specific_power_per_pressure(specific_power: Value, barometer: Value, pressure_ratio: Value) -> Value:
    """Return peak power over displacement and absolute manifold pressure [W/(m3 Pa)]."""
    return unwrap_scalar(np.asarray(specific_power) / (np.asarray(barometer) * np.asarray(pressure_ratio)))


@define.figure(
    "restrictor_choked_flow",
    "Restrictor, most air",
    units.MASS_FLOW,
    source="Heywood, Internal Combustion Engine Fundamentals, app. C",
    means="The most air that the restrictor can pass: at its throat the air moves at the speed of sound.",
    formula=r"C_d \, \frac{\pi}{4} d^2 \, P \, \sqrt{\frac{\gamma}{R \, T}} "
    r"\left( \frac{2}{\gamma + 1} \right)^{\frac{\gamma + 1}{2 (\gamma - 1)}}",
    symbols=((r"\gamma", "1.4", "1"), ("R", "gas constant of dry air", "J/(kg K)"), ("T, P", "air outside", "K, Pa")),
    working="{restrictor_coefficient} × π/4 × ({restrictor_diameter})², choked at {barometer} and {air_temperature}",
    validity="dry air; a discharge coefficient that is not recorded counts as 1, which is more than a real one passes",
    applies=_has_restrictor,
)
def restrictor_choked_flow(
    restrictor_diameter: Value, barometer: Value, air_temperature: Value, restrictor_coefficient: Value
) -> Value:
    """Return the most air that the restrictor can pass on the day of each pull [kg/s]."""
    area = unwrap_scalar(np.pi / 4 * np.asarray(restrictor_diameter) ** 2)
    return breathing.choked_air_flow(area, barometer, air_temperature, restrictor_coefficient)


@define.alternative(
    "restrictor_choked_flow",
    working="1 × π/4 × ({restrictor_diameter})², choked at {barometer} and {air_temperature}, no loss counted",
)
def restrictor_choked_flow_without_loss(restrictor_diameter: Value, barometer: Value, air_temperature: Value) -> Value:
    """Return the most air that a restrictor without loss could pass on the day of each pull [kg/s]."""
    return restrictor_choked_flow(restrictor_diameter, barometer, air_temperature, 1.0)


@define.alternative(
    "restrictor_choked_flow",
    working="π/4 × ({restrictor_diameter})² × {restrictor_coefficient}, choked in standard air: 1013.25 hPa and 15 °C",
)
def restrictor_choked_flow_in_standard_air(
    restrictor_diameter: Value, restrictor_coefficient: Value | None = None
) -> Value:
    """Return the most air that the restrictor can pass in standard air, before there is a dyno session [kg/s]."""
    coefficient = 1.0 if restrictor_coefficient is None else restrictor_coefficient
    return restrictor_choked_flow(restrictor_diameter, STANDARD_ATMOSPHERE, STANDARD_TEMPERATURE, coefficient)


@define.figure(
    "restrictor_efficiency",
    "Power over the heat of the restrictor's most air",
    units.PERCENT,
    source="Heywood, Internal Combustion Engine Fundamentals, app. C and D",
    means="Share of the heat that the most air through the restrictor can burn, which peak power asks for.",
    formula=r"\frac{2 \pi \, n \, T_0 \, AFR_1}{\dot m_{max} \, LHV}",
    symbols=((r"\dot m_{max}", "most air through the restrictor", "kg/s"), ("n", "peak power rpm", "rev/s")),
    working="2π × {speed_of_peak_power} × {observed_torque} × {stoichiometric}"
    " / ({restrictor_choked_flow} × {heating_value})",
    validity="power as observed; all of the air burned; the best spark-ignition engines at full load reach some 38 % "
    "(common practice, no source): above that power, torque or the diameter is wrong",
    applies=_has_restrictor,
)
def restrictor_efficiency(
    speed_of_peak_power: Value,
    observed_torque: Value,
    stoichiometric: Value,
    restrictor_choked_flow: Value,
    heating_value: Value,
) -> Value:
    """Return observed peak power over the heat that the most air through the restrictor can burn [-]."""
    shaft_power = 2 * np.pi * np.asarray(speed_of_peak_power) * np.asarray(observed_torque)
    heat = np.asarray(restrictor_choked_flow) / np.asarray(stoichiometric) * np.asarray(heating_value)
    return unwrap_scalar(shaft_power / heat)


@define.figure(
    "restrictor_use",
    "Restrictor, air taken in over the most",
    units.WHOLE_PERCENT,
    source=DEFINITION,
    means="Air taken in at peak power over the most that the restrictor can pass; above 100 % a reading is wrong.",
    formula=r"\dot m_a / \dot m_{max}",
    symbols=((r"\dot m_{max}", "most air through the restrictor", "kg/s"),),
    working="{air_at_peak_power} / {restrictor_choked_flow}",
    validity="air by flow meter, or fuel flow times air-fuel ratio",
    applies=_has_restrictor,
)
def restrictor_use(air_at_peak_power: Value, restrictor_choked_flow: Value) -> Value:
    """Return the air taken in over the most that the restrictor can pass [-]."""
    return unwrap_scalar(np.asarray(air_at_peak_power) / np.asarray(restrictor_choked_flow))
