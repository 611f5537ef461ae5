"""Read values with their units: as written, in SI, and back.

``unit_table`` has the units; this module reads text such as `4.0305 in`, `1 15/16 in` or `0.0025..0.0035 in`.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache

from builder.record.problem import did_you_mean
from builder.record.quantities.unit_table import DIMENSIONS, NUMBER, UnitSystem, example_of

__all__ = [
    "DIMENSIONS",
    "NUMBER",
    "Quantity",
    "Range",
    "UnitFix",
    "UnitFixProblem",
    "UnitProblem",
    "check_unit",
    "dimension_of",
    "example_of",
    "factor",
    "missing_unit",
    "parse_quantity",
    "parse_range",
    "to_unit",
]

MAX_VALUE_LENGTH = 80
_MAX_EXPONENT = 40

_NUMBER = r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?"
_QUANTITY = re.compile(rf"(?P<number>{_NUMBER})\s*(?P<unit>(?:(?<=\s)1/min)|[^\d\s.,/+-].*)?")
_FRACTION = re.compile(r"(?:(?P<whole>[0-9]+)[ -])?(?P<over>[0-9]+)/(?P<under>[0-9]+)\s*(?P<unit>[^\d\s/].*)?")
_RANGE = re.compile(rf"(?P<minimum>{_NUMBER})\s*\.\.\s*(?P<maximum>{_NUMBER})\s*(?P<unit>1/min|[^\d\s.,/+-].*)?")
# How a range is often written on paper.
_LOOSE_RANGE = re.compile(
    rf"(?P<minimum>{_NUMBER})\s*(?P<minimum_unit>[^\d\s.,+-]\S*)?\s*(?:-|–|—|to|\.{{3}}|…|/)\s*(?P<maximum>{_NUMBER})\s*(?P<unit>\S.*)?"
)
_RATIO = re.compile(rf"(?P<number>{_NUMBER})\s*(?::|to)\s*1(?:\.0*)?(?P<unit>)")
_COMMA = re.compile(r"(?P<front>[+-]?[0-9]+),(?P<back>[0-9]+)(?P<rest>.*)", re.DOTALL)


class UnitProblem(ValueError):
    """A value that cannot be read as a quantity; its text is the message for the shop."""


@dataclass(frozen=True, slots=True)
class UnitFix:
    """What a message about a unit is made of, so that it can offer the units that the trade uses for a field.

    ``problem`` says what is wrong. Where the unit is missing, ``written`` is the value before and after the place of
    its unit, and ``numbers`` are its numbers; where the unit is wrong, ``unit`` is what was written for it.
    """

    problem: str
    dimension: str | None
    written: tuple[str, str] = ("", "")
    numbers: tuple[float, ...] = ()
    unit: str = ""

    def message(self, units: Iterable[str]) -> str:
        """Return the message with these units offered."""
        offered = list(dict.fromkeys(units))
        if self.unit:
            hint = did_you_mean(self.unit, offered, cutoff=0.5) if dimension_of(self.unit) is None else ""
            return " ".join(filter(None, (f"{self.problem}:", hint, f"write it in {_listed(offered)}")))
        fits = [f"{self.written[0]}{unit}{self.written[1]}" for unit in offered]
        return f"{self.problem}: write {' or '.join(fits)}"


class UnitFixProblem(UnitProblem):
    """A unit that is missing or wrong; ``fix`` is what its message is made of."""

    def __init__(self, fix: UnitFix) -> None:
        """Use the message that offers the usual units of the dimension."""
        super().__init__(fix.message(_offered(fix)))
        self.fix = fix


def _offered(fix: UnitFix) -> Iterable[str]:
    """Return the units that a message offers where nothing is known of the field."""
    if fix.dimension is None:
        return ("in", "mm")
    dimension = DIMENSIONS[fix.dimension]
    return dimension.usual.split(", ") if fix.unit else (dimension.inch, dimension.metric)


def _listed(units: list[str]) -> str:
    return " or ".join(filter(None, (", ".join(units[:-1]), units[-1])))


@dataclass(frozen=True, slots=True)
class Quantity:
    """One value as the shop wrote it, and its SI value.

    ``number`` is always a decimal; ``fraction`` is the text of a value that was written as a fraction or a ratio.
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
    def system(self) -> UnitSystem:
        """The system of the unit: a plain number belongs to both."""
        return DIMENSIONS[self.dimension].units[self.unit].system if self.unit else "both"

    @property
    def step(self) -> float:
        """One unit in the last place written, in SI (`4.0305 in` -> 0.0001 in; a fraction is good to 1/64)."""
        scale, _ = factor(self.unit, self.dimension) if self.unit else (1.0, 0.0)
        if "/" in self.fraction:
            return float(scale / max(64, int(self.fraction.split("/")[1])))
        digits, _, exponent = self.number.lower().partition("e")
        decimals = len(digits.split(".")[1]) if "." in digits else 0
        return float(10.0 ** (int(exponent or 0) - decimals) * scale)


