"""What every part of the record's model shares: strictness, field notes, and what is private.

A field says here, once, what it means, how it is written, how many positions it has, what values are
likely, and who may see it. The reader, the scaffold, the JSON Schema, the field reference and the
stripping of private values all read these notes; none of them keeps a list of its own.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, StringConstraints
from pydantic.fields import FieldInfo

from builder.record.readings import NUMBER, QuantityOf, RangeOf, Reading, ReadingOf, written
from builder.record.units import Quantity, Range

Privacy = Literal["customer", "shop"]
"""Who may see a private field: the customer whose engine it is and the shop, or the shop alone."""


@dataclass(frozen=True, slots=True)
class Notes:
    """What a field's definition says of itself beyond its type."""

    says: str
    example: str = ""
    private: Privacy | None = None
    each: str | None = None
    likely: tuple[str, str] | None = None
    title: str | None = None


def field(
    says: str,
    example: str = "",
    *,
    default: Any = None,
    private: Privacy | None = None,
    each: str | None = None,
    likely: tuple[str, str] | None = None,
    title: str | None = None,
    required: bool = False,
) -> Any:
    """Declare a field of the record.

    ``says`` is its meaning in the shop's words, ``example`` how it is written. ``each`` names the positions
    a list of readings stands for ("cylinder", "main journal", ...). ``likely`` gives the least and the most
    that any ordinary engine has; outside it the reader warns. Private fields must be optional.
    """
    notes = Notes(says, example, private, each, likely, title)
    if required:
        return Field(description=says, title=title, json_schema_extra=_InSchema(notes))
    return Field(default, description=says, title=title, json_schema_extra=_InSchema(notes))


@dataclass(frozen=True)
class _InSchema:
    """Carries a field's notes; of them the JSON Schema gets what an editor can show."""

    notes: Notes

    def __call__(self, schema: dict[str, Any]) -> None:
        if self.notes.example:
            schema["examples"] = [self.notes.example]
        if self.notes.private:
            schema["x-private"] = self.notes.private


def notes_of(info: FieldInfo) -> Notes:
    """The notes a field was declared with."""
    extra = info.json_schema_extra
    return extra.notes if isinstance(extra, _InSchema) else Notes(info.description or "")


def title_of(name: str, info: FieldInfo) -> str:
    """A field's name as a heading or row label."""
    words = notes_of(info).title or name.replace("_", " ")
    return words[:1].upper() + words[1:]


class RecordModel(BaseModel):
    """A part of the record: frozen, and closed to unknown names."""

    model_config = ConfigDict(frozen=True, extra="forbid")


def _as_text(given: object) -> object:
    if isinstance(given, bool):
        raise ValueError("yes/no was read as a switch: put the text between quotes")
    if isinstance(given, (int, float)):
        return written(given)
    return given


Line = Annotated[str, BeforeValidator(_as_text), StringConstraints(strip_whitespace=True, min_length=1, max_length=400)]
"""A few words on one line; shown as plain text."""

Prose = Annotated[
    str, BeforeValidator(_as_text), StringConstraints(strip_whitespace=True, min_length=1, max_length=20000)
]
"""Sentences; emphasis, code, links and lists of plain Markdown are let through."""

Length = Annotated[Reading, ReadingOf("length")]
Volume = Annotated[Reading, ReadingOf("volume")]
Area = Annotated[Reading, ReadingOf("area")]
Angle = Annotated[Reading, ReadingOf("angle")]
Torque = Annotated[Reading, ReadingOf("torque")]
Force = Annotated[Reading, ReadingOf("force")]
Stiffness = Annotated[Reading, ReadingOf("stiffness")]
Mass = Annotated[Reading, ReadingOf("mass")]
Pressure = Annotated[Reading, ReadingOf("pressure")]
Temperature = Annotated[Reading, ReadingOf("temperature")]
Fraction = Annotated[Reading, ReadingOf("fraction")]
Ratio = Annotated[Reading, ReadingOf(NUMBER)]
AnyReading = Annotated[Reading, ReadingOf(None)]
"""A reading of any kind: its unit says which."""

OneLength = Annotated[Quantity, QuantityOf("length")]
OneAngle = Annotated[Quantity, QuantityOf("angle")]
OneTorque = Annotated[Quantity, QuantityOf("torque")]
OneForce = Annotated[Quantity, QuantityOf("force")]
OneMass = Annotated[Quantity, QuantityOf("mass")]
OnePressure = Annotated[Quantity, QuantityOf("pressure")]
OneTemperature = Annotated[Quantity, QuantityOf("temperature")]
OneSpeed = Annotated[Quantity, QuantityOf("engine speed")]
OnePower = Annotated[Quantity, QuantityOf("power")]
OneVolumeFlow = Annotated[Quantity, QuantityOf("volume flow")]
OneMassFlow = Annotated[Quantity, QuantityOf("mass flow")]
OneFraction = Annotated[Quantity, QuantityOf("fraction")]
OneInertia = Annotated[Quantity, QuantityOf("inertia")]
OneEnergy = Annotated[Quantity, QuantityOf("specific energy")]
OneDensity = Annotated[Quantity, QuantityOf("density")]
OneOfAny = Annotated[Quantity, QuantityOf(None)]

SpeedRange = Annotated[Range, RangeOf("engine speed")]
