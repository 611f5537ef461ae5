"""Figures of the air the engine breathed on the dyno, and of the correction made from it."""

from __future__ import annotations

import numpy as np

from builder.engine import air
from builder.engine.air import Air
from builder.engine.constants import INCH_OF_MERCURY
from builder.engine.correction import Correction
from builder.engine.validation import Value, unwrap_scalar
from builder.figures.core import display_units as units
from builder.figures.core.display_units import System
from builder.figures.core.inputs import Input
from builder.figures.core.registry import AIR, ASHRAE, Definitions, unchanged
from builder.figures.definitions.pull_inputs import per_pull
from builder.figures.dyno.pull import PullResult

define = Definitions(AIR, axis="pull", headline="first")

STANDARDS = "SAE J1349; ISO 1585 and UN Regulation 85, Annex 5; SAE J607 and DIN 70020 (both withdrawn)"

_HUMIDITY = {
    "relative_humidity": ("relative humidity", r"\varphi", units.PERCENT),
    "wet_bulb": ("wet bulb", "T_w", units.TEMPERATURE),
    "dew_point": ("dew point", "T_d", units.TEMPERATURE),
    "vapor_pressure": ("vapor pressure, as recorded", "p_v", units.AIR_PRESSURE),
}
_HUMIDITY_HINT = "dyno.yaml: conditions: relative_humidity, wet_bulb, dew_point or vapor_pressure"


def _humidity(form: str) -> Input:
    """Return the input for sessions whose humidity was recorded in one form only."""
    label, symbol, display_unit = _HUMIDITY[form]
    return per_pull(
        f"{form}_recorded",
        label,
        symbol,
        display_unit,
        f"dyno.conditions.{form}",
        lambda pull: pull.conditions.humidity if pull.conditions.humidity_form == form else None,
        lambda pull, system: pull.conditions.texts["humidity"],
        hint=_HUMIDITY_HINT,
        applies=lambda pulls: {pull.conditions.humidity_form for pull in pulls} - {None} == {form},
    )


def _mixed_humidity_text(pull: PullResult, system: System) -> str:
    return f"from {_HUMIDITY[pull.conditions.humidity_form or 'vapor_pressure'][0]} {pull.conditions.texts['humidity']}"


def factor_text(correction: Correction, ambient: Air | None) -> str:
    """Return the factor with the numbers of its day, in the units that the standard is written in."""
    if correction.stated.slug == correction.target.slug:
        return f"1 (the readings are in {correction.target.name} already)"
    target = (
        _standard_text(correction.target.slug, ambient)
        or _engine_factor_text(correction, ambient)
        or f"{correction.target_factor:.4f}"
    )
    if correction.stated.slug == "observed":
        return target
    stated = _standard_text(correction.stated.slug, ambient) or f"{correction.stated_factor:.4f}"
    return f"({target}) / ({stated})" if target != "1" else f"1 / ({stated})"


def _engine_factor_text(correction: Correction, ambient: Air | None) -> str:
    """Return the compression-ignition factor as fa to the power fm; empty where fa is one and fm does not matter."""
    if ambient is None or correction.target.compression_ignition is None:
        return ""
    turbocharged = correction.target.compression_ignition == "turbocharged"
    pressure, heat = (99e3 / ambient.dry_pressure), ambient.temperature / 298.0
    atmosphere = pressure**0.7 * heat**1.5 if turbocharged else pressure * heat**0.7
    if abs(atmosphere - 1) < 1e-4:
        return ""
    exponent = np.log(correction.target_factor) / np.log(atmosphere)
    powers = ("^0.7", "^1.5") if turbocharged else ("", "^0.7")
    dry, temperature = f"{ambient.dry_pressure / 1000:.2f} kPa", f"{ambient.temperature:.2f} K"
    return f"((99 kPa / {dry}){powers[0]} × ({temperature} / 298 K){powers[1]})^{exponent:.3f}"


def _standard_text(slug: str, ambient: Air | None) -> str:
    if slug == "observed":
        return "1"
    if ambient is None:
        return ""
    dry, temperature = f"{ambient.dry_pressure / 1000:.2f} kPa", f"{ambient.temperature:.2f} K"
    return {
        "sae-j1349": f"1.180 × (99 kPa / {dry}) × √({temperature} / 298.15 K) − 0.180",
        "iso-1585": f"(99 kPa / {dry})^1.2 × ({temperature} / 298 K)^0.6",
        "sae-j607": f"(29.92 inHg / {ambient.dry_pressure / INCH_OF_MERCURY:.2f} inHg) × √({temperature} / 288.71 K)",
        "din-70020": f"(101.3 kPa / {ambient.pressure / 1000:.2f} kPa) × √({temperature} / 293 K)",
    }.get(slug, "")


def _factor_of_pull(pull: PullResult, system: System) -> str:
    return factor_text(pull.correction, pull.conditions.air) if pull.correction else "not known"


