"""service.yaml: what happened to the engine after delivery: services, events, warranty claims."""

from __future__ import annotations

from typing import Annotated, Literal

from builder.record.models.choices import Synonyms
from builder.record.models.fields import (
    Day,
    Fraction,
    Line,
    Lines,
    Number,
    OneFraction,
    OneLength,
    Pressure,
    Prose,
    RecordModel,
    field,
)

EventKind = Annotated[
    Literal["overheated", "seized", "lost oil pressure", "over-revved", "damage", "other"],
    Synonyms(
        {
            "overheated": "overheating, ran hot, boiled",
            "seized": "seizure, nipped up, locked up",
            "lost oil pressure": "no oil pressure, low oil pressure, oil starvation",
            "over-revved": "missed shift, overspeed",
            "damage": "damaged, broken, failure, crash",
            "other": "else",
        }
    ),
]


class OilElements(RecordModel):
    """Elements in used oil, by mass: 1 ppm is 1 mg/kg."""

    iron: Number | None = field("iron [ppm]", "22", sign="not negative")
    chromium: Number | None = field("chromium [ppm]", "2", sign="not negative")
    aluminum: Number | None = field("aluminum [ppm]", "4", sign="not negative")
    copper: Number | None = field("copper [ppm]", "9", sign="not negative")
    lead: Number | None = field("lead [ppm]", "6", sign="not negative")
    tin: Number | None = field("tin [ppm]", "1", sign="not negative")
    nickel: Number | None = field("nickel [ppm]", "1", sign="not negative")
    silver: Number | None = field("silver [ppm]", "0", sign="not negative")
    titanium: Number | None = field("titanium [ppm]", "0", sign="not negative")
    molybdenum: Number | None = field("molybdenum [ppm]", "40", sign="not negative")
    silicon: Number | None = field("silicon, mostly dust [ppm]", "8", sign="not negative")
    sodium: Number | None = field("sodium, coolant or salt [ppm]", "5", sign="not negative")
    potassium: Number | None = field("potassium, coolant [ppm]", "2", sign="not negative")
    boron: Number | None = field("boron [ppm]", "30", sign="not negative")
    calcium: Number | None = field("calcium [ppm]", "2100", sign="not negative")
    magnesium: Number | None = field("magnesium [ppm]", "60", sign="not negative")
    phosphorus: Number | None = field("phosphorus [ppm]", "1150", sign="not negative")
    zinc: Number | None = field("zinc [ppm]", "1300", sign="not negative")


class OilAnalysis(RecordModel):
    """The report on a sample of used oil."""

    hours_on_oil: Number | None = field("hours since the oil was changed", "18", sign="not negative")
    elements: OilElements | None = field("elements [ppm]", "")
    fuel: OneFraction | None = field("fuel in the oil", "0.5 %")
    water: OneFraction | None = field("water in the oil", "0 %", sign="not negative")
    viscosity: Number | None = field("kinematic viscosity at 100 °C [mm²/s]", "14.2", plausible_range=("2", "40"))
    laboratory: Line | None = field("who analyzed it", "Saltmarsh Oil Laboratory")
    report: Line | None = field("number of the report", "SO-11802", private="customer")


class ServiceEntry(RecordModel):
    """One service after delivery."""

    when: Day = field("day", "2024-08-10", required=True)
    hours: Number | None = field("hours run since delivery", "18", sign="not negative", plausible_range=("0", "50000"))
    distance: OneLength | None = field(
        "distance run since delivery", "1200 mi", sign="not negative", units=("mi", "km"),
        plausible_range=("0 km", "800000 km"),
    )  # fmt: skip
    what: Line = field("what was done", "oil and filter changed, lash checked", required=True)
    done: Lines = field(
        "services of the schedule that this was, by their names", "[oil]", default=(),
        only_where="the service schedule has names",
    )  # fmt: skip
    by: Line | None = field("who did it", "RT", private="customer")
    leak_down: Fraction | None = field(
        "cylinder leak-down", "{unit: '%', measured: [6, 8, 7, 8]}", axis="cylinder", plausible_range=("0 %", "100 %"),
        sign="not negative", also=("leakdown", "leak_down_test"), measured=True,
    )  # fmt: skip
    cranking_compression: Pressure | None = field(
        "cranking pressure, throttle open", "{unit: psi, measured: [183, 186, 182, 184]}", axis="cylinder",
        plausible_range=("1 psi", "700 psi"), sign="not negative", units=("psi", "bar"),
        also=("cranking_pressure", "compression_test"), measured=True,
    )  # fmt: skip
    oil_pressure: Pressure | None = field(
        "oil pressure, hot, at speed", "58 psi", plausible_range=("0 psi", "200 psi"), sign="not negative",
        units=("psi", "bar"), also=("hot_oil_pressure",), measured=True,
    )  # fmt: skip
    plug_color: Lines = field(
        "color of the plugs, in order", "[tan, tan, light tan, tan]", axis="cylinder", default=(),
        also=("plugs", "plug_reading"),
    )  # fmt: skip
    oil_analysis: OilAnalysis | None = field("report on a sample of the oil", "")
    note: Prose | None = field("remarks", "Nothing in the filter.")
    private_note: Prose | None = field("private note", "told the owner to warm it up longer", private="shop")


class ServiceEvent(RecordModel):
    """Something that happened to the engine after delivery."""

    when: Day = field("day", "2024-09-14", required=True)
    hours: Number | None = field("hours run since delivery", "24", sign="not negative", plausible_range=("0", "50000"))
    distance: OneLength | None = field(
        "distance run since delivery", "1600 mi", sign="not negative", units=("mi", "km"),
        plausible_range=("0 km", "800000 km"),
    )  # fmt: skip
    kind: EventKind = field("what happened", "overheated", required=True)
    what: Prose | None = field("more about it", "weed in the intake grille, 118 °C for two minutes")
    private_note: Prose | None = field("private note", "the owner had taken the strainer out", private="shop")


class WarrantyClaim(RecordModel):
    """One claim under the warranty."""

    when: Day = field("day", "2024-10-02", required=True)
    what: Prose = field("what is claimed", "oil leak at the rear main seal", required=True)
    outcome: Prose | None = field("what was decided", "seal replaced under warranty")
    cost: Line | None = field("what it cost the shop", "two hours and a seal", private="shop")
    private_note: Prose | None = field("private note", "our own fault", private="shop")


class ServiceRecord(RecordModel):
    """service.yaml: services, events and claims after delivery."""

    entries: tuple[ServiceEntry, ...] = field("services, in order", "", default=(), also=("services",))
    events: tuple[ServiceEvent, ...] = field("what happened to the engine", "", default=())
    claims: tuple[WarrantyClaim, ...] | None = field("warranty claims", "", private="customer")
