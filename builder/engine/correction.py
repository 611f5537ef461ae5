"""Correction of observed power and torque to a standard day, by the standard the shop names.

A correction is a factor on observed power (and so on torque). A reading that is already corrected is never
corrected again: going from one standard to another divides the first factor out. Range limits are the
standard's own; outside them the factor is still computed, and :meth:`Standard.outside` says in plain words
what lies outside, so that a page can caution.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

import numpy as np

from builder.engine.air import Air
from builder.engine.constants import INCH_OF_MERCURY, ZERO_CELSIUS
from builder.engine.validation import Value, reject_if, require_positive, unwrap_scalar

# A limit is not broken by the last digit of a unit conversion.
_ROUNDING = 1e-9


@dataclass(frozen=True, slots=True)
class StandardLimit:
    """A range that a standard allows: what is limited, lowest and highest, and how to say it in words."""

    name: str
    quantity: Callable[[Air], float]
    lowest: float
    highest: float
    text: Callable[[float], str]

    def violation(self, air: Air) -> str | None:
        """Return one plain sentence if the air lies outside this limit, else None."""
        value = self.quantity(air)
        rounding = _ROUNDING * max(abs(self.lowest), abs(self.highest))
        if value < self.lowest - rounding:
            return f"{self.name} {self.text(value)} is below {self.text(self.lowest)}"
        if value > self.highest + rounding:
            return f"{self.name} {self.text(value)} is above {self.text(self.highest)}"
        return None


@dataclass(frozen=True, slots=True, kw_only=True)
class Standard:
    """One correction standard: its factor, its own limits, and where it is written down."""

    slug: str
    name: str
    formula: str
    function: Callable[[Air], float]
    limits: tuple[StandardLimit, ...]
    factor_limits: tuple[float, float] | None
    source: str
    withdrawn: bool = False
    compression_ignition: Literal["natural", "turbocharged"] | None = None
    """How the engine breathes, for a standard whose factor has an exponent of the engine's own."""

    def factor(self, air: Air) -> float:
        """Return what observed power and torque are multiplied by [-].

        Raises ValueError for air that cannot be (vapor at or above the whole pressure, no temperature).
        """
        require_positive(temperature=air.temperature)
        return self.function(air)

    def outside(self, air: Air) -> tuple[str, ...]:
        """Return what lies outside the standard's own range, one plain sentence each; empty when all is within."""
        broken = [sentence for limit in self.limits if (sentence := limit.violation(air)) is not None]
        if self.factor_limits is not None:
            low, high = self.factor_limits
            factor = self.factor(air)
            if not low - _ROUNDING <= factor <= high + _ROUNDING:
                broken.append(f"the factor {factor:.3f} is outside {low:g} to {high:g}")
        return tuple(broken)


def _celsius(value: float) -> str:
    return f"{value - ZERO_CELSIUS:.1f} °C"


def _kilopascal(value: float) -> str:
    return f"{value / 1000:.1f} kPa"


def _temperature_limit(lowest: float, highest: float) -> StandardLimit:
    return StandardLimit("air temperature", lambda air: air.temperature, lowest, highest, _celsius)


def _dry_pressure_limit(lowest: float, highest: float) -> StandardLimit:
    return StandardLimit("dry-air pressure", lambda air: air.dry_pressure, lowest, highest, _kilopascal)


def sae_j1349_factor(dry_pressure: Value, temperature: Value) -> Value:
    """Return the SAE J1349 factor for a spark-ignition engine without supercharger [-].

    1.180 (99 kPa/Pd) sqrt(T/298.15 K) - 0.180; it takes a mechanical efficiency of 85 % for granted.
    Shapes: dry-air pressure [Pa] and intake-air temperature [K] broadcast together. Raises ValueError for
    either at zero or less. Range: 15..35 C, 90..105 kPa dry. Source: SAE J1349.
    """
    require_positive(dry_pressure=dry_pressure, temperature=temperature)
    warmth = np.sqrt(np.asarray(temperature) / 298.15)
    return unwrap_scalar(1.180 * (99e3 / np.asarray(dry_pressure)) * warmth - 0.180)


def iso_1585_factor(dry_pressure: Value, temperature: Value) -> Value:
    """Return the ISO 1585 and UN Regulation 85 factor for a spark-ignition engine [-] = (99 kPa/Pd)^1.2 (T/298 K)^0.6.

    Shapes: dry-air pressure [Pa] and intake-air temperature [K] broadcast together. Raises ValueError for
    either at zero or less. Range: 15..35 C, 80..110 kPa, factor 0.93..1.07.
    Source: ISO 1585; UN Regulation 85, Annex 5.
    """
    require_positive(dry_pressure=dry_pressure, temperature=temperature)
    return unwrap_scalar((99e3 / np.asarray(dry_pressure)) ** 1.2 * (np.asarray(temperature) / 298.0) ** 0.6)


