"""Units at the edge of the record: a value as written, its SI value, and the way back.

pint does the arithmetic of units, and is loaded only when the first unit is met. Each unit is asked of
pint once; after that a conversion is one multiplication, so that a thousand builds read quickly.
"""

from __future__ import annotations

import difflib
import math
import re
from dataclasses import dataclass
from functools import cache
from typing import Any

from builder.record.quantities.dimensions import DIMENSIONS, NUMBER, Dimension, example_of

__all__ = [
    "DIMENSIONS",
    "NUMBER",
    "Dimension",
    "Quantity",
    "Range",
    "UnitProblem",
    "check_unit",
    "dimension_of",
    "example_of",
    "factor",
    "linear_factor",
    "parse_quantity",
    "parse_range",
    "to_unit",
]


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

LONGEST_VALUE = 80

_NUMBER = r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?"
_QUANTITY = re.compile(rf"(?P<number>{_NUMBER})\s*(?P<unit>(?:(?<=\s)1/min)|[^\d\s.,/+-].*)?")
_FRACTION = re.compile(r"(?:(?P<whole>[0-9]+)[ -])?(?P<over>[0-9]+)/(?P<under>[0-9]+)\s*(?P<unit>[^\d\s/].*)?")
_RANGE = re.compile(rf"(?P<least>{_NUMBER})\s*\.\.\s*(?P<most>{_NUMBER})\s*(?P<unit>1/min|[^\d\s.,/+-].*)?")
# What a hand used to paper writes for a range.
_LOOSE_RANGE = re.compile(
    rf"(?P<least>{_NUMBER})\s*(?P<least_unit>[^\d\s.,+-]\S*)?\s*(?:-|–|—|to|\.{{3}}|…|/)\s*(?P<most>{_NUMBER})\s*(?P<unit>\S.*)?"
)
_COMMA = re.compile(r"(?P<front>[+-]?[0-9]+),(?P<back>[0-9]+)(?P<rest>.*)", re.DOTALL)


class UnitProblem(ValueError):
    """A value that cannot be read as a quantity; its text is the message for the shop."""


@dataclass(frozen=True, slots=True)
class Quantity:
    """One value as the shop wrote it, with its SI value beside it.

    ``number`` is always a decimal; a value written as a fraction keeps that in ``fraction``.
    """

    si: float
    number: str
    unit: str
    dimension: str
    fraction: str = ""

    @property
    def text(self) -> str:
        """The value as written: the same number, the same unit."""
        number = self.fraction or self.number
        if not self.unit:
            return number
        return f"{number}{'' if self.unit in ('°', chr(34)) else ' '}{self.unit}"

    @property
    def step(self) -> float:
        """One unit in the last place written, in SI (`4.0305 in` -> 0.0001 in; a fraction is good to 1/64)."""
        scale, _ = factor(self.unit, self.dimension) if self.unit else (1.0, 0.0)
        if self.fraction:
            return float(scale / max(64, int(self.fraction.split("/")[1])))
        digits, _, exponent = self.number.lower().partition("e")
        decimals = len(digits.split(".")[1]) if "." in digits else 0
        return float(10.0 ** (int(exponent or 0) - decimals) * scale)


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
    """pint's registry with the units that are met here, made when the first of them is."""
    import pint

    from builder.record.quantities.unit_definitions import DEFINITIONS

    units: Any = pint.UnitRegistry(None)
    units.load_definitions(DEFINITIONS)
    return units


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
    name = known.units.get(_known_spelling(unit, known))
    if name is None:
        raise UnitProblem(_unknown_unit(unit, known))
    return linear_factor(name, _PINT_SI.get(known.si, known.si))


def _known_spelling(unit: str, known: Dimension) -> str:
    """The dimension's own spelling of a unit; the unit itself where the dimension does not know it."""
    if unit in known.units:
        return unit
    folded = _folded(unit)
    return next((spelling for spelling in known.units if _folded(spelling) == folded), unit)


def dimension_of(unit: str) -> str | None:
    """The dimension a written unit belongs to, or None if no dimension knows it."""
    for name, dimension in DIMENSIONS.items():
        if _known_spelling(unit, dimension) in dimension.units:
            return name
    return None


def to_unit(si: float, unit: str, dimension: str) -> float:
    """An SI value in the written unit."""
    scale, offset = factor(unit, dimension)
    return (si - offset) / scale


@cache
def _folded(unit: str) -> str:
    """The spelling without decoration: `lbf-ft` and `LBF.FT` are the same thing to a machinist."""
    return re.sub(r"[\s.·-]+", ".", unit.strip().lower()).rstrip(".")


def _unknown_unit(unit: str, known: Dimension) -> str:
    other = dimension_of(unit)
    usual = ", ".join(list(known.units)[:4])
    if other is not None:
        return f"{unit!r} is a unit of {other}, but this is {_a(known.name)}: write it in {usual}"
    near = difflib.get_close_matches(unit, list(known.units), n=1)
    hint = f"did you mean {near[0]!r}? " if near else ""
    return f"unknown unit {unit!r}: {hint}{_a(known.name)} is written in {usual}"


def _a(noun: str) -> str:
    return f"{'an' if noun[0] in 'aeiou' else 'a'} {noun}"


