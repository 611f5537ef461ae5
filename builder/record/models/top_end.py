"""top_end.yaml: heads, gasket, valves, springs, rockers, induction, ignition, exhaust."""

from __future__ import annotations

from typing import Annotated, Literal

from builder.record.models.choices import Synonyms
from builder.record.models.fields import (
    Area,
    Count,
    Force,
    Length,
    Line,
    Mass,
    Number,
    OneForce,
    OneInjectorFlow,
    OneLength,
    OnePressure,
    OneTemperature,
    OneVolumeFlow,
    Ratio,
    RecordModel,
    Stiffness,
    Volume,
    field,
)


class Valve(RecordModel):
    """Intake or exhaust valves."""

    maker: Line | None = field("manufacturer", "Petrel Valves")
    number: Line | None = field("part number", "PV 1940")
    diameter: Length | None = field(
        "head diameter", "1.940 in", plausible_range=("8 mm", "150 mm"), also=("head_diameter",)
    )
    per_cylinder: Count = field("valves of this kind in one cylinder", "1", default=1)
    mass: Mass | None = field(
        "mass of one valve", "112 g", plausible_range=("3 g", "3 kg"), only_where="the valve train was weighed"
    )
    stem: Line | None = field("stem diameter", "11/32 in")
    seat: Line | None = field("seat angles and width", "30/45/60 deg, 0.060 in")
    material: Line | None = field("material", "stainless")


class FlowPoint(RecordModel):
    """One lift on the flow bench."""

    lift: OneLength = field("valve lift", "0.300 in", required=True, plausible_range=("0.2 mm", "40 mm"))
    flow: OneVolumeFlow = field(
        "flow at the test pressure",
        "185 cfm",
        required=True,
        plausible_range=("2 cfm", "900 cfm"),
        sign="not negative",
    )


class FlowBench(RecordModel):
    """The flow bench card."""

    depression: OnePressure | None = field(
        "test pressure of the flow readings",
        "28 inH2O",
        plausible_range=("1 inH2O", "70 inH2O"),
        units=("inH2O", "mbar"),
    )
    intake: tuple[FlowPoint, ...] = field("intake port", "", default=())
    exhaust: tuple[FlowPoint, ...] = field("exhaust port", "", default=())
    by: Line | None = field("flow bench used", "own bench")
    note: Line | None = field("entry, pipe and bore fixture", "radius entry, no pipe, 4.030 in bore")


class Heads(RecordModel):
    """Cylinder heads."""

    maker: Line | None = field("manufacturer", "Wrenfield")
    casting: Line | None = field("casting or part number", "WF 5102")
    material: Line | None = field("iron, aluminum ...", "iron")
    chambers: Volume | None = field(
        "chamber volume of every cylinder, by burette; {listed: 64 cc} for the catalog's",
        "{unit: cc, measured: [64.2, 64.0, 64.1, 64.2]}",
        axis="cylinder",
        plausible_range=("1 cc", "1200 cc"),
        also=("chamber_volume", "combustion_chambers"),
        measured=True,
    )
    intake_valve: Valve | None = field("intake valves", "")
    exhaust_valve: Valve | None = field("exhaust valves", "")
    intake_port_area: Area | None = field(
        "smallest section of the intake port", "2.05 sq in", plausible_range=("0.5 cm2", "150 cm2")
    )
    flow_bench: FlowBench | None = field(
        "the flow bench card",
        "",
        depends_on={"top_end.heads.intake_valve.diameter": None, "top_end.heads.exhaust_valve.diameter": None},
    )
    work: Line | None = field("work done", "bowls blended, three-angle seats")
    note: Line | None = field("remarks", "guides new, all bronze")


class Gasket(RecordModel):
    """The head gasket."""

    maker: Line | None = field("manufacturer", "Sallow & Reed")
    number: Line | None = field("part number", "SR 410")
    bore: Length | None = field("bore of the gasket", "4.100 in", plausible_range=("25 mm", "420 mm"))
    thickness: Length | None = field(
        "thickness when compressed", "0.039 in", plausible_range=("0.3 mm", "3.5 mm"), also=("compressed_thickness",)
    )
    kind: Line | None = field("composite, steel layers, copper", "composite")


