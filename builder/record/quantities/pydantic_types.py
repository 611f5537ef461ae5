"""Annotations that make a model's field a Reading, a Quantity or a Range, for pydantic and for JSON Schema."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import core_schema

from builder.record.quantities.readings import as_written, quantity_of, read_reading, reading_error
from builder.record.quantities.units import (
    DIMENSIONS,
    NUMBER,
    Quantity,
    Range,
    UnitFixProblem,
    UnitProblem,
    dimension_of,
    example_of,
    parse_range,
)

if TYPE_CHECKING:
    from pydantic.json_schema import JsonSchemaValue

# Number and unit; the number may be a fraction. The description names the units: a pattern with every spelling would
# still miss the shop's capitals and dots.
_NUMBER = r"[+\u2212-]?([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE][+-]?[0-9]+)?"
_FRACTION = r"([0-9]+[ -])?[0-9]+/[0-9]+"
_WITH_UNIT = rf"^\s*({_NUMBER}|{_FRACTION})\s*(1/min|[^\s0-9.,/+-].*)$"
_BARE = rf"^\s*({_NUMBER}|{_FRACTION})\s*$"
_RANGE = rf"^(?!.*\.\.\.)\s*{_NUMBER}\s*\.\.\s*{_NUMBER}"


_RATIO = {"type": ["number", "string"], "pattern": rf"^\s*{_NUMBER}\s*((:|to)\s*1(\.0*)?)?\s*$"}

SHARED_DEFINITION = "x-shared"
"""Marks a piece of JSON Schema that many fields have in common, with the name of its definition."""


def units_of(dimension: str | None) -> str:
    """Return how a value of a dimension is written, in one line."""
    if dimension == NUMBER:
        return "a plain number"
    if dimension is None:
        return "a value with any unit"
    return f"{dimension} in {DIMENSIONS[dimension].usual}"


def _value(dimension: str | None) -> dict[str, Any]:
    if dimension == NUMBER:
        return _RATIO
    description = f"{units_of(dimension)}, e.g. {example_of(dimension)}"
    return {"type": "string", "pattern": _WITH_UNIT, "description": description}


def _in_mapping(dimension: str | None) -> dict[str, Any]:
    """Return the schema of a value in the long form, where the unit may have an entry of its own."""
    if dimension == NUMBER:
        return _RATIO
    bare = {"type": "string", "pattern": _BARE}
    return {"anyOf": [_value(dimension), {"type": "number", "description": "with unit: next to it"}, bare]}


def _range(dimension: str | None) -> dict[str, Any]:
    return {"type": "string", "pattern": _RANGE, "description": f"least..most, {units_of(dimension)}"}


def _validated(kind: type[Any], read: Callable[[object], Any]) -> core_schema.CoreSchema:
    """Return a schema that passes values of a kind on, reads others, and reports a UnitProblem as pydantic does."""

    def validate(given: object) -> Any:
        try:
            return given if isinstance(given, kind) else read(given)
        except UnitProblem as problem:
            raise reading_error(problem) from None

    return core_schema.no_info_plain_validator_function(validate)


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
        one = _in_mapping(self.dimension)
        many = {"anyOf": [one, {"type": "array", "items": one}]}
        words = {"type": ["string", "number"]}
        accepted = {
            "type": "object",
            "additionalProperties": False,
            "properties": {"why": words, "by": words},
            "required": ["why", "by"],
        }
        keys = {
            "listed": {**one, "description": "what the catalog, card or sheet says"},
            "measured": {**many, "description": "what the gauge said: one for each position, in order, or one for all"},
            "returned": {**many, "description": "as the engine came back, before any work: the same positions"},
            "repeats": {**many, "description": "the same thing measured several times; the mean counts"},
            "allowed": _range(self.dimension),
            "at_least": {**one, "description": "the least allowed"},
            "at_most": {**one, "description": "the most allowed"},
            "unit": {"type": "string", "description": "the unit of every bare number next to it"},
            "resolution": {**one, "description": "what the gauge resolves"},
            "rule": {**words, "description": "source of the spec: manufacturer, shop"},
            "accepted": {**accepted, "description": "why a value out of range was accepted, and by whom"},
            "with": {**words, "description": "instrument it was read with: its ID in shop.yaml"},
            "by": {**words, "description": "who measured"},
            "note": {**words, "description": "anything else"},
        }
        long_form = {"type": "object", "additionalProperties": False, "properties": keys}
        forms = [_value(self.dimension), {"type": "array", "items": _value(self.dimension)}, long_form]
        return {SHARED_DEFINITION: f"{self.dimension or 'any'} reading", "anyOf": forms}


@dataclass(frozen=True)
class QuantityOf:
    """Annotation that makes a field one Quantity of a dimension (None: the unit says which).

    With ``or_number`` a plain number without a unit will do: a jet is known by its number. ``or_dimension`` is another
    dimension that will do: an injector is rated by mass or by volume.
    """

    dimension: str | None
    or_number: bool = False
    or_dimension: str | None = None

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        """Validate with quantity_of."""

        def read(given: object) -> Quantity:
            bare = self.or_number and isinstance(given, (int, float)) and not isinstance(given, bool)
            try:
                return quantity_of(given, NUMBER if bare else self.dimension)
            except UnitFixProblem as problem:
                if self.or_dimension and dimension_of(problem.fix.unit) == self.or_dimension:
                    return quantity_of(given, self.or_dimension)
                raise

        return _validated(Quantity, read)

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        """Text with a unit."""
        value = _value(self.dimension)
        return {"anyOf": [value, {"type": "number"}]} if self.or_number else value


@dataclass(frozen=True)
class RangeOf:
    """Annotation that makes a field a Range of a dimension."""

    dimension: str

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        """Validate with parse_range."""

        return _validated(Range, lambda given: parse_range(as_written(given), self.dimension))

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        """Text of the form least..most and the unit."""
        return _range(self.dimension)
