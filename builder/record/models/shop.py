"""shop.yaml: the shop's profile and guideline values."""

from __future__ import annotations

import json
from typing import Annotated, Any, Literal

from builder.record.models.bottom_end import CrankMaterial, PistonType
from builder.record.models.build_yaml import FuelKind
from builder.record.models.choices import Synonyms
from builder.record.models.delivery import Service
from builder.record.models.dyno import CorrectionStandard, UnitChoice
from builder.record.models.fields import (
    Count,
    Day,
    Line,
    Number,
    OneAngle,
    OneFraction,
    OneLength,
    OneOfAny,
    OnePower,
    OnePressure,
    OneTemperature,
    OneTorque,
    Prose,
    RatioNumber,
    RecordModel,
    SpeedRange,
    field,
    notes_of,
)
from builder.record.models.service import OilElements

English = Annotated[
    Literal["us", "uk"],
    Synonyms({"us": "USA, American, American English, US English", "uk": "GB, British, British English, UK English"}),
]
FirstUnits = Annotated[Literal["inch", "metric"], Synonyms({"inch": "in, inches, US, imperial", "metric": "SI, mm"})]
Paper = Annotated[Literal["A4", "Letter"], Synonyms({"A4": "ISO A4", "Letter": "US Letter"})]

TAG_WIDTH, TAG_HEIGHT = (70, 200), (35, 100)
"""Smallest and largest engine tag [mm]: on a smaller one the text could not be read."""
DEFAULT_TAG = (100.0, 50.0)
"""Width and height of the engine tag [mm] where none is given."""

MIN_REPEATABILITY, MAX_REPEATABILITY = 0.0002, 0.05
"""Least and most that repeat pulls scatter, over the torque [-]: outside it the unit or the number is wrong."""


class PowerGuideline(RecordModel):
    """How much power the shop trusts a material with."""

    material: CrankMaterial = field("crankshaft material, as in bottom_end.yaml", "nodular iron", required=True)
    strength: OnePressure | None = field("tensile strength of that material", "95000 psi", units=("psi", "MPa"))
    up_to: OnePower = field("power limit", "400 hp", required=True)


class TorqueGuideline(RecordModel):
    """How much torque the shop trusts a material with."""

    material: CrankMaterial = field("crankshaft material, as in bottom_end.yaml", "nodular iron", required=True)
    up_to: OneTorque = field("torque limit", "450 lb-ft", required=True)


class SpeedGuideline(RecordModel):
    """How fast the shop lets a piston type go."""

    type: PistonType = field("piston type, as in bottom_end.yaml", "cast", required=True)
    metres_per_second: Number = field("mean piston speed at the red line, m/s", "18", required=True)


class FuelGuideline(RecordModel):
    """How much effective compression the shop trusts a fuel with."""

    fuel: FuelKind = field("fuel, as in build.yaml", "gasoline", required=True)
    effective_ratio: RatioNumber = field("highest dynamic compression ratio", "8.5", required=True)


class MixtureGuideline(RecordModel):
    """Between which lambda the shop runs a fuel at full load."""

    fuel: FuelKind = field("fuel, as in build.yaml", "methanol", required=True)
    least_lambda: Number = field("richest lambda at full load", "0.65", required=True)
    most_lambda: Number = field("leanest lambda at full load", "0.90", required=True)


def _limit(description: str, example: str) -> Any:
    """Declare a guideline that may be zero."""
    return field(description, example, sign="not negative")