@dataclass(frozen=True, slots=True)
class Range:
    """Two limits, both included."""

    minimum: Quantity
    maximum: Quantity

    @property
    def text(self) -> str:
        """The range as written, with its unit once."""
        return f"{self.minimum.number} to {self.maximum.text}"


@cache
def factor(unit: str, dimension: str) -> tuple[float, float]:
    """Return scale and offset from a written unit to SI: ``SI value = scale * number + offset``.

    Raises UnitProblem, with the fix, for a unit that the dimension does not have.
    """
    match = DIMENSIONS[dimension].units.get(_accepted_name(unit, dimension))
    if match is None:
        raise UnitFixProblem(_wrong_unit(unit, dimension))
    return match.factor, match.offset


def _accepted_name(unit: str, dimension: str) -> str:
    """Return the name in the table that a written unit stands for; the unit itself where there is none."""
    names = DIMENSIONS[dimension].units
    if unit in names:
        return unit
    return next((name for name in names if _without_decoration(name) == _without_decoration(unit)), unit)


def dimension_of(unit: str) -> str | None:
    """Return the first dimension that has a written unit, or None."""
    return next((name for name in DIMENSIONS if _accepted_name(unit, name) in DIMENSIONS[name].units), None)


def to_unit(si: float, unit: str, dimension: str) -> float:
    """Return an SI value in the written unit."""
    scale, offset = factor(unit, dimension)
    return (si - offset) / scale


@cache
def _without_decoration(unit: str) -> str:
    """Return a spelling without capitals, blanks and dashes: `lbf-ft` and `LBF.FT` are the same unit."""
    return re.sub(r"[\s.·-]+", ".", unit.strip().lower()).rstrip(".")


def _wrong_unit(unit: str, dimension: str) -> UnitFix:
    other = dimension_of(unit)
    problem = f"{unit!r} is a unit of {other}, but this is {_a(dimension)}" if other else f"unknown unit {unit!r}"
    return UnitFix(problem, dimension, unit=unit)


def _a(noun: str) -> str:
    return f"{'an' if noun[0] in 'aeiou' else 'a'} {noun}"


def check_unit(unit: str, dimension: str | None) -> None:
    """Raise UnitProblem, with the fix, for a unit that does not belong to the dimension (None: to any)."""
    if dimension == NUMBER:
        raise UnitProblem("this is a plain number: leave the unit out")
    if dimension is not None:
        factor(unit[:MAX_VALUE_LENGTH], dimension)
    elif dimension_of(unit) is None:
        raise UnitProblem(_no_such_unit(unit))


def _no_such_unit(unit: str) -> str:
    return f"unknown unit {unit[:MAX_VALUE_LENGTH]!r}: write a unit such as in, mm, cc, psi, lbf.ft or deg"


def _normalised(text: str, example: str) -> str:
    """Return the text without the minus signs and blanks that word processors put in."""
    if len(text) > MAX_VALUE_LENGTH:
        raise UnitProblem(f"this long a text ({len(text)} characters) is not a value with a unit: write e.g. {example}")
    return text.replace("\N{MINUS SIGN}", "-").strip()


