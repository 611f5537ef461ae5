"""The units a record may be written in: names, factor to SI, system, and how each is printed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from builder.engine.constants import (
    CONVENTIONAL_MERCURY_DENSITY,
    CUBIC_FOOT_PER_MINUTE,
    CUBIC_INCH,
    FAHRENHEIT_DEGREE,
    FOOT,
    HOUR,
    INCH,
    INCH_OF_MERCURY,
    INCH_OF_WATER,
    KILOGRAM_FORCE_METRE,
    LITRE,
    MECHANICAL_HORSEPOWER,
    METRIC_HORSEPOWER,
    MINUTE,
    POUND,
    POUND_FORCE_FOOT,
    PSI,
    REV_PER_MINUTE,
    STANDARD_GRAVITY,
    ZERO_CELSIUS,
)

NUMBER = "number"
"""The dimension of a plain ratio or count, which carries no unit."""

US_GALLON = 231 * CUBIC_INCH  # [m3] exact
IMPERIAL_GALLON = 4.54609 * LITRE  # [m3] exact
POUND_FORCE = POUND * STANDARD_GRAVITY  # [N] exact
MILLIMETRE_OF_MERCURY = 1e-3 * CONVENTIONAL_MERCURY_DENSITY * STANDARD_GRAVITY  # [Pa]
BRITISH_THERMAL_UNIT = 1055.056  # [J] of the international table

UnitSystem = Literal["inch", "metric", "both"]


@dataclass(frozen=True, slots=True)
class Unit:
    """One unit: SI value = factor * number + offset. The first of its names is the one Millbook writes."""

    names: tuple[str, ...]
    factor: float
    system: UnitSystem
    offset: float = 0.0


class Dimension:
    """A kind of quantity, its SI unit, and the units it may be written in.

    ``inch`` and ``metric`` name the unit that Millbook writes in either system, ``usual`` those that a message offers.
    ``units`` has every accepted name.
    """

    def __init__(self, si: str, inch: str, metric: str, example: str, usual: str, *units: Unit) -> None:
        """Describe a dimension by the names of its units and the units themselves."""
        self.si, self.inch, self.metric, self.example, self.usual = si, inch, metric, example, usual
        self.units: dict[str, Unit] = {name: unit for unit in units for name in unit.names}


def _inch(names: str, factor: float, offset: float = 0.0) -> Unit:
    return Unit(tuple(names.split(", ")), factor, "inch", offset)


def _metric(names: str, factor: float, offset: float = 0.0) -> Unit:
    return Unit(tuple(names.split(", ")), factor, "metric", offset)


def _both(names: str, factor: float) -> Unit:
    return Unit(tuple(names.split(", ")), factor, "both")


# Each: SI unit, inch unit, metric unit, example, the units that a message offers; then every unit.
DIMENSIONS: dict[str, Dimension] = {
    "length": Dimension(
        "m", "in", "mm", "4.0305 in", "in, mm, thou, um",
        _inch('in, inch, inches, "', INCH),
        _metric("mm", 1e-3),
        _inch("thou", 0.001 * INCH),
        _metric("um, µm, μm", 1e-6),
        _metric("cm", 1e-2),
        _metric("m", 1.0),
        _inch("ft", FOOT),
    ),
    "volume": Dimension(
        "m^3", "cc", "cc", "72.4 cc", "cc, cu in, L, cm3",
        _metric("cc, cm3, cm³", 1e-6),
        _inch("cu in, in3, in³, cu.in", CUBIC_INCH),
        _metric("L, l, litre, litres", LITRE),
        _metric("ml, mL", 1e-6),
        _inch("qt", US_GALLON / 4),
        _inch("US pt", US_GALLON / 8),
        _inch("US gal", US_GALLON),
        _metric("mm3", 1e-9),
    ),
    "area": Dimension(
        "m^2", "sq in", "cm2", "2.35 sq in", "sq in, cm2, mm2, in2",
        _inch("sq in, in2, in²", INCH**2),
        _metric("cm2, cm²", 1e-4),
        _metric("mm2, mm²", 1e-6),
    ),
    "angle": Dimension("deg", "deg", "deg", "104 deg", "deg, °, degrees", _both("deg, °, degrees", 1.0)),
    "torque": Dimension(
        "N m", "lbf.ft", "N.m", "65 lbf.ft", "lbf.ft, N.m, lbf.in, lbf ft",
        _inch("lbf.ft, lbf ft, lb.ft, lb-ft, ft-lb, ft.lbf, ft-lbf, ft.lb, ft-lbs, lbs-ft", POUND_FORCE_FOOT),
        _metric("N.m, Nm, N m, N·m", 1.0),
        _inch("lbf.in, in-lb, lbf in, in.lbf, in-lbf, in-lbs, lb-in", POUND_FORCE * INCH),
        _metric("kgf.m", KILOGRAM_FORCE_METRE),
    ),
    "mass": Dimension(
        "kg", "g", "g", "512.5 g", "g, kg, lb, oz",
        _metric("g", 1e-3),
        _metric("kg", 1.0),
        _inch("lb, lbs", POUND),
        _inch("oz", POUND / 16),
    ),
    # Springs are sold by the pound: where a force is wanted, a pound is a pound-force.
    "force": Dimension(
        "N", "lbf", "N", "125 lbf", "lbf, N, kN, kgf",
        _inch("lbf, lb, lbs", POUND_FORCE),
        _metric("N", 1.0),
        _metric("kN", 1e3),
        _metric("kgf", STANDARD_GRAVITY),
    ),
    "stiffness": Dimension(
        "N/m", "lbf/in", "N/mm", "350 lbf/in", "lbf/in, N/mm, lb/in",
        _inch("lbf/in, lb/in", POUND_FORCE / INCH),
        _metric("N/mm", 1e3),
    ),
    "pressure": Dimension(
        "Pa", "psi", "kPa", "29.61 inHg", "psi, kPa, bar, inHg",
        _inch("psi", PSI),
        _metric("kPa", 1e3),
        _metric("bar", 1e5),
        _inch("inHg, in Hg", INCH_OF_MERCURY),
        _inch("inH2O, in H2O", INCH_OF_WATER),
        _metric("mbar", 1e2),
        _metric("hPa", 1e2),
        _metric("mmHg, mm Hg", MILLIMETRE_OF_MERCURY),
        _metric("Pa", 1.0),
        _metric("MPa", 1e6),
    ),
    "temperature": Dimension(
        "K", "degF", "degC", "72 degF", "degF, degC, K, F",
        _inch("degF, F, °F, deg F", FAHRENHEIT_DEGREE, 459.67 * FAHRENHEIT_DEGREE),
        _metric("degC, C, °C, deg C", 1.0, ZERO_CELSIUS),
        _metric("K", 1.0),
    ),
    "power": Dimension(
        "W", "hp", "kW", "310 hp", "hp, kW, PS, W",
        _inch("hp, bhp", MECHANICAL_HORSEPOWER),
        _metric("kW", 1e3),
        _metric("PS", METRIC_HORSEPOWER),
        _metric("W", 1.0),
    ),
    "engine speed": Dimension(
        "rev/s", "rpm", "rpm", "6500 rpm", "rpm, rev/min, 1/min, rev/s",
        _both("rpm, rev/min, 1/min", REV_PER_MINUTE),
        _both("rev/s", 1.0),
    ),
    "volume flow": Dimension(
        "m^3/s", "cfm", "L/s", "245 cfm", "cfm, L/s, L/min, m3/h",
        _inch("cfm", CUBIC_FOOT_PER_MINUTE),
        _metric("L/s, l/s", LITRE),
        _metric("L/min, l/min", LITRE / MINUTE),
        _metric("m3/h", 1 / HOUR),
        _metric("cc/min", 1e-6 / MINUTE),
        _metric("m3/s", 1.0),
    ),
    "mass flow": Dimension(
        "kg/s", "lb/h", "kg/h", "42 lb/h", "lb/h, kg/h, g/s, lb/hr",
        _inch("lb/h, lb/hr", POUND / HOUR),
        _metric("kg/h", 1 / HOUR),
        _metric("g/s", 1e-3),
        _metric("g/min", 1e-3 / MINUTE),
        _metric("kg/s", 1.0),
    ),
    "fraction": Dimension("1", "%", "%", "45 %", "%", _both("%", 0.01)),
    "inertia": Dimension(
        "kg m^2", "kg.m2", "kg.m2", "1.85 kg.m2", "kg.m2, lb.ft2, kg m2",
        _metric("kg.m2, kg m2", 1.0),
        _inch("lb.ft2", POUND * FOOT**2),
    ),
    "specific energy": Dimension(
        "J/kg", "MJ/kg", "MJ/kg", "43.5 MJ/kg", "MJ/kg, BTU/lb",
        _metric("MJ/kg", 1e6),
        _inch("BTU/lb", BRITISH_THERMAL_UNIT / POUND),
    ),
    "density": Dimension(
        "kg/m^3", "kg/m3", "kg/m3", "745 kg/m3", "kg/m3, kg/L, g/cc",
        _metric("kg/m3", 1.0),
        _metric("kg/L", 1e3),
        _metric("g/cc", 1e3),
    ),
    "time": Dimension("s", "s", "s", "12.4 s", "s, min, h", _both("s", 1.0), _both("min", MINUTE), _both("h", HOUR)),
}  # fmt: skip
"""Every kind of quantity by its name. Factors: NIST SP 811 (2008), appendix B, and the SI brochure of the BIPM."""

_PRINTED = {
    "lbf.ft": "lbf ft",
    "lbf.in": "lbf in",
    "N.m": "N m",
    "deg": "°",
    "degF": "°F",
    "degC": "°C",
    "kg.m2": "kg m²",
    "kg/m3": "kg/m³",
    "cm2": "cm²",
    "mm2": "mm²",
    "in2": "in²",
    "cm3": "cm³",
}


def printed_unit(name: str) -> str:
    """Return how a unit written with this name is printed."""
    return _PRINTED.get(name, name)


def example_of(dimension: str | None) -> str:
    """Return how a value of a dimension is written (None: of any dimension)."""
    if dimension == NUMBER:
        return "1.6"
    return DIMENSIONS[dimension].example if dimension else "4.0305 in"
