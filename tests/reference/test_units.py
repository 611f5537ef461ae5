"""Unit conversions at the edge of the record, held against pint and against the factors printed by NIST."""
# ruff: noqa: E501  (tables)

from __future__ import annotations

import math

import pint
import pytest
from scipy import constants

from builder.record.quantities.units import DIMENSIONS, parse_quantity, to_unit

# What each spelling means, written here by hand and apart from the record's own table: spelling -> pint expression.
MEANS: dict[str, dict[str, str]] = {
    "length": {
        **dict.fromkeys(("in", "inch", "inches", '"', "''"), "inch"),
        **dict.fromkeys(("mm", "millimeter", "millimeters", "millimetre", "millimetres"), "millimeter"),
        **dict.fromkeys(("thou", "thousandths"), "0.001 inch"),
        **dict.fromkeys(("um", "µm", "μm", "micron", "microns"), "micrometer"),
        **dict.fromkeys(("uin", "µin", "μin", "microinch", "microinches"), "1e-6 inch"),
        **dict.fromkeys(("cm", "centimeters", "centimetres"), "centimeter"),
        **dict.fromkeys(("m", "meter", "meters", "metre", "metres"), "meter"),
        **dict.fromkeys(("ft", "feet", "foot"), "foot"), **dict.fromkeys(("mi", "miles", "mile"), "mile"),
        **dict.fromkeys(("km", "kilometers", "kilometres"), "kilometer"),
    },
    "volume": {
        **dict.fromkeys(("cc", "ccs", "cm3", "cm³"), "centimeter**3"),
        **dict.fromkeys(("cu in", "cu.in", "in3", "in³", "cubic inch", "cubic inches", "cid", "ci"), "inch**3"),
        **dict.fromkeys(("L", "l", "liter", "liters", "litre", "litres"), "liter"),
        **dict.fromkeys(("ml", "mL", "milliliters", "millilitres"), "milliliter"),
        **dict.fromkeys(("qt", "qts", "quart", "quarts", "US qt", "US quarts"), "US_liquid_quart"),
        **dict.fromkeys(("pt", "pts", "pint", "pints", "US pt", "US pints"), "US_liquid_gallon / 8"),
        **dict.fromkeys(("fl oz", "US fl oz"), "US_fluid_ounce"),
        **dict.fromkeys(("gal", "gals", "gallon", "gallons", "US gal", "US gallons"), "US_liquid_gallon"),
        **dict.fromkeys(("imp qt", "imperial qt", "imperial quarts", "UK qt", "UK quarts", "imp quarts"), "imperial_quart"),
        **dict.fromkeys(("imp pt", "imperial pt", "imperial pints", "UK pt", "UK pints", "imp pints"), "imperial_pint"),
        **dict.fromkeys(("imp fl oz", "UK fl oz"), "imperial_fluid_ounce"),
        **dict.fromkeys(("imp gal", "imperial gal", "imperial gallons", "imp gallons", "UK gal", "UK gallons"), "imperial_gallon"),
        **dict.fromkeys(("mm3", "mm³"), "millimeter**3"),
    },
    "area": {
        **dict.fromkeys(("sq in", "in2", "in²", "square inches"), "inch**2"),
        **dict.fromkeys(("cm2", "cm²", "sq cm"), "centimeter**2"),
        **dict.fromkeys(("mm2", "mm²", "sq mm"), "millimeter**2"),
    },
    "angle": dict.fromkeys(("deg", "°", "degs", "degree", "degrees"), "degree"),
    "torque": {
        **dict.fromkeys(("lbf.ft", "lbf ft", "lb.ft", "lb-ft", "ft-lb", "ft.lbf", "ft-lbf", "ft.lb", "ft-lbs", "lbs-ft",
                         "lbs.ft", "foot-pounds", "pound-feet", "pounds-feet", "foot-pound"), "foot * force_pound"),
        **dict.fromkeys(("lbf.in", "in-lb", "lbf in", "in.lbf", "in-lbf", "in-lbs", "lb-in", "lbs-in", "inch-pounds",
                         "pound-inches"), "inch * force_pound"),
        **dict.fromkeys(("N.m", "Nm", "N m", "N·m", "newton meters", "newton metres"), "newton * meter"),
        **dict.fromkeys(("kgf.m", "kg.m", "kgm"), "force_kilogram * meter"),
    },
    "force": {
        **dict.fromkeys(("lbf", "lb", "lbs", "pound", "pounds"), "force_pound"),
        **dict.fromkeys(("N", "newton", "newtons"), "newton"), "kN": "kilonewton",
        **dict.fromkeys(("kgf", "kg", "kp"), "force_kilogram"),
    },
    "stiffness": {
        **dict.fromkeys(("lbf/in", "lb/in", "lbs/in", "lbs/inch", "lb/inch", "pounds per inch"), "force_pound / inch"),
        "N/mm": "newton / millimeter", **dict.fromkeys(("kgf/mm", "kg/mm"), "force_kilogram / millimeter"),
    },
    "mass": {
        **dict.fromkeys(("g", "gram", "grams", "gm", "gms"), "gram"),
        **dict.fromkeys(("kg", "kgs", "kilogram", "kilograms", "kilo", "kilos"), "kilogram"),
        **dict.fromkeys(("lb", "lbs", "pound", "pounds"), "avoirdupois_pound"),
        **dict.fromkeys(("oz", "ounce", "ounces"), "avoirdupois_ounce"),
    },
    "pressure": {
        **dict.fromkeys(("psi", "lb/in2", "lbf/in2", "lb/sq in", "lbs/sq in", "lbs/in2"), "force_pound / inch**2"),
        "kPa": "kilopascal", "hPa": "hectopascal", "Pa": "pascal", "MPa": "megapascal",
        **dict.fromkeys(("bar", "bars"), "bar"),
        **dict.fromkeys(("mbar", "mb", "millibar", "millibars"), "millibar"),
        **dict.fromkeys(("inHg", "in Hg", '"Hg', "in. Hg", "inches Hg", "inches of mercury"), "inch_Hg"),
        **dict.fromkeys(("mmHg", "mm Hg", "torr"), "millimeter_Hg"),
        **dict.fromkeys(("inH2O", "in H2O", '"H2O', "in WC", "in wg", "inches H2O", "inches of water", "in H₂O", "inH₂O"),
                        "inch * kilogram / liter * standard_gravity"),
        **dict.fromkeys(("kgf/cm2", "kg/cm2"), "force_kilogram / centimeter**2"),
    },
    "power": {
        **dict.fromkeys(("hp", "bhp", "horsepower"), "horsepower"), "kW": "kilowatt", "W": "watt",
        **dict.fromkeys(("PS", "metric hp"), "metric_horsepower"),
    },
    "engine speed": {
        **dict.fromkeys(("rpm", "rev/min", "revs/min", "r/min", "revs", "1/min"), "turn / minute"),
        "rev/s": "turn / second",
    },
    "volume flow": {
        **dict.fromkeys(("cfm", "cu ft/min", "ft3/min"), "foot**3 / minute"),
        **dict.fromkeys(("L/s", "l/s"), "liter / second"), **dict.fromkeys(("L/min", "l/min", "lpm"), "liter / minute"),
        **dict.fromkeys(("L/h", "l/h", "lph"), "liter / hour"), "m3/h": "meter**3 / hour", "m3/s": "meter**3 / second",
        **dict.fromkeys(("cc/min", "ml/min", "mL/min", "cm3/min"), "centimeter**3 / minute"),
        **dict.fromkeys(("gal/h", "gal/hr", "gph", "US gal/h", "US gal/hr"), "US_liquid_gallon / hour"),
        **dict.fromkeys(("gpm", "gal/min", "US gpm", "US gal/min"), "US_liquid_gallon / minute"),
        **dict.fromkeys(("imp gpm", "imp gal/min", "UK gpm", "UK gal/min"), "imperial_gallon / minute"),
        **dict.fromkeys(("imp gal/h", "imp gal/hr", "UK gal/h"), "imperial_gallon / hour"),
    },
    "mass flow": {
        **dict.fromkeys(("lb/h", "lb/hr", "lbs/h", "lbs/hr", "lb/hour", "pph"), "avoirdupois_pound / hour"),
        **dict.fromkeys(("lb/min", "lbs/min"), "avoirdupois_pound / minute"),
        **dict.fromkeys(("kg/h", "kg/hr"), "kilogram / hour"),
        "g/s": "gram / second", "g/min": "gram / minute", "kg/s": "kilogram / second",
    },
    "fraction": dict.fromkeys(("%", "percent", "per cent", "pct"), "0.01"),
    "imbalance": {
        **dict.fromkeys(("g.mm", "g mm", "gmm", "g·mm"), "gram * millimeter"),
        **dict.fromkeys(("g.cm", "g cm", "gcm", "g·cm"), "gram * centimeter"),
        **dict.fromkeys(("oz.in", "oz in", "oz-in", "in.oz", "in oz", "in-oz", "ounce inch"), "ounce * inch"),
    },
    "inertia": {
        **dict.fromkeys(("kg.m2", "kg m2", "kg m²"), "kilogram * meter**2"),
        **dict.fromkeys(("lb.ft2", "lb ft²", "lb.sq ft"), "avoirdupois_pound * foot**2"),
    },
    "specific energy": {
        "MJ/kg": "megajoule / kilogram", "kJ/kg": "kilojoule / kilogram",
        **dict.fromkeys(("BTU/lb", "BTU per lb"), "Btu / avoirdupois_pound"),
    },
    "density": {
        **dict.fromkeys(("kg/m3", "kg/m³"), "kilogram / meter**3"), **dict.fromkeys(("kg/L", "kg/l"), "kilogram / liter"),
        **dict.fromkeys(("g/cc", "g/cm3", "g/cm³", "g/ml", "g/mL"), "gram / centimeter**3"),
        **dict.fromkeys(("lb/gal", "lbs/gal", "lb/US gal"), "avoirdupois_pound / US_liquid_gallon"),
        **dict.fromkeys(("lb/imp gal", "lbs/imp gal", "lb/UK gal"), "avoirdupois_pound / imperial_gallon"),
    },
    "time": {
        **dict.fromkeys(("s", "sec", "secs", "seconds"), "second"), "ms": "millisecond",
        **dict.fromkeys(("min", "mins", "minutes"), "minute"), **dict.fromkeys(("h", "hr", "hrs", "hours"), "hour"),
    },
}  # fmt: skip