class Guidelines(RecordModel):
    """The shop's habits: breaking one is a caution, never an error. What is left out keeps its usual value."""

    crank_power: tuple[PowerGuideline, ...] = field("power limit by crankshaft material", "", default=())
    crank_torque: tuple[TorqueGuideline, ...] = field("torque limit by crankshaft material", "", default=())
    least_rod_bolt_margin: Number | None = _limit("proof load of a rod bolt over its load at redline", "1.5")
    most_balance_grade: Number | None = _limit(
        "imbalance of the crankshaft at redline, as eccentricity times angular speed in mm/s", "16"
    )
    most_lash_over_ramp: Number | None = _limit("lash over the height of the cam's ramp, both at the valve", "1.0")
    piston_speed: tuple[SpeedGuideline, ...] = field("mean piston speed by piston type", "", default=())
    effective_ratio: tuple[FuelGuideline, ...] = field("dynamic compression ratio by fuel", "", default=())
    least_oil_pressure_per_1000_rpm: OnePressure | None = _limit("oil pressure for every 1000 rpm", "10 psi")
    least_quench: OneLength | None = _limit("minimum quench", "0.035 in")
    most_quench: OneLength | None = _limit("maximum quench", "0.060 in")
    least_intake_piston_to_valve: OneLength | None = _limit("intake valve to piston", "0.080 in")
    least_exhaust_piston_to_valve: OneLength | None = _limit("exhaust valve to piston", "0.100 in")
    least_coil_bind: OneLength | None = _limit("spring travel left at full lift", "0.060 in")
    most_pushrod_difference: OneLength | None = _limit("pushrod as ordered against the length needed", "0.025 in")
    least_retainer_to_seal: OneLength | None = _limit("retainer to seal at full lift", "0.050 in")
    least_spring_margin: Number | None = _limit("spring force over the force needed at redline", "1.1")
    planned_bsfc: Number | None = _limit(
        "fuel for the power that a plan asks for, g/kWh of gasoline; other fuels by their heating value", "305"
    )
    least_surge_order: Number | None = _limit("spring surge frequency over cam speed at redline", "10")
    most_bmep_natural: OnePressure | None = _limit(
        "BMEP above which a naturally aspirated engine is flagged", "220 psi"
    )
    most_volumetric_efficiency: Number | None = _limit(
        "volumetric efficiency above which a naturally aspirated engine is flagged", "1.25"
    )
    ring_gap_per_bore: Number | None = _limit("least top ring gap for each unit of bore", "0.0045")
    boosted_ring_gap_per_bore: Number | None = _limit("the same of a turbocharged or supercharged engine", "0.0055")
    nitrous_ring_gap_per_bore: Number | None = _limit("the same of an engine with nitrous oxide", "0.0065")
    alcohol_ring_gap_per_bore: Number | None = _limit("the same of an engine without boost on alcohol", "0.0045")
    second_ring_gap_over_top: Number | None = _limit("least second ring gap over the top ring's", "1.0")
    boosted_second_ring_gap_over_top: Number | None = _limit(
        "the same of an engine with a turbocharger, a supercharger or nitrous oxide", "1.0"
    )
    oil_clearance_per_journal: Number | None = _limit("bearing oil clearance for each unit of journal", "0.001")
    most_oil_temperature: OneTemperature | None = field("oil temperature", "275 degF")
    most_coolant_temperature: OneTemperature | None = field("coolant temperature", "220 degF")
    least_lambda: Number | None = _limit("richest lambda at full load on gasoline", "0.80")
    most_lambda: Number | None = _limit("leanest lambda at full load on gasoline", "0.95")
    mixture: tuple[MixtureGuideline, ...] = field("lambda at full load on other fuels", "", default=())
    most_exhaust_spread: Number | None = _limit("exhaust temperature between cylinders, kelvin", "55")
    most_exhaust_temperature: OneTemperature | None = field(
        "exhaust temperature of a spark-ignition engine, hottest cylinder", "1650 degF"
    )
    most_diesel_exhaust_temperature: OneTemperature | None = field(
        "the same of a compression-ignition engine", "1300 degF"
    )
    most_charge_temperature: OneTemperature | None = field("charge in the manifold", "150 degF")
    most_inlet_air_difference: Number | None = _limit(
        "inlet air along a pull against the temperature that the result is corrected with, kelvin", "5.5"
    )
    most_boost: OnePressure | None = _limit("boost along a pull; 0 for no limit", "15 psi")
    most_lambda_spread: Number | None = _limit("lambda between cylinders", "0.06")
    most_fuel_pressure_drop: Number | None = _limit("fall of the fuel pressure along a pull, of its highest", "0.10")
    most_battery_drop: Number | None = _limit("fall of the battery voltage along a pull, of its highest", "0.10")
    most_full_throttle_vacuum: OnePressure | None = _limit(
        "manifold vacuum at full throttle of an engine without boost or restrictor", "1.5 inHg"
    )
    most_blow_by_share: Number | None = _limit("blow-by as a share of the air the engine takes in", "0.015")
    leak_down_spread: Number | None = _limit("leak-down between best and worst cylinder, in percentage points", "5")
    cranking_spread: Number | None = _limit("cranking compression, worst cylinder against best", "0.90")
    most_timing: OneAngle | None = field("total advance above which it is flagged", "40 deg")
    most_injector_duty: Number | None = _limit("highest injector duty", "0.85")
    most_restrictor_efficiency: Number | None = _limit(
        "power of a spark-ignition engine over the heat that the most air through its restrictor can burn", "0.38"
    )
    least_fuel_pump_margin: Number | None = _limit("flow of the fuel pump over the fuel taken at peak power", "1.2")
    least_pickup_clearance: OneLength | None = _limit("oil pickup to the pan floor, least", "0.250 in")
    most_pickup_clearance: OneLength | None = _limit("oil pickup to the pan floor, most", "0.500 in")
    most_bore_rpk: OneLength | None = _limit("peaks of the bore finish, Rpk; 0 for no limit", "16 uin")
    most_bore_rk: OneLength | None = _limit("core of the bore finish, Rk; 0 for no limit", "40 uin")
    least_bore_rvk: OneLength | None = _limit("valleys of the bore finish, Rvk", "20 uin")
    least_crosshatch: OneAngle | None = _limit("angle between the honing lines, least", "30 deg")
    most_crosshatch: OneAngle | None = _limit("angle between the honing lines, most", "60 deg")
    most_face_ra: OneLength | None = _limit("roughness Ra of decks and head faces; 0 for no limit", "60 uin")
    least_induction_headroom: Number | None = _limit("rated flow of carburetor or throttle over airflow demand", "1.0")


