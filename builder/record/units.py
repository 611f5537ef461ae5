"""Units at the edge of the record: a value as written, its SI value, and the way back.

pint does the arithmetic of units, and is loaded only when the first unit is met. Each unit is asked of
pint once; after that a conversion is one multiplication, so that a thousand builds read quickly.
"""

from __future__ import annotations

import difflib
import re
from dataclasses import dataclass
from functools import cache
from typing import Any


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
        {"sq in": "inch**2", "cm2": "cm**2", "mm2": "mm**2", "in2": "inch**2"},
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
        },
        "lbf.ft",
        "N.m",
        "65 lbf.ft",
    ),
    Dimension("force", "N", {"lbf": "lbf", "N": "N", "kN": "kN", "kgf": "kgf"}, "lbf", "N", "125 lbf"),
    Dimension(
        "stiffness",
        "N/m",
        {"lbf/in": "lbf/inch", "N/mm": "N/mm", "lb/in": "lbf/inch"},
        "lbf/in",
        "N/mm",
        "350 lbf/in",
    ),
    Dimension("mass", "kg", {"g": "g", "kg": "kg", "lb": "lb", "oz": "oz", "lbs": "lb"}, "g", "g", "512.5 g"),
    Dimension(
        "pressure",
        "Pa",
        {
            "psi": "psi",
            "kPa": "kPa",
            "bar": "bar",
            "inHg": "inHg",
            "inH2O": "inH2O",
            "mbar": "mbar",
            "hPa": "hPa",
            "mmHg": "mmHg",
            "Pa": "Pa",
            "MPa": "MPa",
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

_PINT_SI = {
    "m^3": "m**3",
    "m^2": "m**2",
    "N m": "N*m",
    "deg": "degree",
    "rev/s": "revolution/second",
    "1": "dimensionless",
    "m^3/s": "m**3/s",
    "kg m^2": "kg*m**2",
    "kg/m^3": "kg/m**3",
    "K": "kelvin",
}

_NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?"
_QUANTITY = re.compile(rf"^\s*(?P<number>{_NUMBER})\s*(?P<unit>[^\d\s.,+-].*?)?\s*$")
_FRACTION = re.compile(r"^\s*(?:(?P<whole>\d+)[ -])?(?P<over>\d+)/(?P<under>\d+)\s*(?P<unit>[^\d\s/].*?)\s*$")
_RANGE = re.compile(rf"^\s*(?P<least>{_NUMBER})\s*\.\.\s*(?P<most>{_NUMBER})\s*(?P<unit>\S.*?)?\s*$")
_DECIMAL_COMMA = re.compile(r"^\s*[+-]?\d+,\d+")


class UnitProblem(ValueError):
    """A value that cannot be read as a quantity; its text is the message for the shop."""


@dataclass(frozen=True, slots=True)
class Quantity:
    """One value as the shop wrote it, with its SI value beside it."""

    si: float
    number: str
    unit: str
    dimension: str

    @property
    def text(self) -> str:
        """The value as written: the same number, the same unit."""
        if not self.unit:
            return self.number
        return f"{self.number}{'' if self.unit == '°' else ' '}{self.unit}"

    @property
    def step(self) -> float:
        """One unit in the last decimal written, in SI (`4.0305 in` -> 0.0001 in)."""
        digits = self.number.lower().split("e")[0]
        decimals = len(digits.split(".")[1]) if "." in digits else 0
        scale, _ = factor(self.unit, self.dimension) if self.unit else (1.0, 0.0)
        return float(10.0**-decimals * scale)

    @property
    def significant_digits(self) -> int:
        """How many significant digits the number was written with."""
        digits = self.number.lower().split("e")[0].lstrip("+-").replace(".", "").lstrip("0")
        return max(1, len(digits))


@dataclass(frozen=True, slots=True)
class Range:
    """From least to most, both included."""

    least: Quantity
    most: Quantity

    @property
    def text(self) -> str:
        """The range as written, with its unit once."""
        return f"{self.least.number} to {self.most.text}"


@cache
def registry() -> Any:
    """pint's registry, made when the first unit is met."""
    import pint

    return pint.UnitRegistry()


@cache
def linear_factor(pint_unit: str, pint_target: str) -> tuple[float, float]:
    """Scale and offset that take a number in one pint unit to another: ``target = scale * x + offset``."""
    quantity = registry().Quantity
    zero = float(quantity(0.0, pint_unit).to(pint_target).magnitude)
    step = f"delta_{pint_unit}" if zero else pint_unit
    return float(quantity(1.0, step).to(pint_target).magnitude), zero


@cache
def factor(unit: str, dimension: str) -> tuple[float, float]:
    """Scale and offset from a written unit to the SI unit of its dimension.

    Raises UnitProblem, with the fix, for a unit that the dimension does not know.
    """
    known = DIMENSIONS[dimension]
    name = known.units.get(unit) or known.units.get(_plain(unit))
    if name is None:
        raise UnitProblem(_unknown_unit(unit, known))
    return linear_factor(name, _PINT_SI.get(known.si, known.si))


def dimension_of(unit: str) -> str | None:
    """The dimension a written unit belongs to, or None if no dimension knows it."""
    plain = _plain(unit)
    for name, dimension in DIMENSIONS.items():
        if unit in dimension.units or plain in dimension.units:
            return name
    return None


def to_unit(si: float, unit: str, dimension: str) -> float:
    """An SI value in the written unit."""
    scale, offset = factor(unit, dimension)
    return (si - offset) / scale


@cache
def _spellings() -> dict[str, str]:
    return {_folded(spelling): spelling for known in DIMENSIONS.values() for spelling in known.units}


def _folded(unit: str) -> str:
    return re.sub(r"[\s.·-]+", ".", unit.strip().lower())


def _plain(unit: str) -> str:
    """The spelling without decoration: `lbf-ft` and `LBF.FT` are the same thing to a machinist."""
    return _spellings().get(_folded(unit), unit)


def _unknown_unit(unit: str, known: Dimension) -> str:
    other = dimension_of(unit)
    usual = ", ".join(list(known.units)[:4])
    if other is not None:
        return f"{unit!r} is a unit of {other}, but this is a {known.name}: write it in {usual}"
    near = difflib.get_close_matches(unit, list(known.units), n=1)
    hint = f"did you mean {near[0]!r}? " if near else ""
    return f"unknown unit {unit!r}: {hint}a {known.name} is written in {usual}"


def parse_quantity(text: str, dimension: str | None) -> Quantity:
    """Read a value with its unit, such as `4.0305 in`.

    With ``dimension`` None the unit alone says what kind of quantity it is. Raises UnitProblem with the fix.
    """
    example = DIMENSIONS[dimension].example if dimension else "4.0305 in"
    if len(text) > 80:
        raise UnitProblem(
            f"a value this long ({len(text)} characters) is not a number with a unit; write e.g. {example}"
        )
    match = _QUANTITY.match(text)
    number: str | None = None
    value = 0.0
    if match:
        number, value = match["number"], float(match["number"])
        unit = match["unit"] or ""
    elif fraction := _FRACTION.match(text):
        if int(fraction["under"]) == 0:
            raise UnitProblem(f"{text!r} divides by nought")
        value = int(fraction["whole"] or 0) + int(fraction["over"]) / int(fraction["under"])
        unit = fraction["unit"]
        # A fraction is exact: keep it readable as a decimal with the digits it stands for.
        number = f"{value:.6g}"
    else:
        if _DECIMAL_COMMA.match(text):
            fixed = re.sub(r"(\d),(\d)", r"\1.\2", text.strip(), count=1)
            raise UnitProblem(f"{text!r} has a comma in its number: write a decimal point, {fixed}")
        raise UnitProblem(f"{text!r} is not a value with a unit: write e.g. {example}")
    if value != value or value in (float("inf"), float("-inf")):
        raise UnitProblem(f"{text!r} is not a finite number")
    if not unit:
        usual = DIMENSIONS[dimension].inch if dimension else "in"
        metric = DIMENSIONS[dimension].metric if dimension else "mm"
        both = f"{number} {usual}" + (f" or {number} {metric}" if metric != usual else "")
        raise UnitProblem(f"{number} has no unit: write {both}")
    if dimension is None:
        dimension = dimension_of(unit)
        if dimension is None:
            raise UnitProblem(f"unknown unit {unit!r}: write a unit such as in, mm, cc, psi, lbf.ft or deg")
    scale, offset = factor(unit, dimension)
    return Quantity(value * scale + offset, number, unit, dimension)


def parse_range(text: str, dimension: str | None, unit: str | None = None) -> Range:
    """Read an allowed range such as `0.0025..0.0035 in`. Raises UnitProblem with the fix."""
    match = _RANGE.match(text)
    if not match:
        example = DIMENSIONS[dimension].example if dimension else "4.0305 in"
        written = example.split()[-1]
        raise UnitProblem(f"{text!r} is not a range: write least..most and the unit, e.g. 0.0025..0.0035 {written}")
    written_unit = match["unit"] or unit
    if not written_unit:
        usual = DIMENSIONS[dimension].inch if dimension else "in"
        raise UnitProblem(f"the range {text!r} has no unit: write {text.strip()} {usual}")
    least = parse_quantity(f"{match['least']} {written_unit}", dimension)
    most = parse_quantity(f"{match['most']} {written_unit}", dimension)
    if least.si > most.si:
        raise UnitProblem(f"the range {text!r} is upside down: write {match['most']}..{match['least']} {written_unit}")
    return Range(least, most)
