"""A reading: what a part was listed as, what it measured, for one or for every position.

The shop may write a reading as shortly as it likes::

    stroke: 3.480 in                                        listed, or simply known
    chambers: {unit: cc, measured: [64.2, 64.0, 64.1]}      every position
    compression_height: {listed: 1.760 in, measured: 1.661 in}
    main_oil_clearance: {unit: in, allowed: 0.0022..0.0030, measured: [0.0026, 0.0025]}
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from pydantic import ValidationError
from pydantic_core import InitErrorDetails, PydanticCustomError

from builder.record.quantities.units import (
    DIMENSIONS,
    NUMBER,
    Quantity,
    Range,
    UnitProblem,
    check_unit,
    example_of,
    parse_quantity,
    parse_range,
)

__all__ = ["NUMBER", "Accepted", "Quantity", "Range", "Reading", "quantity_of", "read_reading", "written"]

MOST_POSITIONS = 400
LONGEST_WORDS = 400

_BARE = re.compile(r"\s*[+\-\N{MINUS SIGN}]?[0-9./ ]+\s*")


@dataclass(frozen=True, slots=True)
class Accepted:
    """Why a reading out of its range was accepted, and by whom."""

    why: str
    by: str


@dataclass(frozen=True, slots=True)
class Reading:
    """A listed value, measured values, or both, with the range that is allowed.

    ``measured`` has one entry for each position, in order; a value measured once has one.
    """

    dimension: str
    listed: Quantity | None = None
    measured: tuple[Quantity, ...] = ()
    allowed: Range | None = None
    at_least: Quantity | None = None
    at_most: Quantity | None = None
    resolution: Quantity | None = None
    repeats: tuple[Quantity, ...] = ()
    rule: str | None = None
    accepted: Accepted | None = None
    by: str | None = None
    note: str | None = None

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
        """Whether somebody put a gauge on it."""
        return bool(self.measured or self.repeats)

    @property
    def least(self) -> Quantity | None:
        """The lower end of what is allowed."""
        return self.allowed.least if self.allowed else self.at_least

    @property
    def most(self) -> Quantity | None:
        """The upper end of what is allowed."""
        return self.allowed.most if self.allowed else self.at_most

    @property
    def quantities(self) -> tuple[Quantity, ...]:
        """Every quantity the reading holds."""
        ends = (self.listed, self.least, self.most, self.resolution)
        return (*(end for end in ends if end is not None), *self.measured, *self.repeats)


_KEYS = (
    "listed",
    "measured",
    "allowed",
    "at_least",
    "at_most",
    "unit",
    "resolution",
    "repeats",
    "rule",
    "accepted",
    "by",
    "note",
)


class _Faults:
    """Collects what is wrong, each with its place, so that one look shows everything."""

    def __init__(self) -> None:
        self.details: list[InitErrorDetails] = []

    def add(self, place: tuple[str | int, ...], message: str, given: object) -> None:
        # A custom error's message is a template: its braces would be taken for fields.
        kind = PydanticCustomError("reading", "{said}", {"said": message})
        self.details.append(InitErrorDetails(type=kind, loc=place, input=given))

    def read(self, place: tuple[str | int, ...], given: object, read: Callable[[], Any]) -> Any:
        try:
            return read()
        except UnitProblem as problem:
            self.add(place, str(problem), given)
            return None

    def raise_if_any(self) -> None:
        if self.details:
            raise ValidationError.from_exception_data("reading", self.details)


def _is_number(given: object) -> bool:
    return isinstance(given, (int, float)) and not isinstance(given, bool)


def written(given: object) -> str:
    """A scalar as it stands in the file: numbers keep the digits they were written with."""
    return str(getattr(given, "text", given))


def quantity_of(given: object, dimension: str | None, unit: str | None = None) -> Quantity:
    """A quantity from a YAML scalar. Raises UnitProblem with the fix."""
    if _is_number(given) or isinstance(given, str):
        text = written(given)
        if unit and dimension != NUMBER and _BARE.fullmatch(text):
            text = f"{text} {unit}"
        return parse_quantity(text, dimension)
    kind = {dict: "a block of entries", list: "a list", bool: "yes/no", type(None): "empty"}
    raise UnitProblem(f"is {kind.get(type(given), 'not a value')}; write one value, e.g. {example_of(dimension)}")


def read_reading(given: object, dimension: str | None) -> Reading:
    """A Reading from what stands in the YAML; raises a ValidationError that places every fault."""
    faults = _Faults()
    if isinstance(given, Reading):
        return given
    if isinstance(given, list):
        given = {"measured": given}
    elif not isinstance(given, dict):
        value = faults.read((), given, lambda: quantity_of(given, dimension))
        faults.raise_if_any()
        return Reading(value.dimension, listed=value)
    assert isinstance(given, dict)
    reading = _Mapping(given, dimension, faults).read()
    faults.raise_if_any()
    return reading


class _Mapping:
    """The long form of a reading, being read."""

    def __init__(self, given: dict[str, Any], dimension: str | None, faults: _Faults) -> None:
        self.given = given
        self.dimension = dimension
        self.faults = faults
        self.unit = self._declared_unit()

    def read(self) -> Reading:
        """Read every key; what is wrong is added to the faults."""
        for key in self.given:
            if key not in _KEYS:
                near = difflib.get_close_matches(str(key)[:60], _KEYS, n=1)
                hint = f"did you mean {near[0]!r}?" if near else f"known are {', '.join(_KEYS)}"
                self.faults.add((key,), f"unknown name: {hint}", self.given[key])
        allowed = self._range("allowed")
        values = {
            "listed": self._one("listed"),
            "measured": self._several("measured"),
            "allowed": allowed,
            "at_least": self._one("at_least"),
            "at_most": self._one("at_most"),
            "resolution": self._one("resolution"),
            "repeats": self._several("repeats"),
        }
        words = {key: self._words(self.given, (key,)) for key in ("rule", "by", "note")}
        reading = Reading(self.dimension or "length", **values, **words, accepted=self._accepted())  # type: ignore[arg-type]
        kinds = sorted({quantity.dimension for quantity in reading.quantities})
        if not self.faults.details:
            self._check_sense(reading, kinds)
        return reading if self.dimension or not kinds else replace(reading, dimension=kinds[0])

    def _check_sense(self, reading: Reading, kinds: list[str]) -> None:
        if len(kinds) > 1:
            self.faults.add((), f"mixes {' and '.join(kinds)}: give every value the same kind of unit", None)
        elif not kinds or (kinds and reading.quantities == (reading.resolution,)):
            self.faults.add((), "holds no value: give listed, measured or both", None)
        elif reading.allowed and (reading.at_least or reading.at_most):
            self.faults.add(
                ("allowed",), "stands beside at_least or at_most: keep one way to say what is allowed", None
            )
        elif reading.at_least and reading.at_most and reading.at_least.si > reading.at_most.si:
            least, most = reading.at_least.text, reading.at_most.text
            self.faults.add(("at_least",), f"{least} is more than at_most, {most}: swap the two", None)

    def _declared_unit(self) -> str | None:
        unit = self.given.get("unit")
        if unit is None:
            return None
        if not isinstance(unit, str):
            self.faults.add(("unit",), f"is a word such as {example_of(self.dimension).split(' ', 1)[-1]}", unit)
            return None
        try:
            check_unit(unit, self.dimension)
        except UnitProblem as problem:
            self.faults.add(("unit",), str(problem), unit)
            return None
        return unit

    @property
    def _unit_is_wrong(self) -> bool:
        return self.unit is None and self.given.get("unit") is not None

    def _quantity(self, place: tuple[str | int, ...], value: object) -> Quantity | None:
        if self._unit_is_wrong and (_is_number(value) or (isinstance(value, str) and _BARE.fullmatch(value))):
            return None  # said once, at the unit
        found: Quantity | None = self.faults.read(place, value, lambda: quantity_of(value, self.dimension, self.unit))
        return found

    def _one(self, key: str) -> Quantity | None:
        value = self.given.get(key)
        return None if value is None else self._quantity((key,), value)

    def _range(self, key: str) -> Range | None:
        value = self.given.get(key)
        if value is None or (self._unit_is_wrong and not isinstance(value, (dict, list))):
            return None
        text = written(value)
        if isinstance(value, (dict, list, bool)):
            self.faults.add((key,), "is one range: write the least, two points and the most, as in 0.002..0.003", value)
            return None
        found: Range | None = self.faults.read((key,), value, lambda: parse_range(text, self.dimension, self.unit))
        return found

    def _several(self, key: str) -> tuple[Quantity, ...]:
        values = self.given.get(key)
        if values is None:
            return ()
        if not isinstance(values, list):
            return (single,) if (single := self._one(key)) is not None else ()
        if len(values) > MOST_POSITIONS:
            self.faults.add((key,), f"holds {len(values)} readings; at most {MOST_POSITIONS} are read", None)
            return ()
        bare = [index for index, value in enumerate(values) if _is_number(value)]
        if len(bare) > 1 and self.given.get("unit") is None and self.dimension != NUMBER:
            usual = DIMENSIONS[self.dimension].inch if self.dimension else "in"
            form = ", ".join(written(values[index]) for index in bare[:3])
            fix = f"declare it once, {{unit: {usual}, {key}: [{form}, ...]}}"
            self.faults.add((key, bare[0]), f"these readings have no unit: {fix}", None)
            values = [value for value in values if not _is_number(value)]
        found = [self._quantity((key, index), value) for index, value in enumerate(values)]
        return tuple(value for value in found if value is not None)

    def _words(self, holder: Mapping[str, Any], place: tuple[str, ...]) -> str | None:
        value = holder.get(place[-1])
        if value is None:
            return None
        if isinstance(value, (dict, list, bool)):
            self.faults.add(place, "is text: write a few words", value)
            return None
        words = " ".join(written(value).split())
        if len(words) > LONGEST_WORDS:
            self.faults.add(place, f"is longer than {LONGEST_WORDS} characters: shorten it", None)
            return None
        return words or None

    def _accepted(self) -> Accepted | None:
        given = self.given.get("accepted")
        if given is None:
            return None
        if isinstance(given, dict) and not set(given) - {"why", "by"}:
            why, by = (self._words(given, ("accepted", key)) for key in ("why", "by"))
            if why and by:
                return Accepted(why, by)
        self.faults.add(("accepted",), "write why it was accepted and by whom: accepted: {why: ..., by: ...}", None)
        return None
