"""Figures of the air the engine breathed on the dyno, and of the correction made from it."""

from __future__ import annotations

import numpy as np

from builder.engine import air
from builder.engine.values import Value, unwrap_scalar
from builder.figures.core import display_units
from builder.figures.core.registry import AIR, ASHRAE, alternative, figure
from builder.figures.definitions import dyno_inputs as _inputs  # noqa: F401

STANDARDS = "SAE J1349; ISO 1585 and UN Regulation 85, Annex 5; SAE J607 and DIN 70020 (both withdrawn)"


@figure(
    "saturation_vapour_pressure",
    "Saturation vapour pressure",
    display_units.AIR_PRESSURE,
    section=AIR,
    source=ASHRAE,
    axis="pull",
    headline="first",
    means="The most water vapour that air can hold at its temperature.",
    formula=r"p_{ws} = f(T)",
    symbols=(("f", "series of Hyland and Wexler in the temperature", "Pa"),),
    working="over water at {air_temperature}, by Hyland and Wexler",
    validity="−100 to 200 °C",
)
def saturation_vapour_pressure(air_temperature: Value) -> Value:
    """Saturation vapour pressure [Pa] at each pull's air temperature [K]."""
    return air.saturation_vapour_pressure(air_temperature)


@figure(
    "vapour_pressure",
    "Vapour pressure",
    display_units.AIR_PRESSURE,
    section=AIR,
    source=ASHRAE,
    axis="pull",
    headline="first",
    means="How much of the barometer is water vapour, which burns nothing.",
    formula=r"p_v = \varphi \, p_{ws}",
    symbols=(("p_{ws}", "saturation vapour pressure", "Pa"),),
    working="{relative_humidity_recorded} × {saturation_vapour_pressure}",
    validity="one reading of humidity: relative humidity, wet bulb, dew point or vapour pressure",
)
def vapour_pressure(relative_humidity_recorded: Value, saturation_vapour_pressure: Value) -> Value:
    """Vapour pressure [Pa] from relative humidity."""
    return unwrap_scalar(np.asarray(relative_humidity_recorded) * np.asarray(saturation_vapour_pressure))


@alternative("vapour_pressure", working="psychrometer: {wet_bulb_recorded} wet, {air_temperature} dry, {barometer}")
def vapour_pressure_from_wet_bulb(wet_bulb_recorded: Value, air_temperature: Value, barometer: Value) -> Value:
    """Vapour pressure [Pa] from the wet bulb."""
    return air.vapour_pressure(barometer, air_temperature, wet_bulb=wet_bulb_recorded)


@alternative("vapour_pressure", working="saturated at the dew point, {dew_point_recorded}")
def vapour_pressure_from_dew_point(dew_point_recorded: Value) -> Value:
    """Vapour pressure [Pa] from the dew point."""
    return air.saturation_vapour_pressure(dew_point_recorded)


@alternative("vapour_pressure", working="as recorded: {vapour_pressure_recorded}")
def vapour_pressure_as_recorded(vapour_pressure_recorded: Value) -> Value:
    """Vapour pressure [Pa] as somebody wrote it down."""
    return vapour_pressure_recorded


@alternative("vapour_pressure", working="{vapour_mixed}")
def vapour_pressure_mixed(vapour_mixed: Value) -> Value:
    """Vapour pressure [Pa] where the pulls have their humidity in different forms."""
    return vapour_mixed


@figure(
    "dry_air_pressure",
    "Dry-air pressure",
    display_units.AIR_PRESSURE,
    section=AIR,
    source=ASHRAE,
    axis="pull",
    headline="first",
    means="What is left of the barometer for the air itself.",
    formula=r"P_d = P - p_v",
    working="{barometer} − {vapour_pressure}",
    validity="station pressure, read in the room or turned to its height",
)
def dry_air_pressure(barometer: Value, vapour_pressure: Value) -> Value:
    """Dry-air pressure [Pa]."""
    return air.dry_air_pressure(barometer, vapour_pressure)


@figure(
    "air_density",
    "Air density",
    display_units.DENSITY,
    section=AIR,
    source=ASHRAE,
    axis="pull",
    headline="first",
    means="How much air there was in the air: cold, dry air under a high barometer makes more power.",
    formula=r"\rho = \frac{P_d M_a + p_v M_w}{R \, T}",
    symbols=(
        ("M_a, M_w", "molar mass of dry air and of water", "kg/mol"),
        ("R", "molar gas constant", "J/(mol K)"),
    ),
    working="({dry_air_pressure} × 28.966 g/mol + {vapour_pressure} × 18.015 g/mol) / (8.3145 J/(mol K) "
    "× {air_temperature})",
    validity="within 0.1 % over 0 to 50 °C",
)
def air_density(dry_air_pressure: Value, vapour_pressure: Value, air_temperature: Value) -> Value:
    """Density of the moist air [kg/m3]."""
    return air.air_density(np.asarray(dry_air_pressure) + np.asarray(vapour_pressure), air_temperature, vapour_pressure)


@figure(
    "correction_factor",
    "Correction factor",
    display_units.FACTOR,
    section=AIR,
    source=STANDARDS,
    axis="pull",
    headline="first",
    means="What torque and power as read were multiplied by, so that pulls of different days can be compared.",
    formula=r"k = 1.180 \, \frac{99\,\mathrm{kPa}}{P_d} \sqrt{\frac{T}{298.15\,\mathrm{K}}} - 0.180 "
    r"\quad \mathrm{(SAE\ J1349)}",
    symbols=(
        ("P_d", "dry-air pressure", "Pa"),
        ("T", "temperature of the air at the inlet", "K"),
    ),
    working="{pull_factor}",
    validity="naturally aspirated engines, and turbocharged ones by the formula for compression ignition, each standard "
    "within its own range (SAE J1349: 15 to 35 °C, 90 to 105 kPa dry); a reading that is corrected already "
    "is moved by dividing its own factor out, never corrected twice",
)
def correction_factor(pull_factor: Value) -> Value:
    """Factor on torque and power [-]."""
    return pull_factor
