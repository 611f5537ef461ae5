"""What the models of the record share: strictness, notes of fields, and types of fields.

The notes of a field give its meaning, how it is written, its positions, what values are plausible, and who may see it.
The reader, the scaffold, the JSON Schema, the field reference and the redaction of private values all read them.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Mapping
from dataclasses import dataclass
from dataclasses import field as dataclass_field
from typing import Annotated, Any, Literal

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    GetJsonSchemaHandler,
    StringConstraints,
    ValidationInfo,
    WithJsonSchema,
    field_validator,
    model_validator,
)
from pydantic.fields import FieldInfo
from pydantic_core import core_schema

from builder.record.quantities.pydantic_types import QuantityOf, RangeOf, ReadingOf
from builder.record.quantities.readings import Reading, as_written
from builder.record.quantities.sign import Sign, require_sign
from builder.record.quantities.units import NUMBER, Quantity, Range
from builder.record.wording import capitalize

Privacy = Literal["customer", "shop"]
"""Who may see a private field: the customer whose engine it is and the shop, or the shop alone."""

ShownIn = Literal["pages", "deliveries"]
"""Where a field of shop.yaml has an effect: on the pages (and perhaps on deliveries), or on deliveries alone."""


@dataclass(frozen=True, slots=True)
class Notes:
    """What a field's definition gives beyond its type."""

    description: str
    example: str = ""
    private: Privacy | None = None
    axis: str | None = None
    plausible_range: tuple[str, str] | None = None
    title: str | None = None
    alternative_to: str | None = None
    refers_to: str | None = None
    repeat_example: str = ""
    shown_in: ShownIn = "pages"
    sign: Sign | None = None
    also: tuple[str, ...] = ()
    units: tuple[str, ...] = ()
    measured: bool = False
    only_where: str = ""
    public_where: tuple[str, str] | None = None
    depends_on: Mapping[str, float | None] = dataclass_field(default_factory=dict)
    rare: bool = False


def field(
    description: str,
    example: str = "",
    *,
    default: Any = None,
    private: Privacy | None = None,
    axis: str | None = None,
    plausible_range: tuple[str, str] | None = None,
    title: str | None = None,
    alternative_to: str | None = None,
    refers_to: str | None = None,
    repeat_example: str = "",
    shown_in: ShownIn = "pages",
    sign: Sign | None = None,
    also: tuple[str, ...] = (),
    units: tuple[str, ...] = (),
    measured: bool = False,
    only_where: str = "",
    public_where: tuple[str, str] | None = None,
    depends_on: Mapping[str, float | None] | None = None,
    rare: bool = False,
    required: bool = False,
) -> Any:
    """Declare a field of the record.

    ``description`` is its meaning in the shop's words, ``example`` how it is written in YAML. ``axis`` names the
    positions of a list of readings ("cylinder", "main journal", ...). ``plausible_range`` gives the least and the
    most that any ordinary engine has; outside it the reader warns. ``alternative_to`` names the field of the same
    model that it replaces: only one of the two is given. ``refers_to`` names the field of an earlier entry in the
    same list that its value repeats; ``repeat_example`` is the example for such a later entry. ``shown_in`` says
    whether a field of shop.yaml changes pages or deliveries alone. ``sign`` says whether its values may be zero or
    below; without one its dimension does: angles and temperatures may be, shares may be zero, everything else is above
    zero. ``also`` are other names that the trade has for the field, which are read as well. ``units`` are the units
    that the trade uses for it, where they are not those of its dimension. ``measured``: it can only come from a
    measurement (dial gauge, burette, tester), so that a plain value counts as measured. ``only_where`` says
    which engines have it, where the engine of the other examples has not. ``depends_on`` are the fields (or sections)
    whose change makes a measurement no longer hold, each with how much the measurement changes for one unit of it;
    None where that takes more than a factor, or cannot be calculated. Private fields must be optional.
    ``public_where`` is, in a private list, the field of an entry and the choice in it that make this entry public.
    ``rare``: few shops record it, so that the files of a new build leave it out and the field reference alone has it.
    """
    notes = Notes(
        description,
        example,
        private,
        axis,
        plausible_range,
        title,
        alternative_to,
        refers_to,
        repeat_example,
        shown_in,
        sign,
        also,
        units,
        measured,
        only_where,
        public_where,
        depends_on or {},
        rare,
    )
    if required:
        return Field(description=description, title=title, json_schema_extra=_SchemaNotes(notes))
    return Field(default, description=description, title=title, json_schema_extra=_SchemaNotes(notes))


