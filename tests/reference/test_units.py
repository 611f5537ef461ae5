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
        "in": "inch", "inch": "inch", "inches": "inch", '"': "inch", "mm": "millimeter", "thou": "0.001 inch",
        "um": "micrometer", "µm": "micrometer", "μm": "micrometer", "cm": "centimeter", "m": "meter", "ft": "foot",
    },
    "volume": {
        "cc": "centimeter**3", "cm3": "centimeter**3", "cm³": "centimeter**3", "ml": "milliliter", "mL": "milliliter",
        "cu in": "inch**3", "cu.in": "inch**3", "in3": "inch**3", "in³": "inch**3", "L": "liter", "l": "liter",
        "litre": "liter", "litres": "liter", "qt": "US_liquid_quart", "US pt": "US_liquid_gallon / 8",
        "US gal": "US_liquid_gallon", "mm3": "millimeter**3",
    },
    "area": {
        "sq in": "inch**2", "in2": "inch**2", "in²": "inch**2", "cm2": "centimeter**2", "cm²": "centimeter**2",
        "mm2": "millimeter**2", "mm²": "millimeter**2",
    },
    "angle": {"deg": "degree", "°": "degree", "degrees": "degree"},
    "torque": {
        **dict.fromkeys(("lbf.ft", "lbf ft", "lb.ft", "lb-ft", "ft-lb", "ft.lbf", "ft-lbf", "ft.lb", "ft-lbs", "lbs-ft"),
                        "foot * force_pound"),
        **dict.fromkeys(("lbf.in", "in-lb", "lbf in", "in.lbf", "in-lbf", "in-lbs", "lb-in"), "inch * force_pound"),
        **dict.fromkeys(("N.m", "Nm", "N m", "N·m"), "newton * meter"), "kgf.m": "force_kilogram * meter",
    },
    "force": {"lbf": "force_pound", "lb": "force_pound", "lbs": "force_pound", "N": "newton", "kN": "kilonewton",
              "kgf": "force_kilogram"},
    "stiffness": {"lbf/in": "force_pound / inch", "lb/in": "force_pound / inch", "N/mm": "newton / millimeter"},
    "mass": {"g": "gram", "kg": "kilogram", "lb": "avoirdupois_pound", "lbs": "avoirdupois_pound",
             "oz": "avoirdupois_ounce"},
    "pressure": {
        "psi": "force_pound / inch**2", "kPa": "kilopascal", "bar": "bar", "mbar": "millibar", "hPa": "hectopascal",
        "Pa": "pascal", "MPa": "megapascal", "inHg": "inch_Hg", "in Hg": "inch_Hg", "mmHg": "millimeter_Hg",
        "mm Hg": "millimeter_Hg", "inH2O": "inch * kilogram / liter * standard_gravity", "in H2O": "inch * kilogram / liter * standard_gravity",
    },
    "power": {"hp": "horsepower", "bhp": "horsepower", "kW": "kilowatt", "PS": "metric_horsepower", "W": "watt"},
    "engine speed": {"rpm": "turn / minute", "rev/min": "turn / minute", "1/min": "turn / minute", "rev/s": "turn / second"},
    "volume flow": {
        "cfm": "foot**3 / minute", "L/s": "liter / second", "l/s": "liter / second", "L/min": "liter / minute",
        "l/min": "liter / minute", "m3/h": "meter**3 / hour", "m3/s": "meter**3 / second",
        "cc/min": "centimeter**3 / minute",
    },
    "mass flow": {
        "lb/h": "avoirdupois_pound / hour", "lb/hr": "avoirdupois_pound / hour", "kg/h": "kilogram / hour",
        "g/s": "gram / second", "g/min": "gram / minute", "kg/s": "kilogram / second",
    },
    "fraction": {"%": "0.01"},
    "inertia": {"kg.m2": "kilogram * meter**2", "kg m2": "kilogram * meter**2",
                "lb.ft2": "avoirdupois_pound * foot**2"},
    "specific energy": {"MJ/kg": "megajoule / kilogram", "BTU/lb": "Btu / avoirdupois_pound"},
    "density": {"kg/m3": "kilogram / meter**3", "kg/L": "kilogram / liter", "g/cc": "gram / centimeter**3"},
    "time": {"s": "second", "min": "minute", "h": "hour"},
}  # fmt: skip

SI = {
    "length": "meter", "volume": "meter**3", "area": "meter**2", "angle": "degree", "torque": "newton * meter",
    "force": "newton", "stiffness": "newton / meter", "mass": "kilogram", "pressure": "pascal", "power": "watt",
    "engine speed": "turn / second", "volume flow": "meter**3 / second", "mass flow": "kilogram / second",
    "fraction": "dimensionless", "inertia": "kilogram * meter**2", "specific energy": "joule / kilogram",
    "density": "kilogram / meter**3", "time": "second",
}  # fmt: skip

EVERY = [(dimension, unit) for dimension, units in MEANS.items() for unit in units]


@pytest.fixture(scope="module")
def ureg() -> pint.UnitRegistry:
    return pint.UnitRegistry()


def test_no_unit_of_the_record_is_left_out_of_this_check() -> None:
    checked = {name: set(units) for name, units in MEANS.items()}
    checked["temperature"] = set(DIMENSIONS["temperature"].units)
    assert checked == {name: set(dimension.units) for name, dimension in DIMENSIONS.items()}


@pytest.mark.parametrize(("dimension", "unit"), EVERY)
def test_every_unit_as_pint_converts_it(dimension: str, unit: str, ureg: pint.UnitRegistry) -> None:
    """pint, the library of units."""
    expected = (3.25 * ureg(MEANS[dimension][unit])).to(SI[dimension]).magnitude
    quantity = parse_quantity(f"3.25 {unit}", dimension)
    assert quantity.si == pytest.approx(expected, rel=1e-12)
    assert to_unit(expected, unit, dimension) == pytest.approx(3.25, rel=1e-12)


@pytest.mark.parametrize("unit", list(DIMENSIONS["temperature"].units))
@pytest.mark.parametrize("number", ["-40", "0", "32", "72.5", "212"])
def test_every_temperature_as_pint_converts_it(unit: str, number: str, ureg: pint.UnitRegistry) -> None:
    """pint, the library of units."""
    scale = {"F": "degF", "C": "degC", "K": "kelvin"}[unit[-1]]
    expected = ureg.Quantity(float(number), scale).to("kelvin").magnitude
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
