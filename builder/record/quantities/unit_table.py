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
MILE = 5280 * FOOT  # [m] exact
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
        _inch('in, inch, inches, ", \'\'', INCH),
        _metric("mm, millimeter, millimeters, millimetre, millimetres", 1e-3),
        _inch("thou, thousandths", 0.001 * INCH),
        _metric("um, µm, μm, micron, microns", 1e-6),
        _inch("uin, µin, μin, microinch, microinches", 1e-6 * INCH),
        _metric("cm, centimeters, centimetres", 1e-2),
        _metric("m, meter, meters, metre, metres", 1.0),
        _inch("ft, feet, foot", FOOT),
        _inch("mi, mile, miles", MILE),
        _metric("km, kilometers, kilometres", 1e3),
    ),
    "volume": Dimension(
        "m^3", "cc", "cc", "72.4 cc", "cc, cu in, L, qt",
        _metric("cc, ccs, cm3, cm³", 1e-6),
        _inch("cu in, in3, in³, cu.in, cubic inch, cubic inches, cid, ci", CUBIC_INCH),
        _metric("L, l, liter, liters, litre, litres", LITRE),
        _metric("ml, mL, milliliters, millilitres", 1e-6),
        _inch("qt, qts, quart, quarts, US qt, US quarts", US_GALLON / 4),
        _inch("pt, pts, pint, pints, US pt, US pints", US_GALLON / 8),
        _inch("fl oz, US fl oz", US_GALLON / 128),
        _inch("gal, gals, gallon, gallons, US gal, US gallons", US_GALLON),
        _inch("imp qt, imperial qt, imperial quarts, UK qt, UK quarts, imp quarts", IMPERIAL_GALLON / 4),
        _inch("imp pt, imperial pt, imperial pints, UK pt, UK pints, imp pints", IMPERIAL_GALLON / 8),
        _inch("imp fl oz, UK fl oz", IMPERIAL_GALLON / 160),
        _inch("imp gal, imperial gal, imperial gallons, imp gallons, UK gal, UK gallons", IMPERIAL_GALLON),
        _metric("mm3, mm³", 1e-9),
    ),
    "area": Dimension(
        "m^2", "sq in", "cm2", "2.35 sq in", "sq in, cm2, mm2, in2",
        _inch("sq in, in2, in², square inches", INCH**2),
        _metric("cm2, cm², sq cm", 1e-4),
        _metric("mm2, mm², sq mm", 1e-6),
    ),
    "angle": Dimension(
        "deg", "deg", "deg", "104 deg", "deg, °, degrees", _both("deg, °, degs, degree, degrees", 1.0)
    ),
    "torque": Dimension(
        "N m", "lbf.ft", "N.m", "65 lbf.ft", "lb-ft, N.m, lbf.in, lbf.ft",
        _inch(
            "lbf.ft, lbf ft, lb.ft, lb-ft, ft-lb, ft.lbf, ft-lbf, ft.lb, ft-lbs, lbs-ft, lbs.ft, foot-pounds, "
            "pound-feet, pounds-feet, foot-pound",
            POUND_FORCE_FOOT,
        ),
        _metric("N.m, Nm, N m, N·m, newton meters, newton metres", 1.0),
        _inch(
            "lbf.in, in-lb, lbf in, in.lbf, in-lbf, in-lbs, lb-in, lbs-in, inch-pounds, pound-inches",
            POUND_FORCE * INCH,
        ),
        _metric("kgf.m, kg.m, kgm", KILOGRAM_FORCE_METRE),
    ),
    "mass": Dimension(
        "kg", "g", "g", "512.5 g", "g, kg, lb, oz",
        _metric("g, gram, grams, gm, gms", 1e-3),
        _metric("kg, kgs, kilogram, kilograms, kilo, kilos", 1.0),
        _inch("lb, lbs, pound, pounds", POUND),
        _inch("oz, ounce, ounces", POUND / 16),
    ),
    # Springs are sold by the pound or the kilogram: where a force is wanted, either is that of its weight.
    "force": Dimension(
        "N", "lbf", "N", "125 lbf", "lbf, N, lb, kgf",
        _inch("lbf, lb, lbs, pound, pounds", POUND_FORCE),
        _metric("N, newton, newtons", 1.0),
        _metric("kN", 1e3),
        _metric("kgf, kg, kp", STANDARD_GRAVITY),
    ),
    "stiffness": Dimension(
        "N/m", "lbf/in", "N/mm", "350 lbf/in", "lbf/in, N/mm, lb/in",
        _inch("lbf/in, lb/in, lbs/in, lbs/inch, lb/inch, pounds per inch", POUND_FORCE / INCH),
        _metric("N/mm", 1e3),
        _metric("kgf/mm, kg/mm", STANDARD_GRAVITY * 1e3),
    ),
    "pressure": Dimension(
        "Pa", "psi", "kPa", "45 psi", "psi, bar, kPa, inHg",
        _inch("psi, lb/in2, lbf/in2, lb/sq in, lbs/sq in, lbs/in2", PSI),
        _metric("kPa", 1e3),
        _metric("bar, bars", 1e5),
        _inch('inHg, in Hg, "Hg, in. Hg, inches Hg, inches of mercury', INCH_OF_MERCURY),
        _inch('inH2O, in H2O, "H2O, in WC, in wg, inches H2O, inches of water, in H₂O, inH₂O', INCH_OF_WATER),
        _metric("mbar, mb, millibar, millibars", 1e2),
        _metric("hPa", 1e2),
        _metric("mmHg, mm Hg, torr", MILLIMETRE_OF_MERCURY),
        _metric("kgf/cm2, kg/cm2", STANDARD_GRAVITY * 1e4),
        _metric("Pa", 1.0),
        _metric("MPa", 1e6),
    ),
    "temperature": Dimension(
        "K", "degF", "degC", "72 degF", "°F, °C, degF, degC",
        _inch("degF, F, °F, deg F, degrees F, fahrenheit", FAHRENHEIT_DEGREE, 459.67 * FAHRENHEIT_DEGREE),
        _metric("degC, C, °C, deg C, degrees C, celsius", 1.0, ZERO_CELSIUS),
        _metric("K, kelvin", 1.0),
    ),
    "power": Dimension(
        "W", "hp", "kW", "310 hp", "hp, kW, PS, W",
        _inch("hp, bhp, horsepower", MECHANICAL_HORSEPOWER),
        _metric("kW", 1e3),
        _metric("PS, metric hp", METRIC_HORSEPOWER),
        _metric("W", 1.0),
    ),
    "engine speed": Dimension(
        "rev/s", "rpm", "rpm", "6500 rpm", "rpm, rev/min, 1/min, rev/s",
        _both("rpm, rev/min, revs/min, r/min, revs, 1/min", REV_PER_MINUTE),
        _both("rev/s", 1.0),
    ),
    "volume flow": Dimension(
        "m^3/s", "cfm", "L/s", "245 cfm", "cfm, L/s, cc/min, m3/h",
        _inch("cfm, cu ft/min, ft3/min", CUBIC_FOOT_PER_MINUTE),
        _metric("L/s, l/s", LITRE),
        _metric("L/min, l/min, lpm", LITRE / MINUTE),
        _metric("L/h, l/h, lph", LITRE / HOUR),
        _metric("m3/h", 1 / HOUR),
        _metric("cc/min, ml/min, mL/min, cm3/min", 1e-6 / MINUTE),
        _metric("m3/s", 1.0),
        _inch("gpm, gal/min, US gpm, US gal/min", US_GALLON / MINUTE),
        _inch("imp gpm, imp gal/min, UK gpm, UK gal/min", IMPERIAL_GALLON / MINUTE),
        _inch("gal/h, gal/hr, gph, US gal/h, US gal/hr", US_GALLON / HOUR),
        _inch("imp gal/h, imp gal/hr, UK gal/h", IMPERIAL_GALLON / HOUR),
    ),
    "mass flow": Dimension(
        "kg/s", "lb/h", "kg/h", "42 lb/h", "lb/h, kg/h, g/s, lb/hr",
        _inch("lb/h, lb/hr, lbs/h, lbs/hr, lb/hour, pph", POUND / HOUR),
        _inch("lb/min, lbs/min", POUND / MINUTE),
        _metric("kg/h, kg/hr", 1 / HOUR),
        _metric("g/s", 1e-3),
        _metric("g/min", 1e-3 / MINUTE),
        _metric("kg/s", 1.0),
    ),
    "fraction": Dimension("1", "%", "%", "45 %", "%", _both("%, percent, per cent, pct", 0.01)),
    "inertia": Dimension(
        "kg m^2", "kg.m2", "kg.m2", "1.85 kg.m2", "kg.m2, lb.ft2, kg m2",
        _metric("kg.m2, kg m2, kg m²", 1.0),
        _inch("lb.ft2, lb ft², lb.sq ft", POUND * FOOT**2),
    ),
    "imbalance": Dimension(
        "kg m", "oz.in", "g.mm", "0.25 oz.in", "oz.in, g.mm, g.cm, g mm, oz in",
        _metric("g.mm, g mm, gmm, g·mm", 1e-6),
        _metric("g.cm, g cm, gcm, g·cm", 1e-5),
        _inch("oz.in, oz in, oz-in, in.oz, in oz, in-oz, ounce inch", POUND / 16 * INCH),
    ),
    "specific energy": Dimension(
        "J/kg", "BTU/lb", "MJ/kg", "43.5 MJ/kg", "MJ/kg, BTU/lb, kJ/kg",
        _metric("MJ/kg", 1e6),
        _metric("kJ/kg", 1e3),
        _inch("BTU/lb, BTU per lb", BRITISH_THERMAL_UNIT / POUND),
    ),
    "density": Dimension(
        "kg/m^3", "lb/gal", "kg/m3", "745 kg/m3", "lb/gal, kg/m3, kg/L, g/cc",
        _metric("kg/m3, kg/m³", 1.0),
        _metric("kg/L, kg/l", 1e3),
        _metric("g/cc, g/cm3, g/cm³, g/ml, g/mL", 1e3),
        _inch("lb/gal, lbs/gal, lb/US gal", POUND / US_GALLON),
        _inch("lb/imp gal, lbs/imp gal, lb/UK gal", POUND / IMPERIAL_GALLON),
    ),
    "time": Dimension(
        "s", "s", "s", "12.4 s", "s, min, h",
        _both("s, sec, secs, seconds", 1.0),
        _both("ms", 1e-3),
        _both("min, mins, minutes", MINUTE),
        _both("h, hr, hrs, hours", HOUR),
    ),
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
    "g.mm": "g mm",
    "g.cm": "g cm",
    "oz.in": "oz in",
    "kg/m3": "kg/m³",
    "cm2": "cm²",
    "mm2": "mm²",
    "in2": "in²",
    "cm3": "cm³",
    "um": "µm",
    "uin": "µin",
    "inH2O": "in H₂O",
    "in H2O": "in H₂O",
    "in Hg": "inHg",
    "mm Hg": "mmHg",
}


def printed_unit(name: str) -> str:
    """Return how a unit written with this name is printed."""
    return _PRINTED.get(name, name)


def example_of(dimension: str | None) -> str:
    """Return how a value of a dimension is written (None: of any dimension)."""
    if dimension == NUMBER:
        return "1.6"
    return DIMENSIONS[dimension].example if dimension else "4.0305 in"