@dataclass(frozen=True)
class _SchemaNotes:
    """Carries a field's notes, and puts those that an editor can show into the JSON Schema."""

    notes: Notes

    def __call__(self, schema: dict[str, Any]) -> None:
        if self.notes.example:
            schema["examples"] = [self.notes.example]
        if self.notes.private:
            schema["x-private"] = self.notes.private


def notes_of(info: FieldInfo) -> Notes:
    """Return the notes a field was declared with."""
    extra = info.json_schema_extra
    return extra.notes if isinstance(extra, _SchemaNotes) else Notes(info.description or "")


def title_of(name: str, info: FieldInfo) -> str:
    """Return a field's name as a heading or row label."""
    text = notes_of(info).title or name.replace("_", " ")
    return capitalize(text)


class RecordModel(BaseModel):
    """A part of the record: frozen, and closed to unknown names."""

    # Deferred: pydantic builds a model only when a file that holds it is first read.
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False, defer_build=True)

    @model_validator(mode="before")
    @classmethod
    def _empty_is_not_recorded(cls, given: Any) -> Any:
        """Drop names with nothing after them: they are left for later."""
        if isinstance(given, dict) and None in given.values():
            return {key: value for key, value in given.items() if value is not None or key not in cls.model_fields}
        return given

    @field_validator("*")
    @classmethod
    def _possible_sign(cls, value: Any, info: ValidationInfo) -> Any:
        """Reject zero, or values below it, where there can be none."""
        if isinstance(value, (float, Quantity, Reading, Range, tuple)) and info.field_name:
            notes = notes_of(cls.model_fields[info.field_name])
            require_sign(value, notes.sign)
            if notes.measured and isinstance(value, Reading):
                return value.as_measured()
        return value


def _as_text(given: object) -> object:
    if isinstance(given, bool):
        raise ValueError("yes/no was read as a switch: put the text between quotes")
    if isinstance(given, (int, float)):
        return as_written(given)
    return given


def _one_line(given: object) -> object:
    text = _as_text(given)
    return " ".join(text.split()) if isinstance(text, str) else text


def _as_number(given: object) -> object:
    if isinstance(given, bool):
        raise ValueError("yes/no was read as a switch: write a number")
    if isinstance(given, str) and len(given) > 40:
        raise ValueError("is a text, and a plain number is wanted")
    return given


def _as_ratio(given: object) -> object:
    if isinstance(given, str) and (ratio := _RATIO.fullmatch(given.strip())):
        return ratio[1]
    return _as_number(given)


_RATIO = re.compile(r"([0-9.]{1,20})\s*(?::|to)\s*1(?:\.0*)?")


def _as_day(given: object) -> object:
    if isinstance(given, str) and (day := _DAY.fullmatch(given.strip())):
        return f"{day[1]}-{int(day[2]):02d}-{int(day[3]):02d}"
    if isinstance(given, datetime.date):
        return given
    raise ValueError(f"{str(given)[:40]!r} is not a day: write year-month-day, e.g. 2024-05-17")


_DAY = re.compile(r"([0-9]{4})-([0-9]{1,2})-([0-9]{1,2})")
_TextOrNumber = Annotated[Any, WithJsonSchema({"type": ["string", "number"]})]
"""What an editor accepts for a text: part numbers look like numbers."""

Line = Annotated[
    str,
    StringConstraints(strip_whitespace=True, min_length=1, max_length=400),
    BeforeValidator(_one_line, json_schema_input_type=_TextOrNumber),
]
"""A few words on one line; shown as plain text."""


def as_list(given: object) -> object:
    """Return one value that was written in place of a list as a list of it."""
    return (given,) if isinstance(given, (str, int, float)) and not isinstance(given, bool) else given


_LinesAsWritten = Annotated[
    Any,
    WithJsonSchema(
        {"anyOf": [{"type": ["string", "number"]}, {"type": "array", "items": {"type": ["string", "number"]}}]}
    ),
]
"""What an editor accepts for one line or several."""