class BreakIn(RecordModel):
    """The shop's own words for first start and running in, instead of the usual ones."""

    flat_tappet: tuple[Line, ...] = field(
        "first start of a flat-tappet cam",
        '[prime the oil, "2000 to 2500 rpm at once, for twenty minutes"]',
        default=(),
    )
    roller: tuple[Line, ...] = field(
        "first start of any other cam", '[prime the oil, "start, check pressure, warm up"]', default=()
    )
    fresh_bores: tuple[Line, ...] = field(
        "break-in of new or rehoned bores", "[vary speed and load, change oil at 500 km]", default=()
    )
    used_bores: tuple[Line, ...] = field(
        "break-in with the bores unchanged", "[look for leaks, change oil at 1000 km]", default=()
    )


class TagSize(RecordModel):
    """The label for the engine, as large as the shop's label paper or plate."""

    width: OneLength | None = field(
        f"width, 100 mm unless given; {TAG_WIDTH[0]} to {TAG_WIDTH[1]} mm", "90 mm", sign="any"
    )
    height: OneLength | None = field(
        f"height, 50 mm unless given; {TAG_HEIGHT[0]} to {TAG_HEIGHT[1]} mm", "45 mm", sign="any"
    )


class Repeatability(RecordModel):
    """How far the shop's pulls scatter with nothing changed; `millbook repeatability` prints it from the archive."""

    value: OneFraction = field(
        "standard deviation of the mean torque between repeat pulls, over the torque",
        "0.5 %",
        sign="positive",
        required=True,
    )
    # `from` is what the shop writes, and a keyword of Python, so that it cannot be written as an attribute.
    __annotations__["from"] = Count
    locals()["from"] = field(
        "how many repeat pulls that is from, the first pull of each group not counted (degrees of freedom)",
        "12",
        required=True,
    )

    @property
    def repeats(self) -> int:
        """Return how many repeat pulls the value is from."""
        return int(getattr(self, "from"))


class Instrument(RecordModel):
    """One measuring instrument of the shop, which readings cite by its ID."""

    id: Line = field("short name that readings cite it by", "B1", required=True)
    kind: Line = field("kind of instrument", "barometer", required=True)
    resolution: OneOfAny | None = field(
        "smallest step that it shows, in the unit of what it reads", "0.01 inHg", sign="positive"
    )
    expanded_uncertainty: OneOfAny | None = field(
        "expanded uncertainty (k = 2) by its certificate, in the unit of what it reads; a share of the reading in %",
        "0.02 inHg",
        sign="positive",
    )
    repeatability: OneOfAny | None = field(
        "scatter of one reading taken again and again, as a standard deviation; all that counts in the difference of "
        "two readings with one setting of the gauge: taper, out-of-round",
        "0.005 inHg",
        sign="positive",
        rare=True,
    )
    calibrated_on: Day | None = field("day of its last calibration", "2024-01-10")
    due: Day | None = field("day on which the next calibration is due", "2025-01-10")


