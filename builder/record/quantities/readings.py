"""Read what a part was listed as and what it measured, for one or for every position.

A reading may be written short or long::

    stroke: 3.480 in                                        listed, or of unknown origin
    chambers: {unit: cc, measured: [64.2, 64.0, 64.1]}      every position
    compression_height: {listed: 1.480 in, measured: 1.395 in}
    main_oil_clearance: {unit: in, allowed: 0.0022..0.0030, measured: [0.0026, 0.0025]}
    bores: {unit: in, returned: [4.0318, 4.0321], measured: [4.0405, 4.0404], with: B2}
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray
from pydantic import ValidationError
from pydantic_core import InitErrorDetails, PydanticCustomError

from builder.record.problem import did_you_mean
from builder.record.quantities.digits import is_above, is_below
from builder.record.quantities.units import (
    NUMBER,
    Quantity,
    Range,
    UnitFix,
    UnitFixProblem,
    UnitProblem,
    check_unit,
    example_of,
    parse_quantity,
    parse_range,
)
from builder.record.yaml_loader import Location

MAX_POSITIONS = 400
MAX_TEXT_LENGTH = 400

_BARE = re.compile(r"[+\-\N{MINUS SIGN}]?[0-9./ ]+")


@dataclass(frozen=True, slots=True)
class Accepted:
    """Why a reading out of its range was accepted, and by whom."""

    why: str
    by: str


@dataclass(frozen=True, slots=True)
class Reading:
    """A listed value, measured values, or both, with the range that is allowed.

    ``measured`` has one entry for each position, in order; a value measured once has one. ``returned`` has the same
    positions as they were when the engine came back, before any work: no figure of the rebuilt engine uses them.
    ``instrument`` is the ID in shop.yaml of what it was read with.
    """

    dimension: str
    listed: Quantity | None = None
    measured: tuple[Quantity, ...] = ()
    returned: tuple[Quantity, ...] = ()
    allowed: Range | None = None
    at_least: Quantity | None = None
    at_most: Quantity | None = None
    resolution: Quantity | None = None
    repeats: tuple[Quantity, ...] = ()
    rule: str | None = None
    accepted: Accepted | None = None
    by: str | None = None
    instrument: str | None = None
    note: str | None = None
    is_plain: bool = False
    """Whether it was written as one plain value, which does not say how it is known."""

    def as_measured(self) -> Reading:
        """Return a plain value as one that was measured, for a field that can only come from a measurement."""
        if not self.is_plain or self.listed is None:
            return self
        return replace(self, listed=None, measured=(self.listed,), is_plain=False)

    @property
    def as_returned(self) -> Reading | None:
        """Return the same reading as the engine came back, held against the same limits; None where not recorded."""
        if not self.returned:
            return None
        return replace(self, listed=None, measured=self.returned, returned=(), repeats=(), accepted=None)

    @property
    def preferred(self) -> tuple[Quantity, ...]:
        """The values to calculate with: measured wins, then repeat readings, then listed."""
        if self.measured:
            return self.measured
        if self.repeats:
            return self.repeats
        return (self.listed,) if self.listed is not None else ()

    @property
    def values(self) -> NDArray[np.float64]:
        """The values to calculate with, SI, one for each position; repeat readings give their mean."""
        if not self.measured and self.repeats:
            return np.array([np.mean([quantity.si for quantity in self.repeats])])
        return np.array([quantity.si for quantity in self.preferred], dtype=np.float64)

    @property
    def is_measured(self) -> bool:
        """Whether it was measured, once or at every position."""
        return bool(self.measured or self.repeats)

    @property
    def minimum(self) -> Quantity | None:
        """The lower end of what is allowed."""
        return self.allowed.minimum if self.allowed else self.at_least

    @property
    def maximum(self) -> Quantity | None:
        """The upper end of what is allowed."""
        return self.allowed.maximum if self.allowed else self.at_most

    def is_out_of_range(self, quantity: Quantity) -> bool:
        """Return whether one of its values lies outside what is allowed, compared as they were written."""
        below = self.minimum is not None and is_below(quantity.si, self.minimum.si, quantity.step)
        return below or (self.maximum is not None and is_above(quantity.si, self.maximum.si, quantity.step))

    @property
    def quantities(self) -> tuple[Quantity, ...]:
        """Every quantity the reading holds."""
        ends = (self.listed, self.minimum, self.maximum, self.resolution)
        return (*(end for end in ends if end is not None), *self.measured, *self.repeats, *self.returned)


_KEYS = (
    "listed", "measured", "returned", "allowed", "at_least", "at_most", "unit",
    "resolution", "repeats", "with", "rule", "accepted", "by", "note",
)  # fmt: skip

_Value = TypeVar("_Value")


def reading_error(problem: object) -> PydanticCustomError:
    """Return a pydantic error with this message; its template has one field, so that braces in the message stay.

    What the message of a missing or wrong unit is made of goes with it.
    """
    fix = problem.fix if isinstance(problem, UnitFixProblem) else None
    return PydanticCustomError("reading", "{message}", {"message": str(problem), "fix": fix})


class ReadingErrors:
    """Collects everything that is wrong with a reading, each with its location."""

    def __init__(self) -> None:
        """Start with none."""
        self.details: list[InitErrorDetails] = []

    def add(self, location: Location, problem: str | UnitProblem, given: object) -> None:
        """Add what is wrong at a location below the value."""
        self.details.append(InitErrorDetails(type=reading_error(problem), loc=location, input=given))

    def collect(self, location: Location, given: object, read: Callable[[], _Value]) -> _Value | None:
        """Return what ``read`` returns; None, with its UnitProblem added, where it raises one."""
        try:
            return read()
        except UnitProblem as problem:
            self.add(location, problem, given)
            return None

    def raise_if_any(self) -> None:
        """Raise a ValidationError with everything that was added."""
        if self.details:
            raise ValidationError.from_exception_data("reading", self.details)


def _is_number(given: object) -> bool:
    return isinstance(given, (int, float)) and not isinstance(given, bool)


def as_written(given: object) -> str:
    """Return a scalar as it was written in the file: numbers with all their digits."""
    return str(getattr(given, "text", given))


def quantity_of(given: object, dimension: str | None, unit: str | None = None) -> Quantity:
    """Return the quantity of a YAML scalar. Raises UnitProblem with the fix."""
    if _is_number(given) or isinstance(given, str):
        text = as_written(given)
        if unit and dimension != NUMBER and _BARE.fullmatch(text.strip()):
            text = f"{text} {unit}"
        return parse_quantity(text, dimension)
    kind = {dict: "a block of entries", list: "a list", bool: "yes/no", type(None): "empty"}
    raise UnitProblem(f"is {kind.get(type(given), 'not a value')}; write one value, e.g. {example_of(dimension)}")


def read_reading(given: object, dimension: str | None) -> Reading:
    """Return the Reading of a YAML value; raises a ValidationError with the location of everything that is wrong."""
    errors = ReadingErrors()
    if isinstance(given, Reading):
        return given
    if isinstance(given, list):
        given = {"measured": given}
    elif not isinstance(given, dict):
        value = errors.collect((), given, lambda: quantity_of(given, dimension))
        errors.raise_if_any()
        assert value is not None
        return Reading(value.dimension, listed=value, is_plain=True)
    assert isinstance(given, dict)
    reading = _LongForm(given, dimension, errors).read()
    errors.raise_if_any()
    return reading


class _LongForm:
    """Reads the long form of a reading: a mapping with its values, range and remarks."""

    def __init__(self, given: dict[str, Any], dimension: str | None, errors: ReadingErrors) -> None:
        self.given = given
        self.dimension = dimension
        self.errors = errors
        self.unit = self._declared_unit()

    def read(self) -> Reading:
        """Return the reading; what is wrong is added to the errors."""
        for key in self.given:
            if key not in _KEYS:
                hint = did_you_mean(str(key)[:60], _KEYS, f"known are {', '.join(_KEYS)}")
                self.errors.add((key,), f"unknown name: {hint}", self.given[key])
        values = {
            "listed": self._one("listed"),
            "measured": self._several("measured"),
            "returned": self._several("returned"),
            "allowed": self._range("allowed"),
            "at_least": self._one("at_least"),
            "at_most": self._one("at_most"),
            "resolution": self._one("resolution"),
            "repeats": self._several("repeats"),
        }
        texts = {key: self._text(self.given, (key,)) for key in ("rule", "by", "note")}
        texts["instrument"] = self._text(self.given, ("with",))
        reading = Reading(self.dimension or "length", **values, **texts, accepted=self._accepted())  # type: ignore[arg-type]
        kinds = sorted({quantity.dimension for quantity in reading.quantities})
        if not self.errors.details:
            self._check_values(reading, kinds)
        return reading if self.dimension or not kinds else replace(reading, dimension=kinds[0])

    def _check_values(self, reading: Reading, kinds: list[str]) -> None:
        if len(kinds) > 1:
            self.errors.add((), f"mixes {' and '.join(kinds)}: give every value the same kind of unit", None)
        elif not kinds or (kinds and reading.quantities == (reading.resolution,)):
            self.errors.add((), "holds no value: give listed, measured or both", None)
        elif reading.allowed and (reading.at_least or reading.at_most):
            self.errors.add(
                ("allowed",), "is given together with at_least or at_most: keep one way to say what is allowed", None
            )
        elif (
            reading.at_least
            and reading.at_most
            and is_above(reading.at_least.si, reading.at_most.si, reading.at_least.step)
        ):
            minimum, maximum = reading.at_least.text, reading.at_most.text
            self.errors.add(("at_least",), f"{minimum} is more than at_most, {maximum}: swap the two", None)

    def _declared_unit(self) -> str | None:
        unit = self.given.get("unit")
        if unit is None:
            return None
        if not isinstance(unit, str):
            self.errors.add(("unit",), f"is a word such as {example_of(self.dimension).split(' ', 1)[-1]}", unit)
            return None
        try:
            check_unit(unit, self.dimension)
        except UnitProblem as problem:
            self.errors.add(("unit",), problem, unit)
            return None
        return unit

    @property
    def _unit_is_wrong(self) -> bool:
        return self.unit is None and self.given.get("unit") is not None

    def _quantity(self, location: Location, value: object) -> Quantity | None:
        if self._unit_is_wrong and (_is_number(value) or (isinstance(value, str) and _BARE.fullmatch(value.strip()))):
            return None  # reported once, at the unit
        return self.errors.collect(location, value, lambda: quantity_of(value, self.dimension, self.unit))

    def _one(self, key: str) -> Quantity | None:
        value = self.given.get(key)
        return None if value is None else self._quantity((key,), value)

    def _range(self, key: str) -> Range | None:
        value = self.given.get(key)
        if value is None or (self._unit_is_wrong and not isinstance(value, (dict, list))):
            return None
        text = as_written(value)
        if isinstance(value, (dict, list, bool)):
            self.errors.add((key,), "is one range: write the least, two points and the most, as in 0.002..0.003", value)
            return None
        return self.errors.collect((key,), value, lambda: parse_range(text, self.dimension, self.unit))

    def _several(self, key: str) -> tuple[Quantity, ...]:
        values = self.given.get(key)
        if values is None:
            return ()
        if not isinstance(values, list):
            return (single,) if (single := self._one(key)) is not None else ()
        if len(values) > MAX_POSITIONS:
            self.errors.add((key,), f"holds {len(values)} readings; at most {MAX_POSITIONS} are read", None)
            return ()
        bare = [index for index, value in enumerate(values) if _is_number(value)]
        if len(bare) > 1 and self.given.get("unit") is None and self.dimension != NUMBER:
            form = ", ".join(as_written(values[index]) for index in bare[:3])
            numbers = tuple(float(values[index]) for index in bare)
            fix = UnitFix(
                "these readings have no unit", self.dimension, ("{unit: ", f", {key}: [{form}, ...]}}"), numbers
            )
            self.errors.add((key, bare[0]), UnitFixProblem(fix), None)
            values = [value for value in values if not _is_number(value)]
        quantities = [self._quantity((key, index), value) for index, value in enumerate(values)]
        return tuple(quantity for quantity in quantities if quantity is not None)

    def _text(self, mapping: Mapping[str, Any], location: tuple[str, ...]) -> str | None:
        value = mapping.get(location[-1])
        if value is None:
            return None
        if isinstance(value, (dict, list, bool)):
            self.errors.add(location, "is text: write a few words", value)
            return None
        text = " ".join(as_written(value).split())
        if len(text) > MAX_TEXT_LENGTH:
            self.errors.add(location, f"is longer than {MAX_TEXT_LENGTH} characters: shorten it", None)
            return None
        return text or None

    def _accepted(self) -> Accepted | None:
        given = self.given.get("accepted")
        if given is None:
            return None
        if isinstance(given, dict) and not set(given) - {"why", "by"}:
            why, by = (self._text(given, ("accepted", key)) for key in ("why", "by"))
            if why and by:
                return Accepted(why, by)
        self.errors.add(("accepted",), "write why it was accepted and by whom: accepted: {why: ..., by: ...}", None)
        return None