class DescribedModel(RecordModel):
    """A section that may be written as one line of text, which is then its description."""

    description: Line | None = None

    @model_validator(mode="before")
    @classmethod
    def _only_its_description(cls, given: Any) -> Any:
        return given if isinstance(given, (dict, list, cls)) else {"description": given}

    @classmethod
    def __get_pydantic_json_schema__(
        cls, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        """Describe both forms: the description alone, or everything about it."""
        full = handler.resolve_ref_schema(handler(schema))
        return {"anyOf": [{"type": ["string", "number"], "description": "its description alone"}, dict(full)]}

    @property
    def is_one_line(self) -> bool:
        """Whether nothing but the description was recorded."""
        return self.description is not None and self.model_fields_set == {"description"}


Lines = Annotated[tuple[Line, ...], BeforeValidator(as_list, json_schema_input_type=_LinesAsWritten)]
"""One line of text, or a list of them."""

Prose = Annotated[
    str,
    StringConstraints(strip_whitespace=True, min_length=1, max_length=20000),
    BeforeValidator(_as_text, json_schema_input_type=_TextOrNumber),
]
"""Sentences, with emphasis, code, links and lists of plain Markdown."""

Day = Annotated[datetime.date, BeforeValidator(_as_day, json_schema_input_type=datetime.date)]
"""A day, written year-month-day."""

Number = Annotated[float, BeforeValidator(_as_number, json_schema_input_type=float)]
"""A plain number without a unit."""

RatioNumber = Annotated[
    float,
    BeforeValidator(_as_ratio, json_schema_input_type=Annotated[Any, WithJsonSchema({"type": ["number", "string"]})]),
]
"""A ratio to one, as a plain number or as `9.5:1`."""

Integer = Annotated[int, BeforeValidator(_as_number, json_schema_input_type=int)]
"""A whole number."""

Count = Annotated[int, Field(ge=1, le=100_000), BeforeValidator(_as_number, json_schema_input_type=int)]
"""How many."""

Length = Annotated[Reading, ReadingOf("length")]
Volume = Annotated[Reading, ReadingOf("volume")]
Area = Annotated[Reading, ReadingOf("area")]
Angle = Annotated[Reading, ReadingOf("angle")]
Torque = Annotated[Reading, ReadingOf("torque")]
Force = Annotated[Reading, ReadingOf("force")]
Stiffness = Annotated[Reading, ReadingOf("stiffness")]
Imbalance = Annotated[Reading, ReadingOf("imbalance")]
Mass = Annotated[Reading, ReadingOf("mass")]
Pressure = Annotated[Reading, ReadingOf("pressure")]
Fraction = Annotated[Reading, ReadingOf("fraction")]
Ratio = Annotated[Reading, ReadingOf(NUMBER)]
AnyReading = Annotated[Reading, ReadingOf(None)]
"""A reading of any kind: its unit says which."""

OneVolume = Annotated[Quantity, QuantityOf("volume")]
OneLength = Annotated[Quantity, QuantityOf("length")]
OneAngle = Annotated[Quantity, QuantityOf("angle")]
OneTorque = Annotated[Quantity, QuantityOf("torque")]
OneForce = Annotated[Quantity, QuantityOf("force")]
OnePressure = Annotated[Quantity, QuantityOf("pressure")]
OneTemperature = Annotated[Quantity, QuantityOf("temperature")]
OneSpeed = Annotated[Quantity, QuantityOf("engine speed")]
OnePower = Annotated[Quantity, QuantityOf("power")]
OneVolumeFlow = Annotated[Quantity, QuantityOf("volume flow")]
OneMassFlow = Annotated[Quantity, QuantityOf("mass flow")]
OneInjectorFlow = Annotated[Quantity, QuantityOf("mass flow", or_dimension="volume flow")]
"""A flow by mass or by volume."""
OneFraction = Annotated[Quantity, QuantityOf("fraction")]
OneInertia = Annotated[Quantity, QuantityOf("inertia")]
OneEnergy = Annotated[Quantity, QuantityOf("specific energy")]
OneDensity = Annotated[Quantity, QuantityOf("density")]
OneTime = Annotated[Quantity, QuantityOf("time")]


def _in_hours(given: object) -> object:
    return f"{as_written(given)} h" if isinstance(given, (int, float)) and not isinstance(given, bool) else given


Hours = Annotated[OneTime, BeforeValidator(_in_hours), WithJsonSchema({"type": ["number", "string"]})]
"""A time; a plain number is hours."""
OneOfAny = Annotated[Quantity, QuantityOf(None, or_number=True)]
"""A value of any kind: its unit says which, and a plain number (a jet, a notch) will do."""


SpeedRange = Annotated[Range, RangeOf("engine speed")]
