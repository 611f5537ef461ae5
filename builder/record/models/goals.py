"""What the customer asked for: in words, and as numbers that the finished engine is held against."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import partial
from typing import Annotated, Any, Literal

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler, model_validator
from pydantic_core import core_schema

from builder.record.models.fields import Line, Prose, RecordModel, field
from builder.record.problem import did_you_mean
from builder.record.quantities.readings import ReadingErrors
from builder.record.quantities.unit_table import example_of, printed_unit
from builder.record.quantities.units import NUMBER, Quantity, UnitProblem, parse_quantity, parse_range
from builder.record.wording import capitalize

TargetQuantity = Literal["torque", "power", "compression ratio", "displacement", "quench"]
_DIMENSIONS: dict[TargetQuantity, str] = {
    "torque": "torque",
    "power": "power",
    "compression ratio": NUMBER,
    "displacement": "volume",
    "quench": "length",
}
_OTHER_NAMES: dict[str, TargetQuantity] = {
    "peak torque": "torque",
    "peak power": "power",
    "compression": "compression ratio",
    "squish": "quench",
}
_AT_SPEED = re.compile(r"(?P<quantity>.+?)\s+at\s+(?P<speed>[0-9].*)")
_LIMIT = re.compile(r"(?P<limit>at least|at most)\s+(?P<value>.+)")
_EXAMPLES = "torque, power, torque at 2000 rpm, power at 4000 rpm, compression ratio, displacement or quench"


@dataclass(frozen=True)
class Target:
    """One goal with a number: what is wanted of a quantity, at one speed or (torque and power) at its peak.

    ``wanted`` holds the value as it was written, or both ends of a range; ``minimum`` and ``maximum`` are what is
    enough, SI: both where the value is to be met within its last digit.
    """

    name: str
    quantity: TargetQuantity
    speed: Quantity | None
    wanted: tuple[Quantity, ...]
    minimum: float | None
    maximum: float | None

    @property
    def text(self) -> str:
        """Return what is wanted as it was written: `at least 350 lbf ft`."""
        unit = printed_unit(self.wanted[-1].unit)
        number = " to ".join(quantity.fraction or quantity.number for quantity in self.wanted)
        limit = "at least " if self.maximum is None else "at most " if self.minimum is None else ""
        return f"{limit}{number}" + (f"\N{NO-BREAK SPACE}{unit}" if unit else "")


def read_target(name: str, text: str) -> Target:
    """Return the goal that a name such as `torque at 2000 rpm` and a text such as `350 lb-ft` make.

    A plain torque or power is the least that is wanted; a plain compression ratio, displacement or quench is met by
    what rounds to it. `at least`, `at most` or a range say otherwise. Raises UnitProblem with the fix.
    """
    words = " ".join(name.split())
    match = _AT_SPEED.fullmatch(words)
    wanted = (match["quantity"] if match else words).casefold()
    quantity = _quantity(wanted)
    if quantity is None:
        hint = did_you_mean(wanted, (*_DIMENSIONS, *_OTHER_NAMES), f"write {_EXAMPLES}")
        raise UnitProblem(f"{name[:60]!r} is not a goal that can be checked: {hint}; other goals go into text")
    if match and (quantity not in ("torque", "power") or wanted.startswith("peak ")):
        raise UnitProblem(f"{wanted} has no engine speed: leave out 'at {match['speed'][:20]}'")
    title = capitalize(words)
    speed = parse_quantity(match["speed"], "engine speed") if match else None
    if speed is not None and speed.si <= 0:
        raise UnitProblem(f"{speed.text} is not a speed an engine runs at: write e.g. {quantity} at 2000 rpm")
    dimension = _DIMENSIONS[quantity]
    if ".." in text:
        wanted_range = parse_range(text, dimension)
        ends = _above_zero(wanted_range.minimum, dimension), _above_zero(wanted_range.maximum, dimension)
        return Target(title, quantity, speed, ends, ends[0].si, ends[1].si)
    limited = _LIMIT.fullmatch(" ".join(text.split()))
    value = _above_zero(parse_quantity(limited["value"] if limited else text, dimension), dimension)
    limit = limited["limit"] if limited else "at least" if quantity in ("torque", "power") else "equal"
    minimum = {"at least": value.si, "at most": None, "equal": value.si - value.step / 2}[limit]
    maximum = {"at least": None, "at most": value.si, "equal": value.si + value.step / 2}[limit]
    return Target(title, quantity, speed, (value,), minimum, maximum)


def _quantity(name: str) -> TargetQuantity | None:
    return _OTHER_NAMES.get(name) or next((quantity for quantity in _DIMENSIONS if quantity == name), None)


def _above_zero(value: Quantity, dimension: str) -> Quantity:
    if value.si <= 0:
        raise UnitProblem(f"{value.text} is not above zero: write e.g. {example_of(dimension)}")
    return value


@dataclass(frozen=True)
class ByQuantity:
    """Annotation of pairs that each are a goal with a number."""

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        """Read the pairs, then check that each can be read as a goal."""
        return core_schema.no_info_after_validator_function(_readable, handler(source))


def _readable(pairs: dict[str, str]) -> dict[str, str]:
    errors = ReadingErrors()
    for name, text in pairs.items():
        errors.collect((name,), text, partial(read_target, name, text))
    errors.raise_if_any()
    return pairs


TargetPairs = Annotated[dict[Line, Line], ByQuantity()]
"""What is wanted of each quantity."""


class Goals(RecordModel):
    """The customer's brief."""

    text: Prose | None = field(
        "customer's brief in words", "Torque from 2000 rpm, nothing above 6500 rpm, fuel of any harbor."
    )
    targets: TargetPairs | None = field(
        f"goals with a number, each shown as met or not: {_EXAMPLES}; a torque or power is the least wanted, "
        "unless at most or a range is written",
        "{torque at 2000 rpm: 150 lb-ft, power: 130 hp, compression ratio: 9.5}",
    )

    @model_validator(mode="before")
    @classmethod
    def _words_alone(cls, given: object) -> object:
        if isinstance(given, (str, int, float)) and not isinstance(given, bool):
            return {"text": given}
        if isinstance(given, dict) and "targets" not in given:
            targets = {name: value for name, value in given.items() if name not in cls.model_fields}
            if targets:
                return {**{name: value for name, value in given.items() if name not in targets}, "targets": targets}
        return given

    @property
    def read_targets(self) -> tuple[Target, ...]:
        """Return the goals with a number, in the order written."""
        return tuple(read_target(name, text) for name, text in (self.targets or {}).items())

    @classmethod
    def __get_pydantic_json_schema__(
        cls, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        """Describe both forms: words alone, or words and numbers."""
        full = handler.resolve_ref_schema(handler(schema))
        words = {"type": ["string", "number"], "description": "the brief in words alone"}
        pair = {"type": ["string", "number"], "description": f"what is wanted, by name: {_EXAMPLES}"}
        return {"anyOf": [words, {**full, "additionalProperties": pair}]}
