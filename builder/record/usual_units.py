"""The units that the trade uses for a field, and which of them fit a number that was written without one."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache

from pydantic.fields import FieldInfo

from builder.record.models.fields import Notes, notes_of
from builder.record.quantities.units import DIMENSIONS, NUMBER, UnitFix, dimension_of, factor, parse_quantity

_SMALL = {"length": ("thou", "um")}
"""Units for small values, such as clearances, where none of the usual ones fits."""
_SMALL_MAXIMUM = 5e-3  # [m]


def usual_units(notes: Notes, dimension: str) -> tuple[str, ...]:
    """Return the units that the trade uses for a field: those of its notes, else those of its dimension."""
    fitting = tuple(unit for unit in notes.units if dimension_has(dimension, unit))
    return fitting or tuple(dict.fromkeys((DIMENSIONS[dimension].inch, DIMENSIONS[dimension].metric)))


@cache
def dimension_has(dimension: str, unit: str) -> bool:
    """Return whether a unit, by its name in the table, is one of a dimension."""
    return unit in DIMENSIONS[dimension].units


def plausible_limits(notes: Notes, dimension: str) -> tuple[float, float] | None:
    """Return the least and the most that any ordinary engine has in a field [SI], or None where it is open."""
    if notes.plausible_range is None:
        return None
    if dimension != NUMBER and not all(_is_of(end, dimension) for end in notes.plausible_range):
        return None  # a field that takes another dimension too
    minimum, maximum = (_limit(end, dimension) for end in notes.plausible_range)
    return minimum, maximum


@cache
def _is_of(text: str, dimension: str) -> bool:
    return dimension_has(dimension, text.partition(" ")[2])


@cache
def _limit(text: str, dimension: str) -> float:
    return float(text) if dimension == NUMBER else parse_quantity(text, dimension).si


def fitting_units(notes: Notes, dimension: str, numbers: Iterable[float]) -> tuple[str, ...]:
    """Return the usual units of a field in which these numbers are plausible; all of them where none is.

    A unit in which a number would be read without a complaint, and be off by a large factor, is so never offered.
    """
    usual = usual_units(notes, dimension)
    limits = plausible_limits(notes, dimension)
    if limits is None:
        return usual[:2]
    minimum, maximum = limits

    def fits(unit: str) -> bool:
        scale, offset = factor(unit, dimension)
        return all(minimum <= number * scale + offset <= maximum for number in numbers)

    fitting = tuple(unit for unit in usual if fits(unit))
    if not fitting and maximum < _SMALL_MAXIMUM:
        fitting = tuple(unit for unit in _SMALL.get(dimension, ()) if fits(unit))
    return fitting[:2]


def message_at_field(fix: UnitFix, info: FieldInfo | None) -> str:
    """Return the message about a missing or wrong unit, with the units that the trade uses for the field."""
    notes = notes_of(info) if info is not None else Notes("")
    dimension = fix.dimension or (dimension_of(notes.units[0]) if notes.units else None)
    if dimension is None or dimension == NUMBER:
        return fix.message(("in", "mm"))
    if fix.unit:
        return fix.message(notes.units or usual_units(notes, dimension))
    others = tuple(unit for unit in notes.units if not dimension_has(dimension, unit))
    fitting = (*fitting_units(notes, dimension, fix.numbers), *others)
    if not fitting:
        units = " or ".join(usual_units(notes, dimension))
        return f"{fix.problem}, and in no unit that this is measured in is it plausible: write it in {units}"
    return fix.message(fitting)