class SpringReading(RecordModel):
    """One height on the spring tester."""

    height: OneLength = field("height", "1.250 in", required=True, plausible_range=("8 mm", "120 mm"))
    load: OneForce = field(
        "pressure at that height",
        "318 lbf",
        required=True,
        plausible_range=("20 N", "6000 N"),
        sign="not negative",
    )


class Springs(RecordModel):
    """Valve springs."""

    maker: Line | None = field("manufacturer", "Petrel Valves")
    number: Line | None = field("part number", "PV-S350")
    kind: Line | None = field("single, double, beehive", "single with damper")
    installed_height: Length | None = field("installed height", "1.800 in", plausible_range=("12 mm", "120 mm"))
    solid_height: Length | None = field(
        "height at coil bind", "1.150 in", plausible_range=("8 mm", "100 mm"), also=("coil_bind_height",)
    )
    seat_load: Force | None = field(
        "pressure at installed height", "125 lbf", plausible_range=("20 N", "3000 N"), also=("seat_pressure",),
        title="seat pressure", depends_on={"top_end.springs.installed_height": None, "top_end.springs.rate": None},
    )  # fmt: skip
    rate: Stiffness | None = field("rate", "350 lbf/in", plausible_range=("2 N/mm", "400 N/mm"), also=("spring_rate",))
    mass: Mass | None = field(
        "mass of the springs of one valve, dampers left out", "68.5 g", plausible_range=("5 g", "2 kg"),
        only_where="the springs were weighed",
    )  # fmt: skip
    retainer_mass: Mass | None = field(
        "retainer and locks of one valve",
        "24 g",
        plausible_range=("1 g", "500 g"),
        only_where="the valve train was weighed",
    )
    active_coils: Number | None = field(
        "coils that move", "4.5", plausible_range=("1", "20"), sign="positive", only_where="the springs were weighed"
    )
    total_coils: Number | None = field(
        "all coils, the closed ends included", "6.5", plausible_range=("2", "25"), sign="positive",
        only_where="the springs were weighed",
    )  # fmt: skip
    tested: tuple[SpringReading, ...] = field("readings on the spring tester", "", default=())
    retainer_to_seal: Length | None = field(
        "retainer to valve seal, valve closed",
        "0.600 in",
        measured=True,
        plausible_range=("0.5 mm", "40 mm"),
        sign="not negative",
    )
    exhaust_retainer_to_seal: Length | None = field(
        "the same on the exhaust side, where it differs", "0.600 in", measured=True,
        plausible_range=("0.5 mm", "40 mm"), sign="not negative",
    )  # fmt: skip
    exhaust_installed_height: Length | None = field(
        "installed height of the exhaust springs, where it differs", "1.780 in", plausible_range=("12 mm", "120 mm")
    )


class Rockers(RecordModel):
    """Rockers or followers."""

    maker: Line | None = field("manufacturer", "Petrel Valves")
    number: Line | None = field("part number", "PV-R16")
    kind: Line | None = field("stamped, roller, finger follower", "roller")
    ratio: Ratio | None = field("ratio; 1 where the cam sits on the valve", "1.5", plausible_range=("0.8", "2.5"))
    mass_at_valve: Mass | None = field(
        "rocker reduced to the valve tip: moment of inertia over the square of that arm", "38 g",
        plausible_range=("1 g", "2 kg"), only_where="the valve train was weighed",
    )  # fmt: skip
    exhaust_ratio: Ratio | None = field(
        "ratio on the exhaust side, where it differs", "1.5", plausible_range=("0.8", "2.5")
    )


_PUSHROD = ("40 mm", "500 mm")