TEMPERATURE_SCALES = {
    **dict.fromkeys(("degF", "F", "°F", "deg F", "degrees F", "fahrenheit"), "degF"),
    **dict.fromkeys(("degC", "C", "°C", "deg C", "degrees C", "celsius"), "degC"),
    **dict.fromkeys(("K", "kelvin"), "kelvin"),
}

SI = {
    "length": "meter", "volume": "meter**3", "area": "meter**2", "angle": "degree", "torque": "newton * meter",
    "force": "newton", "stiffness": "newton / meter", "mass": "kilogram", "pressure": "pascal", "power": "watt",
    "engine speed": "turn / second", "volume flow": "meter**3 / second", "mass flow": "kilogram / second",
    "fraction": "dimensionless", "inertia": "kilogram * meter**2", "specific energy": "joule / kilogram",
    "imbalance": "kilogram * meter",
    "density": "kilogram / meter**3", "time": "second",
}  # fmt: skip

EVERY = [(dimension, unit) for dimension, units in MEANS.items() for unit in units]


@pytest.fixture(scope="module")
def ureg() -> pint.UnitRegistry:
    return pint.UnitRegistry()


def test_no_unit_of_the_record_is_left_out_of_this_check() -> None:
    checked = {name: set(units) for name, units in MEANS.items()}
    checked["temperature"] = set(TEMPERATURE_SCALES)
    assert checked == {name: set(dimension.units) for name, dimension in DIMENSIONS.items()}


