"""build.yaml: what the engine is, for whom and for what."""

from __future__ import annotations

from typing import Annotated, Any, Literal, get_args

from pydantic import BeforeValidator, GetJsonSchemaHandler, WithJsonSchema, field_validator, model_validator
from pydantic_core import core_schema

from builder.record.models.choices import Synonyms
from builder.record.models.dyno import CorrectionStandard, UnitChoice
from builder.record.models.fields import (
    Count,
    Day,
    Integer,
    Line,
    OneDensity,
    OneEnergy,
    OneSpeed,
    OneVolume,
    Prose,
    RatioNumber,
    RecordModel,
    as_list,
    field,
)
from builder.record.models.goals import Goals
from builder.record.models.returned import ReturnedFor, SinceLast
from builder.record.quantities.readings import as_written

Status = Annotated[
    Literal["planned", "in progress", "waiting for parts", "finished", "withdrawn"],
    Synonyms(
        {
            "planned": "plan, quoted, quote, not started",
            "in progress": "unfinished, in work, in hand, open",
            "waiting for parts": "waiting, awaiting parts, parts on order, on hold for parts",
            "finished": "done, complete, completed",
            "withdrawn": "canceled, cancelled",
        }
    ),
]
Layout = Annotated[
    Literal["single", "inline", "V", "flat", "radial"],
    Synonyms(
        {
            "single": "single cylinder, one cylinder",
            "inline": "straight, in a row, I2, I3, I4, I5, I6, I8, L2, L3, L4, L5, L6, L8",
            "V": "vee, V type, V twin, V4, V6, V8, V10, V12, V16",
            "flat": "boxer, opposed, horizontally opposed",
            "radial": "radial engine",
        }
    ),
]
Cycle = Annotated[
    Literal["four-stroke", "two-stroke"],
    Synonyms({"four-stroke": "4 stroke, four cycle, 4 cycle", "two-stroke": "2 stroke, two cycle, 2 cycle"}),
]
Ignition = Annotated[
    Literal["spark", "compression"],
    Synonyms(
        {
            "spark": "spark ignition, SI, spark plug, spark plugs, magneto",
            "compression": "compression ignition, CI, diesel",
        }
    ),
]
Cooling = Annotated[
    Literal["water", "air", "oil"],
    Synonyms({"water": "water cooled, liquid, liquid cooled, coolant", "air": "air cooled", "oil": "oil cooled"}),
]
Induction = Annotated[
    Literal["naturally aspirated", "turbocharged", "supercharged"],
    Synonyms(
        {
            "naturally aspirated": "na, natural, normally aspirated, atmospheric, natural aspiration",
            "turbocharged": "turbo, turbocharger, twin turbo",
            "supercharged": "supercharger, blown, blower",
        }
    ),
]
FuelSystem = Annotated[
    Literal["carburetor", "port injection", "throttle-body injection", "direct injection", "mechanical injection"],
    Synonyms(
        {
            "carburetor": "carburettor, carb, carbs, carburetors, carburettors, carbureted, carburetted, carburation",
            "port injection": "port fuel injection, PFI, multi-point injection, MPI",
            "throttle-body injection": "throttle body, TBI, single-point injection",
            "direct injection": "direct fuel injection, GDI, common rail",
            "mechanical injection": "mechanical fuel injection, MFI, injection pump",
        }
    ),
]
FuelKind = Annotated[
    Literal[
        "gasoline", "regular gasoline", "premium gasoline", "E10", "E85", "ethanol", "methanol", "diesel", "LPG",
        "natural gas", "race gasoline", "kerosene",
    ],
    Synonyms({
        "gasoline": "petrol, pump, pump gas, pump fuel, pump gasoline, pump petrol, unleaded, unleaded gasoline, "
        "unleaded petrol, motor gasoline",
        "regular gasoline": "regular, regular petrol, regular unleaded, regular pump gas",
        "premium gasoline": "premium, premium petrol, premium unleaded, super unleaded, premium pump gas",
        "E10": "pump gas E10, gasoline E10, petrol E10",
        "ethanol": "ethyl alcohol, E100",
        "methanol": "methyl alcohol, M100",
        "diesel": "diesel fuel, diesel oil, derv, gas oil",
        "LPG": "propane, autogas, liquefied petroleum gas",
        "natural gas": "CNG, LNG, methane",
        "race gasoline": "race petrol, race fuel, race gas, racing gasoline, racing petrol, racing fuel",
        "kerosene": "paraffin, kerosine, vaporizing oil, vaporising oil, tractor vaporising oil, TVO, lamp oil",
    }),
]  # fmt: skip

