"""The kinds of quantity a record holds, and the units each may be written in."""

from __future__ import annotations

from dataclasses import dataclass

NUMBER = "number"
"""The dimension of a plain ratio or count, which carries no unit."""


@dataclass(frozen=True, slots=True)
class Dimension:
    """A kind of quantity, the unit it is kept in, and how the shop may write it.

    ``units`` maps each accepted spelling to pint's name for it. The first spelling of each system is the
    one Millbook itself writes.
    """

    name: str
    si: str
    units: dict[str, str]
    inch: str
    metric: str
    example: str


# Water of 1 kg/L, as the conventional unit has it. Spelled out, because pint's name for it changed.
_INCH_OF_WATER = "inch*kilogram/liter*standard_gravity"


def _dimensions(*items: Dimension) -> dict[str, Dimension]:
    return {item.name: item for item in items}


DIMENSIONS: dict[str, Dimension] = _dimensions(
    Dimension(
        "length",
        "m",
        {
            "in": "inch",
            "mm": "mm",
            "thou": "thou",
            "um": "um",
            "µm": "um",
            "μm": "um",
            "cm": "cm",
            "m": "m",
            "ft": "ft",
            "inch": "inch",
            "inches": "inch",
            '"': "inch",
        },
        "in",
        "mm",
        "4.0305 in",
    ),
    Dimension(
        "volume",
        "m^3",
        {
            "cc": "cm**3",
            "cu in": "inch**3",
            "L": "liter",
            "cm3": "cm**3",
            "cm³": "cm**3",
            "ml": "ml",
            "mL": "ml",
            "l": "liter",
            "litre": "liter",
            "litres": "liter",
            "in3": "inch**3",
            "in³": "inch**3",
            "cu.in": "inch**3",
            "qt": "quart",
            "US pt": "pint",
            "US gal": "gallon",
            "mm3": "mm**3",
        },
        "cc",
        "cc",
        "72.4 cc",
    ),
    Dimension(
        "area",
        "m^2",
        {
            "sq in": "inch**2",
            "cm2": "cm**2",
            "mm2": "mm**2",
            "in2": "inch**2",
            "cm²": "cm**2",
            "mm²": "mm**2",
            "in²": "inch**2",
        },
        "sq in",
        "cm2",
        "2.35 sq in",
    ),
    Dimension("angle", "deg", {"deg": "degree", "°": "degree", "degrees": "degree"}, "deg", "deg", "104 deg"),
    Dimension(
        "torque",
        "N m",
        {
            "lbf.ft": "lbf*ft",
            "N.m": "N*m",
            "lbf.in": "lbf*inch",
            "lbf ft": "lbf*ft",
            "lb.ft": "lbf*ft",
            "lb-ft": "lbf*ft",
            "ft-lb": "lbf*ft",
            "ft.lbf": "lbf*ft",
            "ft-lbf": "lbf*ft",
            "ft.lb": "lbf*ft",
            "Nm": "N*m",
            "N m": "N*m",
            "N·m": "N*m",
            "kgf.m": "kgf*m",
            "in-lb": "lbf*inch",
            "lbf in": "lbf*inch",
            "in.lbf": "lbf*inch",
            "in-lbf": "lbf*inch",
            "ft-lbs": "lbf*ft",
            "lbs-ft": "lbf*ft",
            "in-lbs": "lbf*inch",
            "lb-in": "lbf*inch",
        },
        "lbf.ft",
        "N.m",
        "65 lbf.ft",
    ),
    Dimension("mass", "kg", {"g": "g", "kg": "kg", "lb": "lb", "oz": "oz", "lbs": "lb"}, "g", "g", "512.5 g"),
    # Springs are sold by the pound: where a force is wanted, a pound is a pound-force.
    Dimension(
        "force",
        "N",
        {"lbf": "lbf", "N": "N", "kN": "kN", "kgf": "kgf", "lb": "lbf", "lbs": "lbf"},
        "lbf",
        "N",
        "125 lbf",
    ),
    Dimension(
        "stiffness",
        "N/m",
        {"lbf/in": "lbf/inch", "N/mm": "N/mm", "lb/in": "lbf/inch"},
        "lbf/in",
        "N/mm",
        "350 lbf/in",
    ),
    Dimension(
        "pressure",
        "Pa",
        {
            "psi": "psi",
            "kPa": "kPa",
            "bar": "bar",
            "inHg": "inHg",
            "inH2O": _INCH_OF_WATER,
            "mbar": "mbar",
            "hPa": "hPa",
            "mmHg": "mmHg",
            "Pa": "Pa",
            "MPa": "MPa",
            "in Hg": "inHg",
            "in H2O": _INCH_OF_WATER,
            "mm Hg": "mmHg",
        },
        "psi",
        "kPa",
        "29.61 inHg",
    ),
    Dimension(
        "temperature",
        "K",
        {
            "degF": "degF",
            "degC": "degC",
            "K": "kelvin",
            "F": "degF",
            "C": "degC",
            "°F": "degF",
            "°C": "degC",
            "deg F": "degF",
            "deg C": "degC",
        },
        "degF",
        "degC",
        "72 degF",
    ),
    Dimension(
        "power", "W", {"hp": "hp", "kW": "kW", "PS": "metric_horsepower", "W": "W", "bhp": "hp"}, "hp", "kW", "310 hp"
    ),
    Dimension(
        "engine speed",
        "rev/s",
        {
            "rpm": "revolution/minute",
            "rev/min": "revolution/minute",
            "1/min": "revolution/minute",
            "rev/s": "revolution/second",
        },
        "rpm",
        "rpm",
        "6500 rpm",
    ),
    Dimension(
        "volume flow",
        "m^3/s",
        {
            "cfm": "ft**3/minute",
            "L/s": "liter/second",
            "L/min": "liter/minute",
            "m3/h": "m**3/hour",
            "l/s": "liter/second",
            "l/min": "liter/minute",
            "cc/min": "cm**3/minute",
            "m3/s": "m**3/s",
        },
        "cfm",
        "L/s",
        "245 cfm",
    ),
    Dimension(
        "mass flow",
        "kg/s",
        {"lb/h": "lb/hour", "kg/h": "kg/hour", "g/s": "g/s", "lb/hr": "lb/hour", "g/min": "g/minute", "kg/s": "kg/s"},
        "lb/h",
        "kg/h",
        "42 lb/h",
    ),
    Dimension("fraction", "1", {"%": "percent"}, "%", "%", "45 %"),
    Dimension(
        "inertia",
        "kg m^2",
        {"kg.m2": "kg*m**2", "lb.ft2": "lb*ft**2", "kg m2": "kg*m**2"},
        "kg.m2",
        "kg.m2",
        "1.85 kg.m2",
    ),
    Dimension("specific energy", "J/kg", {"MJ/kg": "MJ/kg", "BTU/lb": "BTU/lb"}, "MJ/kg", "MJ/kg", "43.5 MJ/kg"),
    Dimension(
        "density", "kg/m^3", {"kg/m3": "kg/m**3", "kg/L": "kg/liter", "g/cc": "g/cm**3"}, "kg/m3", "kg/m3", "745 kg/m3"
    ),
    Dimension("time", "s", {"s": "s", "min": "minute", "h": "hour"}, "s", "s", "12.4 s"),
)


def example_of(dimension: str | None) -> str:
    """How a value of a dimension is written."""
    if dimension == NUMBER:
        return "1.6"
    return DIMENSIONS[dimension].example if dimension else "4.0305 in"