define.add_inputs(
    per_pull("air_temperature", "air at the inlet", "T", units.TEMPERATURE, "dyno.conditions.temperature",
             lambda pull: pull.conditions.temperature, lambda pull, system: pull.conditions.texts["temperature"]),
    per_pull("barometer", "barometer in the room", "P", units.AIR_PRESSURE, "dyno.conditions.barometer",
             lambda pull: pull.conditions.pressure),
    *map(_humidity, _HUMIDITY),
    per_pull("vapor_mixed", "vapor pressure, from humidity recorded in different forms", "p_v", units.AIR_PRESSURE,
             "dyno.conditions.relative_humidity",
             lambda pull: pull.conditions.air.vapor if pull.conditions.air else None, _mixed_humidity_text),
    per_pull("pull_factor", "factor by the standard", "k", units.FACTOR,
             "dyno.readings, and conditions: barometer, temperature and humidity",
             lambda pull: pull.correction.factor if pull.correction is not None else None,
             _factor_of_pull),
)  # fmt: skip


define.figure(
    "saturation_vapor_pressure",
    "Saturation vapor pressure",
    units.AIR_PRESSURE,
    source=ASHRAE,
    means="The highest water vapor pressure at this temperature.",
    formula=r"p_{ws} = f(T)",
    symbols=(("f", "series of Hyland and Wexler in the temperature", "Pa"),),
    working="over water at {air_temperature}, by Hyland and Wexler",
    validity="−100 to 200 °C",
    inputs=("air_temperature",),
)(air.saturation_vapor_pressure)


@define.figure(
    "vapor_pressure",
    "Vapor pressure",
    units.AIR_PRESSURE,
    source=ASHRAE,
    means="The share of the barometer that is water vapor.",
    formula=r"p_v = \varphi \, p_{ws}",
    symbols=(("p_{ws}", "saturation vapor pressure", "Pa"),),
    working="{relative_humidity_recorded} × {saturation_vapor_pressure}",
    validity="one reading of humidity: relative humidity, wet bulb, dew point or vapor pressure",
)
def vapor_pressure(relative_humidity_recorded: Value, saturation_vapor_pressure: Value) -> Value:
    """Return the vapor pressure [Pa] from relative humidity."""
    return unwrap_scalar(np.asarray(relative_humidity_recorded) * np.asarray(saturation_vapor_pressure))


@define.alternative(
    "vapor_pressure", working="psychrometer: {wet_bulb_recorded} wet, {air_temperature} dry, {barometer}"
)
def vapor_pressure_from_wet_bulb(wet_bulb_recorded: Value, air_temperature: Value, barometer: Value) -> Value:
    """Return the vapor pressure [Pa] from the wet bulb."""
    return air.vapor_pressure(barometer, air_temperature, wet_bulb=wet_bulb_recorded)


define.alternative(
    "vapor_pressure", working="saturated at the dew point, {dew_point_recorded}", inputs=("dew_point_recorded",)
)(air.saturation_vapor_pressure)


define.alternative(
    "vapor_pressure", working="as recorded: {vapor_pressure_recorded}", inputs=("vapor_pressure_recorded",)
)(unchanged)


define.alternative("vapor_pressure", working="{vapor_mixed}", inputs=("vapor_mixed",))(unchanged)


define.figure(
    "dry_air_pressure",
    "Dry-air pressure",
    units.AIR_PRESSURE,
    source=ASHRAE,
    means="Barometer less vapor pressure.",
    formula=r"P_d = P - p_v",
    working="{barometer} − {vapor_pressure}",
    validity="station pressure, read in the room or turned to its height",
    inputs=("barometer", "vapor_pressure"),
)(air.dry_air_pressure)


@define.figure(
    "air_density",
    "Air density",
    units.DENSITY,
    source=ASHRAE,
    means="Density of the intake air: cold, dry air at high pressure makes more power.",
    formula=r"\rho = \frac{P_d M_a + p_v M_w}{R \, T}",
    symbols=(("M_a, M_w", "molar mass of dry air and of water", "kg/mol"), ("R", "molar gas constant", "J/(mol K)")),
    working="({dry_air_pressure} × 28.966 g/mol + {vapor_pressure} × 18.015 g/mol) / (8.3145 J/(mol K) "
    "× {air_temperature})",
    validity="within 0.1 % over 0 to 50 °C",
)
def air_density(dry_air_pressure: Value, vapor_pressure: Value, air_temperature: Value) -> Value:
    """Return the density of the moist air [kg/m3]."""
    return air.air_density(np.asarray(dry_air_pressure) + np.asarray(vapor_pressure), air_temperature, vapor_pressure)


define.figure(
    "correction_factor",
    "Correction factor",
    units.FACTOR,
    source=STANDARDS,
    means="Multiplier from observed to standard conditions, so that pulls on different days compare.",
    formula=r"k = 1.180 \, \frac{99\,\mathrm{kPa}}{P_d} \sqrt{\frac{T}{298.15\,\mathrm{K}}} - 0.180 "
    r"\quad \mathrm{(SAE\ J1349)}",
    symbols=(("P_d", "dry-air pressure", "Pa"), ("T", "temperature of the air at the inlet", "K")),
    working="{pull_factor}",
    validity="naturally aspirated engines, and turbocharged ones by the formula for compression ignition, each "
    "standard within its own range (SAE J1349: 15 to 35 °C, 90 to 105 kPa dry); a reading that is corrected already "
    "is moved by dividing its own factor out, never corrected twice",
    inputs=("pull_factor",),
)(unchanged)