@pytest.mark.parametrize(("dimension", "unit"), EVERY)
def test_every_unit_as_pint_converts_it(dimension: str, unit: str, ureg: pint.UnitRegistry) -> None:
    """pint, the library of units."""
    expected = (3.25 * ureg(MEANS[dimension][unit])).to(SI[dimension]).magnitude
    quantity = parse_quantity(f"3.25 {unit}", dimension)
    assert quantity.si == pytest.approx(expected, rel=1e-12)
    assert to_unit(expected, unit, dimension) == pytest.approx(3.25, rel=1e-12)


@pytest.mark.parametrize("unit", list(TEMPERATURE_SCALES))
@pytest.mark.parametrize("number", ["-40", "0", "32", "72.5", "212"])
def test_every_temperature_as_pint_converts_it(unit: str, number: str, ureg: pint.UnitRegistry) -> None:
    """pint, the library of units."""
    expected = ureg.Quantity(float(number), TEMPERATURE_SCALES[unit]).to("kelvin").magnitude
    if expected >= 0:
        assert parse_quantity(f"{number} {unit}", "temperature").si == pytest.approx(expected, rel=1e-12)


# NIST SP 811 (2008), Guide for the Use of the SI, appendix B.8 (from memory): multiply by to get the SI unit.
NIST = [
    ("length", "in", 2.54e-2), ("length", "ft", 3.048e-1), ("length", "thou", 2.54e-5),
    ("volume", "cu in", 1.638706e-5), ("volume", "L", 1.0e-3), ("volume", "qt", 9.463529e-4),
    ("volume", "US pt", 4.731765e-4), ("volume", "US gal", 3.785412e-3),
    ("area", "sq in", 6.4516e-4),
    ("torque", "lbf.ft", 1.355818), ("torque", "lbf.in", 1.129848e-1), ("torque", "kgf.m", 9.80665),
    ("force", "lbf", 4.448222), ("force", "kgf", 9.80665), ("stiffness", "lbf/in", 1.751268e2),
    ("mass", "lb", 4.535924e-1), ("mass", "oz", 2.834952e-2),
    ("pressure", "psi", 6.894757e3), ("pressure", "bar", 1.0e5), ("pressure", "mbar", 1.0e2),
    ("pressure", "inHg", 3.386389e3), ("pressure", "mmHg", 1.333224e2),
    ("power", "hp", 7.456999e2), ("power", "PS", 7.354988e2),
    ("volume flow", "cfm", 4.719474e-4), ("mass flow", "lb/h", 1.259979e-4),
    ("inertia", "lb.ft2", 4.214011e-2), ("specific energy", "BTU/lb", 2.326e3),
]  # fmt: skip


