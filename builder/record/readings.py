"""A reading: what a part was listed as, what it measured, for one or for every position.

The shop may write a reading as shortly as it likes::

    stroke: 3.480 in                                        listed, or simply known
    chambers: {unit: cc, measured: [64.2, 64.0, 64.1]}      every position
    compression_height: {listed: 1.760 in, measured: 1.661 in}
    main_oil_clearance: {unit: in, allowed: 0.0022..0.0030, measured: [0.0026, 0.0025]}
"""

from __future__ import annotations

import difflib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray
from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler, ValidationError
from pydantic_core import InitErrorDetails, PydanticCustomError, core_schema

from builder.record.units import DIMENSIONS, Quantity, Range, UnitProblem, parse_quantity, parse_range

if TYPE_CHECKING:
    from pydantic.json_schema import JsonSchemaValue

NUMBER = "number"
"""The dimension of a plain ratio or count, which carries no unit."""

MOST_POSITIONS = 400


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
    def best(self) -> tuple[Quantity, ...]:
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
        return np.array([quantity.si for quantity in self.best], dtype=np.float64)

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
    if dimension == NUMBER:
        if _is_number(given):
            return Quantity(float(given), written(given), "", NUMBER)  # type: ignore[arg-type]
        raise UnitProblem(f"{str(given)[:60]!r} is not a number: write a plain number without a unit")
    if _is_number(given):
        if unit:
            return parse_quantity(f"{written(given)} {unit}", dimension)
        return parse_quantity(written(given), dimension)  # says which unit to add
    if isinstance(given, str):
        return parse_quantity(given, dimension)
    example = DIMENSIONS[dimension].example if dimension else "4.0305 in"
    kind = {dict: "a mapping", list: "a list", bool: "yes/no", type(None): "empty"}.get(type(given), "something else")
    raise UnitProblem(f"is {kind}; write one value with its unit, e.g. {example}")


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
    reading = _read_mapping(given, dimension, faults)
    faults.raise_if_any()
    return reading


def _read_mapping(given: dict[str, Any], dimension: str | None, faults: _Faults) -> Reading:
    for key in given:
        if key not in _KEYS:
            near = difflib.get_close_matches(str(key), _KEYS, n=1)
            hint = f"did you mean {near[0]!r}?" if near else f"known are {', '.join(_KEYS)}"
            faults.add((key,), f"unknown key {key!r}: {hint}", given[key])
    unit = given.get("unit")
    if unit is not None and not isinstance(unit, str):
        faults.add(("unit",), "a unit is text, e.g. in", unit)
        unit = None

    def one(key: str) -> Quantity | None:
        if given.get(key) is None:
            return None
        value: Quantity | None = faults.read((key,), given[key], lambda: quantity_of(given[key], dimension, unit))
        return value

    def several(key: str) -> tuple[Quantity, ...]:
        values = given.get(key)
        if values is None:
            return ()
        if not isinstance(values, list):
            return (single,) if (single := one(key)) is not None else ()
        if len(values) > MOST_POSITIONS:
            faults.add((key,), f"holds {len(values)} readings; at most {MOST_POSITIONS} are read", None)
            return ()
        found = [
            faults.read((key, index), value, partial(quantity_of, value, dimension, unit))
            for index, value in enumerate(values)
        ]
        return tuple(value for value in found if value is not None)

    allowed = None
    if given.get("allowed") is not None:
        text = written(given["allowed"])
        allowed = faults.read(("allowed",), text, lambda: parse_range(text, dimension, unit))
    texts = {key: _text(given, key, faults) for key in ("rule", "by", "note")}
    listed, measured, repeats = one("listed"), several("measured"), several("repeats")
    least, most = one("at_least"), one("at_most")
    dimensions = {q.dimension for q in (listed, *measured, *repeats) if q is not None}
    if len(dimensions) > 1:
        faults.add((), f"mixes {' and '.join(sorted(dimensions))}: give every value the same kind of unit", None)
    if not faults.details and not (listed or measured or repeats or allowed or least or most):
        faults.add((), "holds no value: give listed, measured or both", None)
    kind = dimension or next(iter(dimensions), "length")
    return Reading(
        kind,
        listed,
        measured,
        allowed,
        least,
        most,
        one("resolution"),
        repeats,
        texts["rule"],
        _accepted(given.get("accepted"), faults),
        texts["by"],
        texts["note"],
    )