class Pushrods(RecordModel):
    """Pushrods: what the checking pushrod showed, and what was ordered."""

    maker: Line | None = field("manufacturer", "Petrel Valves")
    number: Line | None = field("part number", "PV-P7800")
    checking_length: Length | None = field(
        "length of the checking pushrod at zero lash, with the wear pattern centered", "7.775 in",
        measured=True, plausible_range=_PUSHROD,
        depends_on={"bottom_end.block.deck_height": 1, "top_end.gasket.thickness": 1},
    )  # fmt: skip
    exhaust_checking_length: Length | None = field(
        "the same on the exhaust side, where it differs",
        "7.775 in",
        measured=True,
        plausible_range=_PUSHROD,
        depends_on={"bottom_end.block.deck_height": 1, "top_end.gasket.thickness": 1},
    )
    preload: Length | None = field(
        "preload to add for hydraulic lifters; leave it out for solid ones", "0.030 in",
        plausible_range=("0 mm", "4 mm"), sign="not negative",
    )  # fmt: skip
    ordered_length: Length | None = field("length ordered", "7.800 in", plausible_range=_PUSHROD)
    exhaust_ordered_length: Length | None = field(
        "length ordered for the exhaust side, where it differs", "7.800 in", plausible_range=_PUSHROD
    )
    mass: Mass | None = field(
        "mass of one", "52 g", plausible_range=("3 g", "1 kg"), only_where="the valve train was weighed"
    )
    diameter: Length | None = field("diameter", "5/16 in", plausible_range=("3 mm", "20 mm"))
    wall: Length | None = field("wall thickness", "0.080 in", plausible_range=("0.3 mm", "6 mm"))


class Injectors(RecordModel):
    """Injectors."""

    maker: Line | None = field("manufacturer", "Cinder Fuel")
    number: Line | None = field("part number", "CF 440")
    count: Count | None = field("quantity", "8")
    flow: OneInjectorFlow | None = field(
        "flow of one at its rated pressure, by mass, or by volume with the fuel's density in build.yaml",
        "42 lb/h",
        plausible_range=("2 lb/h", "400 lb/h"),
        units=("lb/h", "g/min", "cc/min"),
    )
    rated_pressure: OnePressure | None = field(
        "pressure the flow was rated at", "43.5 psi", plausible_range=("5 psi", "3000 bar"), units=("psi", "bar")
    )
    pulses_per_cycle: Count | None = field("injections per cycle: 1 sequential, 2 all at once", "1")


BoostControl = Annotated[
    Literal["none", "gauge", "absolute"],
    Synonyms({"none": "uncontrolled", "gauge": "above ambient, relative", "absolute": "absolute pressure"}),
]


class Turbocharger(RecordModel):
    """Turbocharger."""

    maker: Line | None = field("manufacturer", "Petrel Boost")
    number: Line | None = field("part number", "PB 55")
    count: Count | None = field("quantity", "1")
    trim: Ratio | None = field(
        "compressor trim: inducer over exducer diameter, squared, in per cent", "56", plausible_range=("30", "80")
    )
    area_over_radius: Ratio | None = field(
        "A/R of the turbine housing, in inches", "0.63", plausible_range=("0.2", "2.5"), also=("ar", "a_r")
    )


class Supercharger(RecordModel):
    """Supercharger."""

    maker: Line | None = field("manufacturer", "Petrel Boost")
    number: Line | None = field("part number", "PB R2")
    kind: Line | None = field("Roots, screw, centrifugal", "screw")
    pulley_ratio: Ratio | None = field(
        "turns of the supercharger for one of the crankshaft", "1.85", plausible_range=("0.5", "15")
    )


class Wastegate(RecordModel):
    """Wastegate."""

    maker: Line | None = field("manufacturer", "Petrel Boost")
    number: Line | None = field("part number", "PB W38")
    spring: OnePressure | None = field(
        "boost at which its spring lets it open", "7 psi", plausible_range=("0.5 psi", "60 psi"), units=("psi", "bar")
    )


class ChargeCooler(RecordModel):
    """Charge cooler."""

    maker: Line | None = field("manufacturer", "Petrel Boost")
    number: Line | None = field("part number", "PB C600")
    kind: Line | None = field("air to air, air to water", "air to air")