class Shop(RecordModel):
    """shop.yaml: the shop's profile."""

    name: Line = field("the shop's name", "Tidewater Engine Works", default="Engine shop")
    tagline: Line | None = field(
        "what the shop does, in one sentence, for the home page",
        "Small engines for working boats, built to be measured.",
    )
    about: Prose | None = field("a paragraph for the home page", "Two people, one dyno and a bench of gauges.")
    place: Line | None = field("location", "Port Example")
    contact: Line | None = field("contact", "shop@example.org")
    site_address: Line | None = field("address the archive is published under", "https://archive.example")
    english: English = field("spelling and terms of pages, PDFs and messages: US or UK English", "uk", default="us")
    units: UnitChoice = field("units shown: inch, metric or both", "both", default="both")
    first_units: FirstUnits = field(
        "where both are shown, the system that lists and the finder lead with", "inch", default="metric"
    )
    correction: CorrectionStandard = field("correction standard of dyno results", "sae-j1349", default="sae-j1349")
    range: SpeedRange | None = field(
        "speeds over which means and gains are taken, unless a session says otherwise", "3000..6000 rpm"
    )
    repeatability: Repeatability | None = field(
        "how far the dyno's pulls scatter with nothing changed; 0.5 % from 6 unless given", ""
    )
    instruments: tuple[Instrument, ...] = field(
        "the shop's measuring instruments, which readings cite by `with`", "", default=()
    )
    paper: Paper = field("paper of the sheets and of the handover", "A4", default="A4")
    tag: TagSize = field("size of the engine tag", "", default=TagSize(), shown_in="deliveries")
    guidelines: Guidelines = field("the shop's guidelines; outside one is a caution", "", default=Guidelines())
    services: tuple[Service, ...] = field(
        "service schedule of engines whose delivery.yaml has none with names", "", default=(),
        only_where="`millbook due` is to say when it is due",
    )  # fmt: skip
    oil_limits: OilElements | None = field("most of each element in used oil [ppm]", "", rare=True)
    delivery_requires: tuple[Line, ...] = field(
        "fields required for delivery: file.section.field",
        "[assembly.fits.main_oil_clearance, delivery.settings.total_timing]",
        default=(),
    )
    handover_holds: tuple[Line, ...] = field(
        "private fields shown in the customer's delivery pack: of build.yaml by name, of others by file.section.field",
        "[customer.name, registration, engine_serial, parts.parts.serial]",
        default=("customer.name", "registration", "engine_serial"),
        shown_in="deliveries",
    )
    likeness_weights: dict[Line, Number] = field(
        "weight of each field in the match of similar builds", "{displacement: 2}", default={}
    )
    break_in: BreakIn = field(
        "the shop's own steps for first start and break-in", "", default=BreakIn(), shown_in="deliveries"
    )
    warranty: Prose | None = field(
        "warranty text for the delivery pack", "Twelve months on parts and work.", shown_in="deliveries"
    )
    warranty_months: Count | None = field("months of warranty from the day of delivery", "12")
    emergency_contact: Line | None = field(
        "whom the owner of an engine calls in an emergency", "workshop phone, day and night", shown_in="deliveries"
    )
    cautions: tuple[Line, ...] = field(
        "cautions added to the standard ones",
        "[bleed the cooling circuit before the first start]",
        default=(),
        shown_in="deliveries",
    )
    invented: Line | None = field("marks example data as invented", "invented for demonstration")


def page_relevant(shop: Shop) -> str:
    """Return the fields of the profile that pages depend on, as JSON text: equal profiles give equal text."""
    names = {name for name, info in Shop.model_fields.items() if notes_of(info).shown_in == "pages"}
    return json.dumps(shop.model_dump(mode="json", include=names), sort_keys=True)