def sae_j607_factor(dry_pressure: Value, temperature: Value) -> Value:
    """Return the SAE J607 factor, withdrawn but still asked for [-] = (29.92 inHg/Pd) sqrt(T/519.67 R).

    Shapes: dry-air pressure [Pa] and intake-air temperature [K] broadcast together. Raises ValueError for
    either at zero or less. Range: none stated. Source: SAE J607 (withdrawn).
    """
    require_positive(dry_pressure=dry_pressure, temperature=temperature)
    ratio = 29.92 * INCH_OF_MERCURY / np.asarray(dry_pressure)
    return unwrap_scalar(ratio * np.sqrt(np.asarray(temperature) / (519.67 / 1.8)))


def din_70020_factor(pressure: Value, temperature: Value) -> Value:
    """Return the DIN 70020 factor, withdrawn [-] = (101.3 kPa/P) sqrt(T/293 K), with the vapor in the pressure.

    Shapes: barometer [Pa] and intake-air temperature [K] broadcast together. Raises ValueError for either at
    zero or less. Range: none stated. Source: DIN 70020 (withdrawn).
    """
    require_positive(pressure=pressure, temperature=temperature)
    return unwrap_scalar(101.3e3 / np.asarray(pressure) * np.sqrt(np.asarray(temperature) / 293.0))


def compression_ignition_factor(
    dry_pressure: Value,
    temperature: Value,
    fuel_per_litre: Value,
    *,
    pressure_ratio: Value = 1.0,
    turbocharged: bool = False,
    lowest_fuel: float = 40.0,
) -> Value:
    """Return the UN Regulation 85 factor for a compression-ignition engine [-] = fa^fm.

    fa = (99/Pd)(T/298)^0.7 naturally aspirated or mechanically supercharged, (99/Pd)^0.7 (T/298)^1.5
    turbocharged; fm = 0.036 qc - 1.14, qc = fuel per liter and cycle over the boost pressure ratio, held at
    its ends.

    Shapes: dry-air pressure [Pa], temperature [K], fuel per liter of swept volume and cycle [mg/(l cycle)],
    boost over ambient absolute pressure [-] broadcast together. ``lowest_fuel`` is the lower end of qc:
    40 mg in UN Regulation 85 (fm 0.3), 37.2 mg in ISO 1585 (fm 0.2). Raises ValueError for a pressure,
    temperature, fuel or pressure ratio of zero or less. Range: factor 0.9..1.1.
    Source: UN Regulation 85, Annex 5, 5.4.2; ISO 1585.
    """
    require_positive(dry_pressure=dry_pressure, temperature=temperature)
    require_positive(fuel_per_litre=fuel_per_litre, pressure_ratio=pressure_ratio)
    pressure = 99e3 / np.asarray(dry_pressure)
    heat = np.asarray(temperature) / 298.0
    atmosphere = pressure**0.7 * heat**1.5 if turbocharged else pressure * heat**0.7
    fuel = np.clip(np.asarray(fuel_per_litre) / np.asarray(pressure_ratio), lowest_fuel, 65.0)
    # UN Regulation 85 and ISO 1585 give the ends as round numbers, which the line meets to a hundredth.
    exponent = np.where(fuel <= lowest_fuel, round(0.036 * lowest_fuel - 1.14, 1), 0.036 * fuel - 1.14)
    return unwrap_scalar(atmosphere ** np.where(fuel >= 65.0, 1.2, exponent))


def compression_ignition(
    fuel_per_litre: float, *, pressure_ratio: float = 1.0, turbocharged: bool = False, lowest_fuel: float = 40.0
) -> Standard:
    """Return the standard for one compression-ignition engine, whose fuel [mg/(l cycle)] sets its engine factor.

    Raises ValueError for fuel or a pressure ratio of zero or less. The limits of temperature (10..40 C) and
    pressure (80..110 kPa) are from memory. Source: UN Regulation 85, Annex 5.
    """
    require_positive(fuel_per_litre=fuel_per_litre, pressure_ratio=pressure_ratio)

    def function(air: Air) -> float:
        return float(
            compression_ignition_factor(
                air.dry_pressure,
                air.temperature,
                fuel_per_litre,
                pressure_ratio=pressure_ratio,
                turbocharged=turbocharged,
                lowest_fuel=lowest_fuel,
            )
        )

    atmosphere = "((99/Pd)^0.7 (T/298)^1.5)" if turbocharged else "((99/Pd) (T/298)^0.7)"
    return Standard(
        slug="un-r85-compression-ignition",
        name="UN Regulation 85, compression ignition",
        formula=f"{atmosphere}^fm, fm = 0.036 qc - 1.14",
        function=function,
        limits=(_temperature_limit(283.0, 313.15), _dry_pressure_limit(80e3, 110e3)),
        factor_limits=(0.9, 1.1),
        source="UN Regulation 85, Annex 5, 5.4.2",
        compression_ignition="turbocharged" if turbocharged else "natural",
    )