@pytest.mark.parametrize(("dimension", "unit", "factor"), NIST)
def test_factors_as_printed_by_nist(dimension: str, unit: str, factor: float) -> None:
    """NIST SP 811 (2008), appendix B.8 (from memory), to the seven digits printed there."""
    assert parse_quantity(f"1 {unit}", dimension).si == pytest.approx(factor, rel=5e-7)


def test_the_two_factors_that_matter_most_to_a_dyno() -> None:
    """NIST SP 811 (2008): 1 lbf ft = 1.355 817 948 N m, 1 hp (550 ft lbf/s) = 745.699 872 W."""
    assert parse_quantity("1 lbf.ft", "torque").si == pytest.approx(1.355817948, abs=5e-10)
    assert parse_quantity("1 hp", "power").si == pytest.approx(745.699872, abs=5e-7)


def test_an_inch_of_water_is_one_of_those_that_are_printed() -> None:
    """NIST SP 811 (2008), appendix B.8 (from memory): 249.0889 Pa conventional, 249.082 at 39.2 F, 248.84 at 60 F."""
    pascals = parse_quantity("1 inH2O", "pressure").si
    assert min(abs(pascals - printed) for printed in (249.0889, 249.082)) < 5e-3


def test_fixed_points_of_the_temperature_scales() -> None:
    """NIST SP 811 (2008), B.8 and 4.2.1.1: T/K = t/C + 273.15 = (t/F + 459.67)/1.8."""
    for text, kelvin in (
        ("0 degC", 273.15),
        ("32 degF", 273.15),
        ("212 degF", 373.15),
        ("-459.67 degF", 0.0),
        ("-40 degF", 233.15),
    ):
        assert parse_quantity(text, "temperature").si == pytest.approx(kelvin, abs=1e-9)


@pytest.mark.parametrize(
    ("dimension", "unit", "reference"),
    [
        ("length", "in", constants.inch), ("length", "ft", constants.foot), ("mass", "lb", constants.pound),
        ("mass", "oz", constants.oz), ("force", "lbf", constants.pound_force), ("force", "kgf", constants.kilogram_force),
        ("pressure", "psi", constants.psi), ("pressure", "mmHg", constants.mmHg), ("pressure", "bar", constants.bar),
        ("power", "hp", constants.hp), ("volume", "US gal", constants.gallon_US), ("volume", "L", constants.liter),
        ("time", "h", constants.hour),
    ],
)  # fmt: skip
def test_factors_as_scipy_has_them(dimension: str, unit: str, reference: float) -> None:
    """SciPy, scipy.constants."""
    assert parse_quantity(f"1 {unit}", dimension).si == pytest.approx(reference, rel=1e-6)


def test_a_revolution_a_minute_in_radians() -> None:
    """NIST SP 811 (2008), appendix B.8 (from memory): 1 rpm = 1.047 198 E-01 rad/s."""
    turns = parse_quantity("1 rpm", "engine speed").si
    assert turns * math.tau == pytest.approx(1.047198e-1, rel=5e-7)
