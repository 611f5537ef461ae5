"""top_end.yaml: heads, gasket, valves, springs, rockers, induction, ignition, exhaust."""

from __future__ import annotations

from typing import Annotated, Literal

from builder.record.models.choices import Synonyms
from builder.record.models.fields import (
    Area,
    Count,
    DescribedModel,
    Force,
    Length,
    Line,
    Mass,
    Number,
    OneAngle,
    OneForce,
    OneInjectorFlow,
    OneLength,
    OneOfAny,
    OnePressure,
    OneSpeed,
    OneTemperature,
    OneVolume,
    OneVolumeFlow,
    Ratio,
    RecordModel,
    SpeedRange,
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
    intake_port_volume: Volume | None = field(
        "volume of each intake port, valve seat to manifold face, by burette; {listed: 180 cc} for the catalog's",
        "{unit: cc, measured: [181.0, 180.5, 181.0, 180.5]}",
        axis="cylinder",
        plausible_range=("5 cc", "1500 cc"),
        also=("intake_runner_volume",),
        measured=True,
        rare=True,
    )
    exhaust_port_volume: Volume | None = field(
        "volume of each exhaust port, valve seat to manifold face, by burette",
        "{unit: cc, measured: [62.0, 62.5, 62.0, 62.0]}",
        axis="cylinder",
        plausible_range=("2 cc", "1000 cc"),
        also=("exhaust_runner_volume",),
        measured=True,
        rare=True,
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
    installed_height: Length | None = field(
        "installed height", "1.800 in", plausible_range=("12 mm", "120 mm"), depends_on={"top_end.springs.shims": -1}
    )
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
    shims: Length | None = field(
        "shims under the springs of one valve, all together",
        "0.030 in",
        plausible_range=("0.1 mm", "6 mm"),
        sign="not negative",
        only_where="the springs were shimmed",
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
        "installed height of the exhaust springs, where it differs",
        "1.780 in",
        plausible_range=("12 mm", "120 mm"),
        depends_on={"top_end.springs.shims": -1},
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
        "flow of one at its rated pressure, by mass, or by volume with the fuel and its density in build.yaml",
        "42 lb/h",
        plausible_range=("2 lb/h", "400 lb/h"),
        units=("lb/h", "g/min", "cc/min"),
    )
    rated_pressure: OnePressure | None = field(
        "pressure the flow was rated at", "43.5 psi", plausible_range=("5 psi", "3000 bar"), units=("psi", "bar")
    )
    pulses_per_cycle: Count | None = field("injections per cycle: 1 sequential, 2 all at once", "1")


ManifoldKind = Annotated[
    Literal["single plane", "dual plane", "individual runners", "tunnel ram", "plenum", "log"],
    Synonyms(
        {
            "single plane": "single-plane manifold, open plenum, 360 degree",
            "dual plane": "dual-plane manifold, two plane, two level, two-level manifold, 180 degree",
            "individual runners": "individual runner, isolated runners, IR, individual throttles, "
            "individual throttle bodies, ITB",
            "tunnel ram": "ram manifold",
            "plenum": "plenum and runners, long runner, long runners, long-runner manifold",
            "log": "log manifold, log type",
        }
    ),
]


class IntakeManifold(DescribedModel):
    """Intake manifold."""

    description: Line | None = field("in words", "aluminum, heated by coolant")
    kind: ManifoldKind | None = field("kind", "single plane")
    maker: Line | None = field("manufacturer", "Cinder Fuel")
    number: Line | None = field("part number", "CF M210")
    rpm_range: SpeedRange | None = field(
        "engine speeds it is made for, by its manufacturer", "2500..6800 rpm", also=("speed_range",)
    )
    runner_length: Length | None = field(
        "runner from the plenum to the head, along its center", "6.5 in", axis="cylinder",
        plausible_range=("10 mm", "1500 mm"),
    )  # fmt: skip
    runner_area: Area | None = field(
        "smallest section of a runner", "2.25 sq in", axis="cylinder", plausible_range=("0.5 cm2", "150 cm2")
    )
    plenum_volume: OneVolume | None = field("volume of the plenum", "1.9 L", plausible_range=("20 cc", "100 L"))
    work: Line | None = field("work done", "matched to the ports and gaskets")


class Carburetor(DescribedModel):
    """Carburetors, all alike, as delivered; their maker and number stand with the induction."""

    description: Line | None = field("in words", "four-barrel, mechanical secondaries")
    count: Count | None = field("quantity", "1")
    barrels: Count | None = field("barrels of one", "4", also=("chokes", "throats"))
    rated_flow: OneVolumeFlow | None = field(
        "rated airflow of one, at the rated_depression of the induction", "700 cfm",
        plausible_range=("5 cfm", "2000 cfm"),
    )  # fmt: skip
    bore: OneLength | None = field(
        "bore at the throttle, primary where they differ", "1.6875 in", plausible_range=("8 mm", "120 mm"),
        also=("throttle_bore",),
    )  # fmt: skip
    venturi: OneLength | None = field(
        "smallest diameter of the venturi, primary where they differ", "1.375 in", plausible_range=("6 mm", "100 mm"),
        also=("venturi_diameter", "choke_tube"),
    )  # fmt: skip
    secondary_venturi: OneLength | None = field(
        "the same of the secondary", "1.4375 in", plausible_range=("6 mm", "100 mm")
    )
    main_jet: OneOfAny | None = field(
        "main jet, primary where they differ: its number or its bore",
        "0.070 in",
        also=("primary_jet", "primary_main_jet"),
    )
    secondary_jet: OneOfAny | None = field("main jet of the secondary", "0.076 in", also=("secondary_main_jet",))
    idle_jet: OneOfAny | None = field("idle jet", "0.50 mm", also=("pilot_jet", "slow_jet"))
    air_jet: OneOfAny | None = field("air corrector of the main jet", "1.90 mm", also=("air_corrector", "air_bleed"))


class FuelPump(RecordModel):
    """Fuel pump."""

    maker: Line | None = field("manufacturer", "Cinder Fuel")
    number: Line | None = field("part number", "CF P35")
    count: Count | None = field("quantity", "1")
    flow: OneInjectorFlow | None = field(
        "flow of one at the pressure below, by mass, or by volume with the fuel and its density in build.yaml",
        "210 lb/h",
        plausible_range=("5 lb/h", "4000 lb/h"),
        units=("lb/h", "L/h", "gal/h"),
    )
    pressure: OnePressure | None = field(
        "pressure at which it gives that flow", "6.5 psi", plausible_range=("1 psi", "400 bar"), units=("psi", "bar")
    )


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
    speed_limit: OneSpeed | None = field(
        "highest speed that its manufacturer allows", "160000 rpm", plausible_range=("20000 rpm", "400000 rpm")
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
    maker: Line | None = field("manufacturer of the carburetor, throttle body or mixer", "Cinder Fuel")
    number: Line | None = field("its part number", "CF 700")
    rated_flow: OneVolumeFlow | None = field(
        "rated airflow, total; of several alike as rated_flow and count of carburetor",
        "700 cfm",
        plausible_range=("10 cfm", "4000 cfm"),
    )
    manifold: IntakeManifold | None = field("intake manifold", "", also=("intake_manifold",), rare=True)
    carburetor: Carburetor | None = field("carburetors", "", also=("carburetors", "carb", "carbs"), rare=True)
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
    fuel_pump: FuelPump | None = field("fuel pump", "", rare=True)


class AdvancePoint(RecordModel):
    """One point of the advance curve."""

    speed: OneSpeed = field("speed", "2500 rpm", required=True, plausible_range=("100 rpm", "12000 rpm"))
    advance: OneAngle = field("mechanical advance there", "22 deg", required=True, plausible_range=("0 deg", "50 deg"))


class VacuumAdvance(RecordModel):
    """Vacuum advance."""

    starts_at: OnePressure | None = field(
        "vacuum at which it begins", "6 inHg", plausible_range=("1 inHg", "25 inHg"), units=("inHg", "mbar", "kPa")
    )
    full_at: OnePressure | None = field(
        "vacuum at which it is complete", "13 inHg", plausible_range=("2 inHg", "28 inHg"),
        units=("inHg", "mbar", "kPa"),
    )  # fmt: skip
    most: OneAngle | None = field("most that it adds", "14 deg", plausible_range=("1 deg", "40 deg"))
    connected_to: Line | None = field("where it takes its vacuum", "above the throttle")


AdvanceCounted = Annotated[
    Literal["crankshaft", "distributor"],
    Synonyms({"crankshaft": "crank, engine", "distributor": "cam, camshaft, test machine"}),
]


class Distributor(RecordModel):
    """Distributor: its advance."""

    counted_in: AdvanceCounted = field(
        "whose speed and degrees the curve, the limit and the vacuum advance are in; a test machine shows the "
        "distributor's, which are half the crankshaft's",
        "crankshaft",
        default="crankshaft",
    )
    curve: tuple[AdvancePoint, ...] = field("mechanical advance by speed", "", default=())
    limit: OneAngle | None = field(
        "most mechanical advance that the stop allows", "22 deg", plausible_range=("1 deg", "50 deg")
    )
    vacuum: VacuumAdvance | None = field("vacuum advance", "")


IgnitionKind = Annotated[
    Literal["points distributor", "electronic distributor", "magneto", "distributorless", "coil on plug"],
    Synonyms(
        {
            "points distributor": "points, breaker points, contact breaker, distributor with points",
            "electronic distributor": "pointless distributor, breakerless distributor, transistor ignition, electronic",
            "magneto": "mag",
            "distributorless": "wasted spark, crank trigger, crank triggered, coil pack, coil packs, DIS",
            "coil on plug": "coil per cylinder, coil near plug, coils on plugs, COP, CNP",
        }
    ),
]


class IgnitionSystem(DescribedModel):
    """Ignition system."""

    description: Line | None = field("in words", "sealed cap, tacho drive kept")
    kind: IgnitionKind | None = field("kind", "points distributor")
    maker: Line | None = field("manufacturer of distributor or magneto", "Cinder Fuel")
    number: Line | None = field("its part number", "CF D120")
    box: Line | None = field("ignition box or control unit", "none, points alone", also=("control_unit", "amplifier"))
    coil: Line | None = field("coil, with its primary resistance", "Cinder CF C3, 3 ohm", also=("coils",))
    rev_limiter: OneSpeed | None = field(
        "speed at which the rev limiter cuts in", "6500 rpm", plausible_range=("400 rpm", "20000 rpm"),
        also=("rev_limit",),
    )  # fmt: skip


class SparkPlugs(DescribedModel):
    """Spark plugs."""

    description: Line | None = field("in words", "14 mm, long reach, middle heat range")
    maker: Line | None = field("manufacturer", "Cinder Fuel")
    number: Line | None = field("part number", "CF P7")
    gap: OneLength | None = field(
        "gap", "0.035 in", plausible_range=("0.2 mm", "2.5 mm"), also=("plug_gap", "spark_plug_gap")
    )


ExhaustKind = Annotated[
    Literal["cast manifold", "water-jacketed manifold", "headers", "separate pipes", "expansion chambers"],
    Synonyms(
        {
            "cast manifold": "cast manifolds, cast iron manifold, cast iron manifolds, manifold, manifolds",
            "water-jacketed manifold": "water-jacketed manifolds, wet manifold, wet manifolds, water-cooled manifold",
            "headers": "header, tubular manifold, tubular headers, tubular, extractors",
            "separate pipes": "open pipes, stub pipes, stacks, one pipe per cylinder",
            "expansion chambers": "expansion chamber, expansion pipes, tuned pipes",
        }
    ),
]

_PIPE = ("10 mm", "250 mm")
_PIPE_LENGTH = ("20 mm", "4 m")


class PipeStep(RecordModel):
    """One further step of a primary pipe."""

    diameter: OneLength = field("outside diameter", "1.750 in", required=True, plausible_range=_PIPE)
    length: OneLength | None = field("length of this step", "10 in", plausible_range=_PIPE_LENGTH)


class ExhaustSystem(DescribedModel):
    """Exhaust system."""

    description: Line | None = field("in words", "mild steel, coated")
    kind: ExhaustKind | None = field("kind", "headers")
    maker: Line | None = field("manufacturer", "Oakhanger")
    number: Line | None = field("part number", "OH-X162")
    layout: Line | None = field("how the pipes join: 4 into 1, 4-2-1", "4 into 1")
    primary_diameter: Length | None = field(
        "outside diameter of the primary pipes, of stepped ones at the head", "1.625 in", plausible_range=_PIPE,
        also=("primary_pipe_diameter",),
    )  # fmt: skip
    primary_length: Length | None = field(
        "length of the primary pipes, all steps together", "32 in", axis="cylinder", plausible_range=_PIPE_LENGTH
    )
    steps: tuple[PipeStep, ...] = field("further steps of stepped primaries, in order", "", default=())
    secondary_diameter: Length | None = field(
        "outside diameter of the secondary pipes of a 4-2-1", "1.875 in", plausible_range=_PIPE,
        only_where="pairs of primaries join first",
    )  # fmt: skip
    secondary_length: Length | None = field(
        "length of the secondary pipes", "16 in", plausible_range=_PIPE_LENGTH,
        only_where="pairs of primaries join first",
    )  # fmt: skip
    collector_diameter: Length | None = field("outside diameter of the collector", "2.5 in", plausible_range=_PIPE)
    collector_length: Length | None = field("length of the collector", "12 in", plausible_range=_PIPE_LENGTH)
    pipe_diameter: Length | None = field(
        "pipe behind collector or manifold, outside diameter", "2.5 in", plausible_range=_PIPE,
        also=("tailpipe_diameter", "exhaust_pipe_diameter"),
    )  # fmt: skip
    muffler: Line | None = field("muffler", "one, straight through", also=("mufflers",))


class TopEnd(RecordModel):
    """top_end.yaml: the top end."""

    heads: Heads | None = field("cylinder heads", "", also=("cylinder_heads", "cylinder_head"))
    gasket: Gasket | None = field("the head gasket", "", also=("head_gasket",))
    springs: Springs | None = field("valve springs", "", also=("valve_springs",))
    rockers: Rockers | None = field("rockers or followers", "", also=("rocker_arms",))
    pushrods: Pushrods | None = field("pushrods", "", only_where="the engine has pushrods")
    induction: InductionSystem | None = field("carburetor or injection, and manifold", "")
    ignition: IgnitionSystem | None = field(
        "ignition: one line, or the fields of the field reference", "distributor with points, coil of 3 ohm",
        also=("ignition_system",),
    )  # fmt: skip
    distributor: Distributor | None = field("advance curve of the distributor", "", rare=True)
    plugs: SparkPlugs | None = field(
        "spark plugs: one line, or the fields of the field reference", "14 mm, long reach, middle heat range",
        also=("spark_plugs",),
    )  # fmt: skip
    exhaust: ExhaustSystem | None = field(
        "exhaust: one line, or the fields of the field reference",
        "four into one, 1.625 in by 32 in, collector 2.5 in",
        also=("exhaust_system",),
    )  # fmt: skip