FuelFamily = Annotated[
    Literal["pump gasoline", "race gasoline", "alcohol", "diesel", "gas", "kerosene"],
    Synonyms(
        {
            "pump gasoline": "pump fuel, pump gas, pump petrol, gasoline, petrol",
            "race gasoline": "race fuel, race gas, race petrol",
            "kerosene": "paraffin",
        }
    ),
]
FUEL_FAMILIES: dict[str, FuelFamily] = {
    "gasoline": "pump gasoline",
    "regular gasoline": "pump gasoline",
    "premium gasoline": "pump gasoline",
    "E10": "pump gasoline",
    "race gasoline": "race gasoline",
    "E85": "alcohol",
    "ethanol": "alcohol",
    "methanol": "alcohol",
    "diesel": "diesel",
    "LPG": "gas",
    "natural gas": "gas",
    "kerosene": "kerosene",
}
"""The family of every fuel: what is bought at the pump, what is made for racing, and so on."""


class Fuel(RecordModel):
    """What it burns."""

    kind: FuelKind = field("fuel", "gasoline", required=True)
    octane: Line | None = field("as marked on the pump, with the method", "98 RON")
    density: OneDensity | None = field(
        "density of the fuel used",
        "745 kg/m3",
        plausible_range=("600 kg/m3", "950 kg/m3"),
        units=("lb/gal", "kg/m3", "kg/L"),
    )
    heating_value: OneEnergy | None = field(
        "lower heating value, for thermal efficiency", "43.5 MJ/kg", plausible_range=("15 MJ/kg", "55 MJ/kg")
    )
    stoichiometric: RatioNumber | None = field(
        "air-fuel ratio at lambda 1, to turn lambda into air-fuel ratio", "14.7", plausible_range=("4", "36")
    )
    note: Line | None = field("remarks on the fuel", "no lead, with valve-seat additive")

    @model_validator(mode="before")
    @classmethod
    def _only_its_kind(cls, given: object) -> object:
        return {"kind": given} if isinstance(given, str) else given

    @classmethod
    def __get_pydantic_json_schema__(
        cls, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        """Describe both forms: the kind alone, or everything about it."""
        full = handler.resolve_ref_schema(handler(schema))
        literal, synonyms = get_args(FuelKind)
        words = [word for words in synonyms.table.values() for word in words]
        kinds = {"type": "string", "enum": [*get_args(literal), *words], "description": "its kind alone"}
        return {"anyOf": [kinds, dict(full)]}


class EngineKind(RecordModel):
    """The kind of engine."""

    layout: Layout | None = field("cylinder layout", "inline")
    cylinders: Count = field("number of cylinders", "4", required=True)
    bank_angle: Line | None = field("angle between the banks", "90 deg", only_where="the engine is a V")
    cycle: Cycle = field("four-stroke or two-stroke", "four-stroke", default="four-stroke")
    ignition: Ignition = field("spark or compression", "spark", default="spark")
    firing_order: Line | None = field("as numbered on the engine", "1-3-4-2")
    displacement: OneVolume | None = field(
        "displacement as given for the finished engine, to compare with bore and stroke",
        "2910 cc",
        plausible_range=("20 cc", "80 L"),
    )
    year: Integer | None = field("year the engine was made", "1970")
    cooling: Cooling | None = field("cooling", "water")
    induction: Induction | None = field("induction", "naturally aspirated")
    fuel_system: FuelSystem | None = field("fuel system", "carburetor", also=("fuelling", "fueling", "fuel_delivery"))
    fuel: Fuel | None = field("fuel", "")
    compression_wanted: RatioNumber | None = field(
        "target compression ratio", "10.5", plausible_range=("3", "28"), also=("target_compression_ratio",)
    )
    compression_noted: RatioNumber | None = field(
        "compression ratio that was written down, where the volumes were not; lists and the finder show it then",
        "9.6",
        plausible_range=("3", "28"),
        only_where="its volumes were not recorded",
    )
    red_line: OneSpeed | None = field(
        "highest engine speed allowed", "6500 rpm", plausible_range=("400 rpm", "20000 rpm"), also=("redline",)
    )

    @field_validator("cylinders")
    @classmethod
    def _some_cylinders(cls, count: int) -> int:
        if not 1 <= count <= 48:
            raise ValueError(f"{count} cylinders: write how many the engine has, 1 to 48")
        return count

    @field_validator("year")
    @classmethod
    def _possible_year(cls, year: Integer | None) -> int | None:
        if year is not None and not 1860 <= year <= 2200:
            raise ValueError(f"{year} is not a year an engine was made in: write four digits")
        return year


class Customer(RecordModel):
    """Whose engine it is. Never on a public page."""

    name: Line | None = field("name", "H. Fenwick", private="customer")
    contact: Line | None = field("telephone or mail", "h.fenwick@example.org", private="customer")
    address: Prose | None = field("address", "4 Slipway Lane, Port Example", private="customer")


LessonVisibility = Annotated[
    Literal["shop", "public"],
    Synonyms({"shop": "private, shop only, internal, ours", "public": "everybody, everyone, all, published"}),
]


class Lesson(RecordModel):
    """What the shop learned from a build."""

    lesson: Prose = field("what was learned", "ring gaps 0.002 in larger next time", required=True)
    part: Line | None = field("part that it is about, as parts.yaml calls it", "rings")
    visibility: LessonVisibility = field(
        "public: on the build's page; shop: in the shop's edition alone", "shop", default="shop"
    )

    @model_validator(mode="before")
    @classmethod
    def _words_alone(cls, given: object) -> object:
        return {"lesson": given} if isinstance(given, (str, int, float)) and not isinstance(given, bool) else given

    @classmethod
    def __get_pydantic_json_schema__(
        cls, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        """Describe both forms: words alone, which are for the shop, or a lesson with its part and visibility."""
        full = handler.resolve_ref_schema(handler(schema))
        return {"anyOf": [{"type": "string", "description": "a lesson for the shop alone"}, dict(full)]}


TextCell = Annotated[str, WithJsonSchema({"type": ["string", "number"]})]
"""A cell as text; one that looks like a number may be written without quotes."""


class ImportedFrom(RecordModel):
    """The row of a spreadsheet that the build was imported from. Never on a public page."""

    file: Line | None = field("name of the spreadsheet", "engines.xlsx", private="shop")
    sheet: Line | None = field("sheet", "Builds", private="shop")
    row: Line | None = field("row", "12", private="shop")
    cells: dict[str, TextCell] | None = field(
        "what the row held, by the heading of its column", "{Job: '0142'}", private="shop"
    )

    @field_validator("cells", mode="before")
    @classmethod
    def _as_texts(cls, given: Any) -> Any:
        return {name: as_written(text) for name, text in given.items()} if isinstance(given, dict) else given


class BuildSheet(RecordModel):
    """build.yaml: the engine and the customer's brief."""

    title: Line = field("name of the build", "Launch engine for the harbour pilot", required=True)
    number: Line | None = field("the shop's number for this build", "0142")
    engine_number: Line | None = field(
        "the shop's own number for this engine, the same in every build of it; public, so not the serial number",
        "E-041",
    )
    previous_build: Line | None = field(
        "folder of this engine's build before this one, where their dates do not show it", "pilot-launch-2021",
        only_where="this engine was built here before",
    )  # fmt: skip
    since_last: SinceLast | None = field(
        "how long it ran since its last build", "", only_where="this engine was built before"
    )
    returned_for: ReturnedFor | None = field("why it came back", "", only_where="this engine was built before")
    status: Status = field("only finished builds are published", "finished", default="in progress")
    started: Day | None = field("date the block came in", "2024-02-05")
    finished: Day | None = field("date finished", "2024-05-17")
    family: Line | None = field("engine family, as you search for it", "Kestrel")
    purpose: Line | None = field("use: road, marine, vintage racing, industrial ...", "marine")
    summary: Prose | None = field(
        "two or three sentences for the customer",
        "A launch engine that pulls from idle, rebuilt from a worn block with every part measured.",
    )
    goals: Goals | None = field("customer's brief: in words, or words as text and numbers as targets", "")
    invented: Line | None = field("marks example data as invented", "invented for demonstration")
    units: UnitChoice | None = field("units shown for this build, where they differ from the shop's", "both")
    correction: CorrectionStandard | None = field(
        "correction standard of this build, where it differs from the shop's", "sae-j1349"
    )
    engine: EngineKind = field("engine data", "", required=True)
    customer: Customer | None = field("owner", "")
    registration: Line | None = field(
        "registration of the vehicle or boat",
        "PX 204",
        private="customer",
        also=("license_plate", "licence_plate", "registration_number"),
    )
    engine_serial: Line | None = field(
        "serial number stamped on the block", "K16-04412", private="customer", also=("serial_number",)
    )
    price: Line | None = field("price", "4800", private="shop")
    private_notes: Prose | None = field("private note", "Paid half in advance.", private="shop")
    lessons: Annotated[tuple[Lesson, ...], BeforeValidator(as_list)] = field(
        "what was learned, for the next similar job; a lesson is the shop's own unless its visibility is public",
        "",
        default=(),
        private="shop",
        public_where=("visibility", "public"),
    )
    imported_from: ImportedFrom | None = field(
        "the row of a spreadsheet that the build was imported from",
        "",
        only_where="the build was imported from a spreadsheet",
    )