def check_unit(unit: str, dimension: str | None) -> None:
    """Raise UnitProblem, with the fix, for a unit that does not belong to the dimension (None: to any)."""
    if dimension == NUMBER:
        raise UnitProblem("this is a plain number: leave the unit out")
    if dimension is not None:
        factor(unit[:LONGEST_VALUE], dimension)
    elif dimension_of(unit) is None:
        raise UnitProblem(_no_such_unit(unit))


def _no_such_unit(unit: str) -> str:
    return f"unknown unit {unit[:LONGEST_VALUE]!r}: write a unit such as in, mm, cc, psi, lbf.ft or deg"


def _tidied(text: str, example: str) -> str:
    """The text without the dashes and blanks that paper and word processors put in."""
    if len(text) > LONGEST_VALUE:
        raise UnitProblem(f"this long a text ({len(text)} characters) is not a value with a unit: write e.g. {example}")
    return text.replace("\N{MINUS SIGN}", "-").strip()


def parse_quantity(text: str, dimension: str | None) -> Quantity:
    """Read a value with its unit, such as `4.0305 in` or `1 15/16 in`.

    With ``dimension`` None the unit alone says what kind of quantity it is; with NUMBER there is no unit.
    Raises UnitProblem with the fix.
    """
    example = example_of(dimension)
    tidy = _tidied(text, example)
    written = ""
    if match := _QUANTITY.fullmatch(tidy):
        number, value = match["number"], float(match["number"])
    elif match := _FRACTION.fullmatch(tidy):
        if int(match["under"]) == 0:
            raise UnitProblem(f"{text!r} divides by nought")
        value = int(match["whole"] or 0) + int(match["over"]) / int(match["under"])
        written = f"{match['whole']} " if match["whole"] else ""
        written += f"{match['over']}/{match['under']}"
        number = f"{value:.10g}"  # exact down to 1/64
    elif match := _COMMA.match(tidy):
        raise UnitProblem(_comma(text, match))
    else:
        raise UnitProblem(f"{text!r} is not a value with a unit: write e.g. {example}")
    unit = match["unit"] or ""
    if dimension == NUMBER:
        if unit:
            raise UnitProblem(f"{text!r} is not a plain number: leave out {unit!r}")
        return Quantity(_finite(value, text), number, "", NUMBER, written)
    if not unit:
        raise UnitProblem(_no_unit(written or number, dimension))
    if dimension is None:
        dimension = dimension_of(unit)
        if dimension is None:
            raise UnitProblem(_no_such_unit(unit))
    scale, offset = factor(unit, dimension)
    unit = _known_spelling(unit, DIMENSIONS[dimension])
    si = _finite(value * scale + offset, text)
    if dimension == "temperature" and si < 0:
        raise UnitProblem(f"{text!r} is colder than anything can be: look at the sign and the unit")
    return Quantity(si, number, unit, dimension, written)


def _finite(value: float, text: str) -> float:
    if not math.isfinite(value):
        raise UnitProblem(f"{text!r} is too large to be a reading")
    return value


def _comma(text: str, match: re.Match[str]) -> str:
    front, back, rest = match["front"], match["back"], match["rest"]
    point = f"{front}.{back}{rest}"
    if len(back) == 3 and front.lstrip("+-") != "0":
        return f"{text!r} has a comma in its number: write {front}{back}{rest} or, for a decimal, {point}"
    return f"{text!r} has a comma in its number: write a decimal point, {point}"


def _no_unit(number: str, dimension: str | None) -> str:
    units = [DIMENSIONS[dimension].inch, DIMENSIONS[dimension].metric] if dimension else ["in", "mm"]
    return f"{number} has no unit: write {' or '.join(f'{number} {unit}' for unit in dict.fromkeys(units))}"


def parse_range(text: str, dimension: str | None, unit: str | None = None) -> Range:
    """Read an allowed range such as `0.0025..0.0035 in`. Raises UnitProblem with the fix."""
    example = example_of(dimension)
    tidy = _tidied(text, example)
    match = _RANGE.fullmatch(tidy)
    if not match or "..." in tidy:  # 1...2 could be 1 to 2 or 1 to .2
        raise UnitProblem(_not_a_range(text, tidy, example))
    written_unit = match["unit"] or unit or ""
    if not written_unit and dimension != NUMBER:
        units = [DIMENSIONS[dimension].inch, DIMENSIONS[dimension].metric] if dimension else ["in", "mm"]
        fix = " or ".join(f"{tidy} {usual}" for usual in dict.fromkeys(units))
        raise UnitProblem(f"the range {text!r} has no unit: write {fix}")
    least = parse_quantity(f"{match['least']} {written_unit}", dimension)
    most = parse_quantity(f"{match['most']} {written_unit}", dimension)
    if least.si > most.si:
        fix = f"{match['most']}..{match['least']} {written_unit}".strip()
        raise UnitProblem(f"the range {text!r} is upside down: write {fix}")
    return Range(least, most)


def _not_a_range(text: str, tidy: str, example: str) -> str:
    if loose := _LOOSE_RANGE.fullmatch(tidy):
        unit = loose["unit"] or loose["least_unit"] or ""
        return f"{text!r} is not a range as read here: write {loose['least']}..{loose['most']} {unit}".rstrip()
    number, _, unit = example.partition(" ")
    written = f"{number}..{number} {unit}".rstrip()
    return f"{text!r} is not a range: write the least, two points, the most and the unit, as in {written}"
