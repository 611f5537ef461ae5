"""A boosted engine's air: pressure ratio, charge in the manifold, compressor flow, and compression in all.

Pressures [Pa] are absolute unless a name says boost, temperatures [K], mass flows [kg/s]. All functions take single
values or arrays that broadcast together.

Sources: Heywood, Internal Combustion Engine Fundamentals, ch. 2 and 6; where it says so, common practice, no source.
"""

from __future__ import annotations

import numpy as np

from builder.engine.air import air_density
from builder.engine.validation import Value, require_not_negative, require_positive, unwrap_scalar

REFERENCE_TEMPERATURE = 298.0
REFERENCE_PRESSURE = 100e3
"""Inlet of a compressor [K], [Pa] that corrected flow is stated at: SAE J1826, from memory; check the map's own."""


def pressure_ratio(boost: Value, ambient: Value) -> Value:
    """Return manifold over ambient pressure, both absolute [-].

    Shapes: boost above ambient and ambient pressure [Pa] broadcast together. Raises ValueError for an ambient pressure
    of zero or less, or a vacuum of all of it. Source: definition.
    """
    require_positive(ambient=ambient)
    manifold = np.asarray(ambient, dtype=np.float64) + np.asarray(boost)
    require_positive(manifold_pressure=unwrap_scalar(manifold))
    return unwrap_scalar(manifold / ambient)


def charge_density(manifold_pressure: Value, charge_temperature: Value, vapor: Value, ratio: Value) -> Value:
    """Return the density of the charge in the manifold [kg/m3], with the moisture of the air outside.

    Shapes: manifold pressure [Pa], charge temperature [K], vapor pressure of the air outside [Pa] and pressure ratio
    [-] broadcast together. Compressing raises the vapor's share of the pressure with the rest. Raises ValueError as
    ``air_density`` does. Range: no fuel in the charge, and no water condensed in the charge cooler. Source: ideal gas.
    """
    compressed_vapor = unwrap_scalar(np.asarray(vapor) * np.asarray(ratio))
    return air_density(manifold_pressure, charge_temperature, compressed_vapor)


def corrected_compressor_flow(flow: Value, inlet_pressure: Value, inlet_temperature: Value) -> Value:
    """Return the mass flow at the reference inlet [kg/s] = m sqrt(T/298 K) / (p/100 kPa), as compressor maps state it.

    Shapes: mass flow [kg/s], pressure [Pa] and temperature [K] at the compressor's inlet broadcast together. Raises
    ValueError for a pressure or temperature of zero or less, or a negative flow. Source: similarity of compressible
    flow, Heywood ch. 6; the reference is that of SAE J1826 from memory.
    """
    require_not_negative(flow=flow)
    require_positive(inlet_pressure=inlet_pressure, inlet_temperature=inlet_temperature)
    heat = np.sqrt(np.asarray(inlet_temperature, dtype=np.float64) / REFERENCE_TEMPERATURE)
    return unwrap_scalar(np.asarray(flow) * heat / (np.asarray(inlet_pressure) / REFERENCE_PRESSURE))


def boosted_effective_ratio(effective_ratio: Value, ratio: Value) -> Value:
    """Return the effective compression ratio times the pressure ratio [-]: what the charge is compressed in all.

    Shapes: both ratios broadcast together. Raises ValueError for one of zero or less. It does not count how much the
    charge was cooled. Source: common practice, no source.
    """
    require_positive(effective_ratio=effective_ratio, pressure_ratio=ratio)
    return unwrap_scalar(np.asarray(effective_ratio) * np.asarray(ratio))