def parse_quantity(text: str, dimension: str | None) -> Quantity:
    """Read a value with its unit, such as `4.0305 in` or `1 15/16 in`.

    With ``dimension`` None the unit alone says what kind of quantity it is; with NUMBER there is no unit.
    Raises UnitProblem with the fix.
    """
    example = example_of(dimension)
    plain = _normalised(text, example)
    fraction = ""
    if dimension == NUMBER and (match := _RATIO.fullmatch(plain)):
        number, value, fraction = match["number"], float(match["number"]), plain
    elif match := _QUANTITY.fullmatch(plain):
        number, value = match["number"], float(match["number"])
        if abs(int(number.lower().partition("e")[2] or 0)) > _MAX_EXPONENT:
            raise UnitProblem(f"{text!r} is too large or too small to be a reading")
    elif match := _FRACTION.fullmatch(plain):
        if int(match["under"]) == 0:
            raise UnitProblem(f"{text!r} divides by nought")
        value = int(match["whole"] or 0) + int(match["over"]) / int(match["under"])
        fraction = f"{match['whole']} " if match["whole"] else ""
        fraction += f"{match['over']}/{match['under']}"
        number = f"{value:.10g}"  # exact down to 1/64
    elif match := _COMMA.match(plain):
        raise UnitProblem(_comma(text, match))
    else:
        raise UnitProblem(f"{text!r} is not a value with a unit: write e.g. {example}")
    unit = match["unit"] or ""
    if dimension == NUMBER:
        if unit:
            raise UnitProblem(f"{text!r} is not a plain number: leave out {unit!r}")
        return Quantity(_finite(value, text), number, "", NUMBER, fraction)
    if not unit:
        raise UnitFixProblem(missing_unit(text=fraction or number, numbers=(value,), dimension=dimension))
    if dimension is None:
        dimension = dimension_of(unit)
        if dimension is None:
            raise UnitProblem(_no_such_unit(unit))
    scale, offset = factor(unit, dimension)
    unit = _accepted_name(unit, dimension)
    si = _finite(value * scale + offset, text)
    if dimension == "temperature" and si < 0:
        raise UnitProblem(f"{text!r} is colder than anything can be: look at the sign and the unit")
    return Quantity(si, number, unit, dimension, fraction)


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


def missing_unit(*, text: str, numbers: tuple[float, ...], dimension: str | None, what: str = "") -> UnitFix:
    """Return the fix of a value or range that has no unit; ``what`` is what it is called."""
    return UnitFix(f"{what or text} has no unit", dimension, (f"{text} ", ""), numbers)


def parse_range(text: str, dimension: str | None, unit: str | None = None) -> Range:
    """Read an allowed range such as `0.0025..0.0035 in`. Raises UnitProblem with the fix."""
    example = example_of(dimension)
    plain = _normalised(text, example)
    match = _RANGE.fullmatch(plain)
    if not match or "..." in plain:  # 1...2 could be 1 to 2 or 1 to .2
        raise UnitProblem(_not_a_range(text, plain, example))
    written_unit = match["unit"] or unit or ""
    if not written_unit and dimension != NUMBER:
        ends = (float(match["minimum"]), float(match["maximum"]))
        raise UnitFixProblem(missing_unit(text=plain, numbers=ends, dimension=dimension, what=f"the range {text!r}"))
    minimum = parse_quantity(f"{match['minimum']} {written_unit}", dimension)
    maximum = parse_quantity(f"{match['maximum']} {written_unit}", dimension)
    if minimum.si > maximum.si:
        fix = f"{match['maximum']}..{match['minimum']} {written_unit}".strip()
        raise UnitProblem(f"the range {text!r} is upside down: write {fix}")
    return Range(minimum, maximum)


def _not_a_range(text: str, plain: str, example: str) -> str:
    if loose := _LOOSE_RANGE.fullmatch(plain):
        unit = loose["unit"] or loose["minimum_unit"] or ""
        return f"{text!r} is not a range as read here: write {loose['minimum']}..{loose['maximum']} {unit}".rstrip()
    number, _, unit = example.partition(" ")
    fix = f"{number}..{number} {unit}".rstrip()
    return f"{text!r} is not a range: write the least, two points, the most and the unit, as in {fix}"