# 288 K and 308 K are 15 and 35 C with the 0.15 left off; nobody's 35.0 C day is outside for that.
_MILD = _temperature_limit(288.0, 35.0 + ZERO_CELSIUS)

OBSERVED = Standard(
    slug="observed",
    name="observed, not corrected",
    formula="1",
    function=lambda air: 1.0,
    limits=(),
    factor_limits=None,
    source="as read",
)
SAE_J1349 = Standard(
    slug="sae-j1349",
    name="SAE J1349",
    formula="1.180 (99 kPa/Pd) sqrt(T/298.15 K) - 0.180",
    function=lambda air: float(sae_j1349_factor(air.dry_pressure, air.temperature)),
    limits=(_temperature_limit(15.0 + ZERO_CELSIUS, 35.0 + ZERO_CELSIUS), _dry_pressure_limit(90e3, 105e3)),
    factor_limits=None,
    source="SAE J1349",
)
ISO_1585 = Standard(
    slug="iso-1585",
    name="ISO 1585 (UN Regulation 85)",
    formula="(99 kPa/Pd)^1.2 (T/298 K)^0.6",
    function=lambda air: float(iso_1585_factor(air.dry_pressure, air.temperature)),
    limits=(_MILD, _dry_pressure_limit(80e3, 110e3)),
    factor_limits=(0.93, 1.07),
    source="ISO 1585; UN Regulation 85, Annex 5",
)
SAE_J607 = Standard(
    slug="sae-j607",
    name="SAE J607 (withdrawn)",
    formula="(29.92 inHg/Pd) sqrt(T/519.67 °R)",
    function=lambda air: float(sae_j607_factor(air.dry_pressure, air.temperature)),
    limits=(),
    factor_limits=None,
    source="SAE J607 (withdrawn)",
    withdrawn=True,
)
DIN_70020 = Standard(
    slug="din-70020",
    name="DIN 70020 (withdrawn)",
    formula="(101.3 kPa/P) sqrt(T/293 K)",
    function=lambda air: float(din_70020_factor(air.pressure, air.temperature)),
    limits=(),
    factor_limits=None,
    source="DIN 70020 (withdrawn)",
    withdrawn=True,
)

STANDARDS: Mapping[str, Standard] = MappingProxyType(
    {standard.slug: standard for standard in (SAE_J1349, ISO_1585, SAE_J607, DIN_70020, OBSERVED)}
)


@dataclass(frozen=True, slots=True)
class Correction:
    """From the standard the readings are in to the target: one factor, never two.

    ``stated_factor`` was applied before the readings were written down; ``target_factor`` belongs to the target
    standard; readings times ``factor`` are in the target standard.
    """

    stated: Standard
    target: Standard
    stated_factor: float
    target_factor: float
    outside: tuple[str, ...]

    @property
    def factor(self) -> float:
        """Return what the readings as written are multiplied by [-]."""
        return self.target_factor / self.stated_factor

    def apply(self, readings: Value) -> Value:
        """Return the readings in the target standard, same shape and unit as given."""
        return unwrap_scalar(np.asarray(readings, dtype=np.float64) * self.factor)


def correct(air: Air, stated: Standard, target: Standard) -> Correction:
    """Return how readings taken in this air move from the standard they are stated in to the target.

    The same standard on both sides is a factor of exactly one, whatever the air. Raises ValueError for air
    that cannot be, or a stated factor of zero or less (dividing it out would mean nothing).
    ``outside`` holds what lies outside either standard's own range.
    """
    if stated is target:
        sentences = [f"{target.name}: {sentence}" for sentence in target.outside(air)]
        return Correction(stated, target, 1.0, 1.0, tuple(sentences))
    divided_out, put_in = stated.factor(air), target.factor(air)
    reject_if(divided_out <= 0, "a factor of zero or less cannot be divided out", "stated")
    sentences = [f"{standard.name}: {sentence}" for standard in (stated, target) for sentence in standard.outside(air)]
    return Correction(stated, target, divided_out, put_in, tuple(dict.fromkeys(sentences)))