def _text(given: Mapping[str, Any], key: str, faults: _Faults) -> str | None:
    value = given.get(key)
    if value is None:
        return None
    if isinstance(value, (dict, list, bool)):
        faults.add((key,), "is text: write a few words", value)
        return None
    return written(value)


def _accepted(given: object, faults: _Faults) -> Accepted | None:
    if given is None:
        return None
    if not isinstance(given, dict) or not given.get("why") or not given.get("by") or set(given) - {"why", "by"}:
        faults.add(("accepted",), "write why it was accepted and by whom: accepted: {why: ..., by: ...}", given)
        return None
    return Accepted(written(given["why"]), written(given["by"]))


@dataclass(frozen=True)
class ReadingOf:
    """Annotation that makes a field a Reading of one dimension (None: the unit says which)."""

    dimension: str | None

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        """Validate with read_reading."""
        return core_schema.no_info_plain_validator_function(lambda given: read_reading(given, self.dimension))

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        """Describe the shorthand and the long form to an editor."""
        if self.dimension == NUMBER:
            value: dict[str, Any] = {"type": "number"}
            example = "1.6"
        else:
            example = DIMENSIONS[self.dimension].example if self.dimension else "4.0305 in"
            value = {"type": "string", "description": f"a value with its unit, e.g. {example}"}
        either = {"anyOf": [value, {"type": "number", "description": "with unit: beside it"}]}
        many = {"anyOf": [either, {"type": "array", "items": either}]}
        text = {"type": "string"}
        return {
            "anyOf": [
                value,
                {"type": "array", "items": value},
                {
                    "type": "object",
                    "additionalProperties": False,
                    "properties": {
                        "listed": either,
                        "measured": many,
                        "repeats": many,
                        "allowed": {"type": "string", "description": "least..most, e.g. 0.0025..0.0035 in"},
                        "at_least": either,
                        "at_most": either,
                        "unit": text,
                        "resolution": either,
                        "rule": text,
                        "accepted": {
                            "type": "object",
                            "additionalProperties": False,
                            "properties": {"why": text, "by": text},
                            "required": ["why", "by"],
                        },
                        "by": text,
                        "note": text,
                    },
                },
            ]
        }


@dataclass(frozen=True)
class QuantityOf:
    """Annotation that makes a field one Quantity of a dimension (None: the unit says which)."""

    dimension: str | None

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        """Validate with quantity_of."""

        def read(given: object) -> Quantity:
            if isinstance(given, Quantity):
                return given
            try:
                return quantity_of(given, self.dimension)
            except UnitProblem as problem:
                raise PydanticCustomError("reading", "{said}", {"said": str(problem)}) from None

        return core_schema.no_info_plain_validator_function(read)

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        """Text with a unit."""
        example = DIMENSIONS[self.dimension].example if self.dimension else "4.0305 in"
        return {"type": "string", "description": f"a value with its unit, e.g. {example}"}


@dataclass(frozen=True)
class RangeOf:
    """Annotation that makes a field a Range of a dimension."""

    dimension: str

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        """Validate with parse_range."""

        def read(given: object) -> Range:
            if isinstance(given, Range):
                return given
            try:
                return parse_range(written(given), self.dimension)
            except UnitProblem as problem:
                raise PydanticCustomError("reading", "{said}", {"said": str(problem)}) from None

        return core_schema.no_info_plain_validator_function(read)

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        """Text of the form least..most and the unit."""
        return {"type": "string", "description": f"least..most and the unit, for a {self.dimension}"}
