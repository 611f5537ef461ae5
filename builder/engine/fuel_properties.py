"""Typical properties of fuels: air-fuel ratio at lambda 1, lower heating value and density.

They stand in where a fuel was not analyzed, and are never as good as its own data sheet: gasolines differ by a per cent
or two, natural gas by its inert share, E85 by the season. ``ratio_uncertainty`` says by how much.

Sources: Heywood, Internal Combustion Engine Fundamentals, appendix D, from memory: gasoline, diesel, propane, methanol
and ethanol; a blend follows from its parts. Kerosene and natural gas as supplied: common practice, no source.
Densities: the middle of what EN 228 (gasoline, 720 to 775 kg/m3 at 15 degC) and EN 590 (diesel, 820 to 845) allow, and
for kerosene a usual value within ASTM D1655 (775 to 840); methanol and ethanol as pure substances at 20 degC: all from
memory. A fuel that may be metered as a gas has none.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from builder.engine.validation import Value, reject_if, require_positive, unwrap_scalar

_ETHANOL_DENSITY, _GASOLINE_DENSITY = 789.0, 745.0
"""[kg/m3] at 15 to 20 degC; from memory."""


@dataclass(frozen=True, slots=True)
class FuelProperties:
    """Air by mass for fuel by mass at lambda 1 [-], lower heating value [J/kg], and how far fuels of a kind differ.

    ``ratio_uncertainty`` and ``heat_uncertainty`` are standard uncertainties, relative [-]: common practice, no source.
    ``density`` is that of the liquid at 15 to 20 degC [kg/m3], its uncertainty not known; None for a gas.
    """

    stoichiometric: float
    heating_value: float
    ratio_uncertainty: float
    heat_uncertainty: float
    density: float | None = None


_GASOLINE = FuelProperties(14.6, 44.0e6, 0.01, 0.012, _GASOLINE_DENSITY)
_ETHANOL = FuelProperties(9.0, 26.9e6, 0.01, 0.01, _ETHANOL_DENSITY)


def ethanol_mass_share(volume_share: Value) -> Value:
    """Return the share by mass [-] of ethanol in a blend with gasoline, from its share by volume [-].

    Shape: as volume_share. Raises ValueError for a share below 0 or above 1. Range: volumes add up, which they do to
    half a per cent. Source: definition; densities of 789 and 745 kg/m3 from memory.
    """
    reject_if(not 0 <= float(volume_share) <= 1, "the share of ethanol must lie between 0 and 1", "volume_share")
    ethanol = volume_share * _ETHANOL_DENSITY
    return unwrap_scalar(ethanol / (ethanol + (1 - volume_share) * _GASOLINE_DENSITY))


def ethanol_blend(
    volume_share: float, *, ratio_uncertainty: float = 0.01, heat_uncertainty: float = 0.01
) -> FuelProperties:
    """Return the properties of a blend of ethanol and gasoline, from the share of ethanol by volume [-].

    Ratio and heating value are for each unit of mass of fuel, so that those of the parts add up by their shares by
    mass; the density adds up by volume. Raises ValueError for a share below 0 or above 1. Source: conservation of mass
    and of energy.
    """
    share = float(ethanol_mass_share(volume_share))
    return FuelProperties(
        share * _ETHANOL.stoichiometric + (1 - share) * _GASOLINE.stoichiometric,
        share * _ETHANOL.heating_value + (1 - share) * _GASOLINE.heating_value,
        ratio_uncertainty,
        heat_uncertainty,
        volume_share * _ETHANOL_DENSITY + (1 - volume_share) * _GASOLINE_DENSITY,
    )


def air_from_fuel(fuel_flow: Value, air_fuel_ratio: Value) -> Value:
    """Return the air that an engine takes in [kg/s] = fuel flow times air-fuel ratio.

    Shapes: fuel by mass [kg/s] and air by mass over fuel by mass [-], which is lambda times the ratio at lambda 1,
    broadcast together. Raises ValueError for a ratio of zero or less. Range: all fuel and all air pass the sensor.
    Source: definition of the air-fuel ratio, Heywood ch. 2.
    """
    require_positive(air_fuel_ratio=air_fuel_ratio)
    return unwrap_scalar(fuel_flow * air_fuel_ratio)


TYPICAL_FUELS: Mapping[str, FuelProperties] = MappingProxyType(
    {
        "gasoline": _GASOLINE,
        "regular gasoline": _GASOLINE,
        "premium gasoline": _GASOLINE,
        "race gasoline": FuelProperties(14.6, 44.0e6, 0.025, 0.025, _GASOLINE_DENSITY),
        "E10": ethanol_blend(0.10),
        # As sold it has 51 to 83 per cent of ethanol (ASTM D5798), as raced the most of that.
        "E85": ethanol_blend(0.85, ratio_uncertainty=0.02, heat_uncertainty=0.02),
        "ethanol": _ETHANOL,
        "methanol": FuelProperties(6.47, 20.0e6, 0.005, 0.01, 791.0),
        "diesel": FuelProperties(14.5, 42.5e6, 0.01, 0.01, 833.0),
        "kerosene": FuelProperties(14.7, 43.1e6, 0.01, 0.01, 800.0),
        "LPG": FuelProperties(15.67, 46.4e6, 0.01, 0.01),
        "natural gas": FuelProperties(16.5, 47.5e6, 0.05, 0.05),
    }
)
"""Typical properties by fuel; the source of each is at the top."""