class Nitrous(RecordModel):
    """Nitrous oxide."""

    maker: Line | None = field("manufacturer", "Cinder Fuel")
    number: Line | None = field("part number", "CF N75")
    kind: Line | None = field("with its own fuel or without", "with its own fuel")
    jets: Line | None = field("jets for nitrous oxide and fuel", "47 and 24")
    bottle_pressure: OnePressure | None = field(
        "pressure in the bottle", "950 psi", plausible_range=("300 psi", "1300 psi"), units=("psi", "bar")
    )


class InductionSystem(RecordModel):
    """What feeds it."""

    description: Line | None = field(
        "carburetor or injection, and manifold", "four-barrel carburetor on a single-plane manifold"
    )
    maker: Line | None = field("manufacturer", "Cinder Fuel")
    number: Line | None = field("part number", "CF 700")
    rated_flow: OneVolumeFlow | None = field("rated airflow, total", "700 cfm", plausible_range=("10 cfm", "4000 cfm"))
    rated_depression: OnePressure | None = field(
        "pressure drop of the rating", "1.5 inHg", plausible_range=("0.2 inHg", "6 inHg"), units=("inHg", "mbar")
    )
    allowed_depression: OnePressure | None = field(
        "allowed pressure drop at full throttle",
        "1.5 inHg",
        plausible_range=("0.2 inHg", "6 inHg"),
        units=("inHg", "mbar"),
    )
    restrictor_diameter: OneLength | None = field(
        "smallest diameter of a restrictor that all the air passes",
        "34 mm",
        plausible_range=("8 mm", "150 mm"),
        only_where="the rules ask for a restrictor",
    )
    restrictor_coefficient: Ratio | None = field(
        "discharge coefficient of the restrictor; 1, no loss at all, unless given",
        "0.97",
        plausible_range=("0.5", "1"),
        only_where="the rules ask for a restrictor",
    )
    boost: OnePressure | None = field(
        "boost above the barometer at peak power",
        "8 psi",
        plausible_range=("0.5 psi", "100 psi"),
        sign="not negative",
        units=("psi", "bar"),
        only_where="the engine is turbocharged or supercharged",
    )
    boost_control: BoostControl | None = field(
        "what the boost is held to: nothing, a pressure above the barometer, or an absolute pressure; results of an "
        "engine held to an absolute pressure are not corrected for the barometer",
        "gauge",
        only_where="the engine is turbocharged or supercharged",
    )
    turbocharger: Turbocharger | None = field("turbocharger", "", only_where="the engine is turbocharged")
    supercharger: Supercharger | None = field("supercharger", "", only_where="the engine is supercharged")
    wastegate: Wastegate | None = field("wastegate", "", only_where="the engine is turbocharged")
    charge_cooler: ChargeCooler | None = field(
        "charge cooler", "", only_where="the engine is turbocharged or supercharged", also=("intercooler",)
    )
    nitrous: Nitrous | None = field("nitrous oxide", "", only_where="the engine has nitrous oxide")
    charge_temperature: OneTemperature | None = field(
        "charge in the manifold at peak power, after any charge cooler",
        "45 degC",
        plausible_range=("-20 degC", "200 degC"),
        only_where="the engine is turbocharged or supercharged",
        also=("manifold_temperature",),
    )
    injectors: Injectors | None = field("injectors", "", only_where="the engine has injectors")


class TopEnd(RecordModel):
    """top_end.yaml: the top end."""

    heads: Heads | None = field("cylinder heads", "", also=("cylinder_heads", "cylinder_head"))
    gasket: Gasket | None = field("the head gasket", "", also=("head_gasket",))
    springs: Springs | None = field("valve springs", "", also=("valve_springs",))
    rockers: Rockers | None = field("rockers or followers", "", also=("rocker_arms",))
    pushrods: Pushrods | None = field("pushrods", "", only_where="the engine has pushrods")
    induction: InductionSystem | None = field("carburetor or injection, and manifold", "")
    ignition: Line | None = field("distributor, coil, box", "distributor with points, coil of 3 ohm")
    plugs: Line | None = field("spark plugs", "14 mm, gap 0.035 in", also=("spark_plugs",))
    exhaust: Line | None = field(
        "manifolds or headers: pipe diameter and length", "four into one, 1.625 in by 32 in, collector 2.5 in"
    )
