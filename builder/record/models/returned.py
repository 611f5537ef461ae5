"""returned.yaml: how an engine came back: checks before it came apart, and the condition of its parts."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import GetJsonSchemaHandler, model_validator
from pydantic_core import core_schema

from builder.record.models.choices import Synonyms
from builder.record.models.fields import (
    Count,
    Day,
    Fraction,
    Line,
    Lines,
    Number,
    OneLength,
    Pressure,
    Prose,
    RecordModel,
    field,
)

ReturnReason = Annotated[
    Literal["service", "wear", "damage", "upgrade"],
    Synonyms(
        {
            "service": "freshen-up, refresh, maintenance, inspection",
            "wear": "worn, worn out, tired, end of its life",
            "damage": "failure, failed, broken, breakage, seizure",
            "upgrade": "more power, modification, bigger cam, improvement",
        }
    ),
]
ConditionGrade = Annotated[
    Literal["good", "light wear", "worn", "damaged", "broken"],
    Synonyms(
        {
            "good": "as new, OK, fine, no wear",
            "light wear": "slight wear, lightly worn, polished",
            "worn": "heavy wear, heavily worn, worn out",
            "damaged": "scored, scuffed, pitted, cracked, burnt, burned, wiped",
            "broken": "failed, in pieces, spun, seized",
        }
    ),
]
PartOutcome = Annotated[
    Literal["kept", "reworked", "replaced"],
    Synonyms(
        {
            "kept": "refitted, reused, used again, cleaned",
            "reworked": "reground, honed, rebored, bored, polished, recut, repaired, machined",
            "replaced": "new, renewed, exchanged",
        }
    ),
]


class ReturnedFor(RecordModel):
    """Why the engine came back."""

    reason: ReturnReason = field("service, wear, damage or upgrade", "service", required=True)
    text: Prose | None = field("what was the matter, in words", "freshen-up after two seasons, no complaint")

    @model_validator(mode="before")
    @classmethod
    def _only_its_reason(cls, given: object) -> object:
        return {"reason": given} if isinstance(given, str) else given

    @classmethod
    def __get_pydantic_json_schema__(
        cls, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        """Describe both forms: the reason alone, or with words."""
        full = handler.resolve_ref_schema(handler(schema))
        words = Synonyms.of(ReturnReason).table
        reasons = {"type": "string", "enum": [*words, *(word for each in words.values() for word in each)]}
        return {"anyOf": [reasons, dict(full)]}


class SinceLast(RecordModel):
    """How long the engine ran since its last build."""

    hours: Number | None = field(
        "hours run", "42", sign="not negative", plausible_range=("0", "50000"), also=("running_hours",)
    )
    distance: OneLength | None = field(
        "distance run", "3100 mi", sign="not negative", units=("mi", "km"), plausible_range=("0 km", "800000 km")
    )
    starts: Count | None = field("times it was started", "60")


class PartCondition(RecordModel):
    """The condition of one kind of part, at some or all of its positions."""

    part: Line = field("rings, bores, bearings, lifters ...", "main bearings", required=True)
    at: Lines = field("positions it is about; all, where left out", "[3]", default=())
    grade: ConditionGrade | None = field("condition", "worn")
    found: Prose | None = field("what was seen", "overlay gone on the lower shell, no copper showing")
    outcome: PartOutcome | None = field("what was done with it", "replaced")
    photo: Line | None = field(
        "picture, listed in photos.yaml with its description", "photos/deck.jpg", only_where="it was photographed"
    )
    private_note: Prose | None = field("private note", "filter had not been changed", private="shop")


class Returned(RecordModel):
    """returned.yaml: how the engine came back: checks before it came apart, and the condition of its parts."""

    date: Day | None = field("day it was checked, before it came apart", "2024-02-06")
    leak_down: Fraction | None = field(
        "leak-down before it came apart",
        "{unit: '%', measured: [9, 11, 9, 12]}",
        axis="cylinder",
        plausible_range=("0 %", "100 %"),
        sign="not negative",
        also=("leakdown", "leak_down_test"),
        measured=True,
    )
    cranking_compression: Pressure | None = field(
        "cranking pressure before it came apart, throttle open",
        "{unit: psi, measured: [172, 170, 174, 165]}",
        axis="cylinder",
        plausible_range=("1 psi", "700 psi"),
        sign="not negative",
        units=("psi", "bar"),
        also=("cranking_pressure", "compression_test"),
        measured=True,
    )
    oil_pressure: Pressure | None = field(
        "oil pressure before it came apart, hot, at speed",
        "52 psi",
        plausible_range=("0 psi", "200 psi"),
        sign="not negative",
        units=("psi", "bar"),
        also=("hot_oil_pressure",),
        measured=True,
    )
    idle_oil_pressure: Pressure | None = field(
        "oil pressure before it came apart, hot, at idle",
        "18 psi",
        plausible_range=("0 psi", "150 psi"),
        sign="not negative",
        units=("psi", "bar"),
        measured=True,
    )
    condition: tuple[PartCondition, ...] = field("condition of parts", "", default=())
    by: Line | None = field("inspected by", "RT")
    note: Prose | None = field("remarks", "Clean inside, no sludge.")
    private_note: Prose | None = field("private note", "Asked again about the rev limit.", private="shop")
