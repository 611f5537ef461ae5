"""bottom_end.yaml: block, crankshaft, rods, pistons, rings, bearings, balance."""

from __future__ import annotations

from typing import Annotated, Literal

from builder.record.models.choices import Synonyms
from builder.record.models.fields import (
    Count,
    DescribedModel,
    Force,
    Imbalance,
    Length,
    Line,
    Mass,
    OneFraction,
    OneLength,
    OnePressure,
    OneSpeed,
    OneTemperature,
    OneVolume,
    OneVolumeFlow,
    RecordModel,
    Volume,
    field,
)

CrankMaterial = Annotated[
    Literal["cast iron", "nodular iron", "cast steel", "forged steel", "forged 4340", "billet steel"],
    Synonyms(
        {
            "cast iron": "gray iron, grey iron",
            "nodular iron": "ductile iron, SG iron, spheroidal graphite iron, nodular cast iron",
            "cast steel": "steel casting",
            "forged steel": "steel forging",
            "forged 4340": "4340, 4340 forging, forged 4340 steel",
            "billet steel": "billet, billet 4340",
        }
    ),
]
PistonType = Annotated[
    Literal["cast", "hypereutectic", "forged"],
    Synonyms(
        {
            "cast": "cast aluminum, cast aluminium",
            "hypereutectic": "hypereutectic cast",
            "forged": "forging, forged aluminum, forged aluminium",
        }
    ),
]


class Block(RecordModel):
    """The block."""

    maker: Line | None = field("manufacturer", "Wrenfield")
    casting: Line | None = field("casting or part number", "WF 2214-B")
    material: Line | None = field("iron, aluminum ...", "gray iron")
    deck_height: Length | None = field(
        "crank centerline to deck", "{listed: 9.003 in, measured: 9.003 in}", plausible_range=("40 mm", "700 mm")
    )
    bores: Length | None = field(
        "finished bore of every cylinder, in order",
        "{unit: in, measured: [4.0305, 4.0304, 4.0306, 4.0305]}",
        axis="cylinder",
        plausible_range=("25 mm", "400 mm"),
        title="bores",
    )
    standard_bore: Length | None = field("bore when new", "4.000 in", plausible_range=("25 mm", "400 mm"))
    oversize: OneLength | None = field(
        "oversize that the bores were finished to", "0.030 in", plausible_range=("0.05 mm", "10 mm")
    )
    main_bores: Length | None = field(
        "main housing bores, torqued, front to rear",
        "{unit: in, measured: [2.6410, 2.6411, 2.6410, 2.6411, 2.6410]}",
        plausible_range=("15 mm", "300 mm"),
        also=("main_housing_bores",),
    )
    cam_bores: Length | None = field(
        "cam bearing bores, front to rear",
        "{unit: in, measured: [2.1260, 2.1062, 2.0865]}",
        plausible_range=("10 mm", "150 mm"),
    )
    note: Line | None = field("remarks", "sonic tested, 0.190 in at the thinnest")


class Crankshaft(RecordModel):
    """The crankshaft."""

    maker: Line | None = field("manufacturer", "Wrenfield")
    number: Line | None = field("casting or part number", "WF 3310")
    material: CrankMaterial | None = field("material", "forged steel")
    stroke: Length | None = field("stroke", "3.480 in", plausible_range=("25 mm", "500 mm"))
    main_journals: Length | None = field(
        "main journal diameters, front to rear",
        "{unit: in, measured: [2.4483, 2.4484, 2.4483, 2.4484, 2.4483]}",
        plausible_range=("12 mm", "300 mm"),
    )
    rod_journals: Length | None = field(
        "crankpin diameters, front to rear",
        "{unit: in, measured: [2.0990, 2.0991, 2.0990, 2.0991]}",
        plausible_range=("12 mm", "300 mm"),
        also=("crankpins", "big_end_journals"),
    )
    mass: Mass | None = field(
        "mass of the crankshaft as balanced",
        "24.5 kg",
        plausible_range=("0.3 kg", "3000 kg"),
        also=("weight",),
        units=("lb", "kg"),
        rare=True,
    )
    note: Line | None = field("remarks", "crack tested, none found")


class RodBolts(RecordModel):
    """The bolts of the connecting rods."""

    maker: Line | None = field("manufacturer", "Oakhanger")
    number: Line | None = field("part number", "OH-B716")
    size: Line | None = field("thread: 7/16-20 or M9x1.25", "7/16-20")
    per_rod: Count = field("bolts of one rod", "2", default=2)
    proof_load: Force | None = field(
        "proof load of one, from the manufacturer's sheet", "14000 lbf", plausible_range=("2 kN", "2000 kN")
    )


class Rods(RecordModel):
    """Connecting rods."""

    maker: Line | None = field("manufacturer", "Oakhanger")
    number: Line | None = field("part number", "OH-5700-I")
    material: Line | None = field("forged steel, aluminum ...", "forged steel")
    length: Length | None = field(
        "center to center", "5.700 in", axis="cylinder", plausible_range=("50 mm", "900 mm"), also=("center_to_center",)
    )
    big_end_bores: Length | None = field(
        "big-end housing bores, torqued",
        "{unit: in, measured: [2.2250, 2.2251, 2.2250, 2.2250]}",
        axis="cylinder",
        plausible_range=("15 mm", "350 mm"),
    )
    mass_big_end: Mass | None = field(
        "big end on the balance",
        "{unit: g, measured: [412.5, 412.8, 412.4, 412.6]}",
        axis="cylinder",
        plausible_range=("20 g", "50 kg"),
        also=("big_end_mass", "big_end_weight", "weight_big_end"),
        measured=True,
    )
    mass_small_end: Mass | None = field(
        "small end on the balance",
        "{unit: g, measured: [168.0, 168.3, 168.1, 168.2]}",
        axis="cylinder",
        plausible_range=("10 g", "30 kg"),
        also=("small_end_mass", "small_end_weight", "weight_small_end"),
        measured=True,
    )
    mass_cap: Mass | None = field(
        "cap with its share of the bolts, included in the big end",
        "128 g",
        axis="cylinder",
        plausible_range=("5 g", "15 kg"),
    )
    bolts: RodBolts | None = field("rod bolts", "")
    note: Line | None = field("remarks", "cap bolts new")


class TopLand(RecordModel):
    """The crevice above the top ring."""

    height: OneLength | None = field("crown to top of the top ring", "0.280 in", plausible_range=("0.5 mm", "60 mm"))
    diametral_clearance: OneLength | None = field(
        "bore less land diameter", "0.030 in", plausible_range=("0.02 mm", "5 mm")
    )


class Pistons(RecordModel):
    """Pistons and pins."""

    maker: Line | None = field("manufacturer", "Larkmoor")
    number: Line | None = field("part number", "LM 4030-F")
    type: PistonType | None = field("cast, hypereutectic or forged", "forged")
    diameter: Length | None = field(
        "at the gauge point",
        "{unit: in, measured: [4.0265, 4.0264, 4.0265, 4.0265]}",
        axis="cylinder",
        plausible_range=("25 mm", "400 mm"),
    )
    compression_height: Length | None = field(
        "pin center to crown",
        "{listed: 1.558 in, measured: 1.558 in}",
        axis="cylinder",
        plausible_range=("8 mm", "250 mm"),
        also=("compression_distance", "pin_height"),
    )
    dish: Volume | None = field(
        "dish and valve reliefs together, by burette; {listed: 6.2 cc} for the catalog's",
        "6.2 cc",
        axis="cylinder",
        plausible_range=("0 cc", "600 cc"),
        sign="not negative",
        also=("dish_volume",),
        measured=True,
    )
    dome: Volume | None = field(
        "dome volume above the flat",
        "4.5 cc",
        axis="cylinder",
        plausible_range=("0 cc", "300 cc"),
        sign="not negative",
        also=("dome_volume",),
        only_where="the crown is domed",
    )
    pin_offset: Length | None = field(
        "pin axis off the bore axis; positive towards the major thrust side",
        "0.060 in",
        plausible_range=("-8 mm", "8 mm"),
        sign="any",
        also=("wrist_pin_offset",),
    )
    pin_diameter: Length | None = field(
        "pin diameter", "0.927 in", axis="cylinder", plausible_range=("6 mm", "150 mm"), also=("wrist_pin_diameter",)
    )
    top_land: TopLand | None = field("the crevice above the top ring", "")
    mass: Mass | None = field(
        "piston alone",
        "{unit: g, measured: [512.5, 512.3, 512.6, 512.4]}",
        axis="cylinder",
        plausible_range=("15 g", "80 kg"),
        also=("weight",),
    )
    pin_mass: Mass | None = field(
        "pin and locks",
        "118.2 g",
        axis="cylinder",
        plausible_range=("5 g", "30 kg"),
        also=("wrist_pin_mass", "pin_weight"),
    )
    ring_mass: Mass | None = field(
        "rings of one piston", "46.5 g", axis="cylinder", plausible_range=("1 g", "5 kg"), also=("ring_weight",)
    )
    note: Line | None = field("remarks", "coated skirts")


class RingPack(RecordModel):
    """Rings."""

    maker: Line | None = field("manufacturer", "Larkmoor")
    number: Line | None = field("part number", "LM-R4030")
    top: Line | None = field("top ring: height and material", "1.2 mm steel")
    second: Line | None = field("second ring: height and material", "1.5 mm cast iron, taper face")
    oil: Line | None = field("oil ring", "3.0 mm, three piece")


class Bearings(RecordModel):
    """Bearing shells."""

    maker: Line | None = field("manufacturer", "Dunmere")
    main_number: Line | None = field("part number of the mains", "DM 118-010")
    rod_number: Line | None = field("part number of the rod bearings", "DM 204-010")
    main_shell: Length | None = field(
        "thickness of one main shell at its crown", "0.0950 in", plausible_range=("0.8 mm", "15 mm")
    )
    rod_shell: Length | None = field(
        "thickness of one rod shell at its crown", "0.0618 in", plausible_range=("0.8 mm", "15 mm")
    )


class Balance(RecordModel):
    """The balance card."""

    factor: OneFraction | None = field(
        "balance factor: share of the reciprocating mass", "50 %", plausible_range=("0 %", "100 %")
    )
    rods_per_pin: Count | None = field("rods on one crankpin: 2 in most V engines", "2")
    bearing_mass: Mass | None = field("rod bearing shells, one rod", "42 g", plausible_range=("1 g", "3 kg"))
    oil_mass: Mass | None = field(
        "oil allowance for one crankpin", "4 g", plausible_range=("0 g", "100 g"), sign="not negative"
    )
    residual: Mass | None = field("residual imbalance at each end", "0.5 g", sign="not negative", measured=True)
    imbalance: Imbalance | None = field(
        "the same as mass times radius, front first; one value is that of both ends together",
        "{unit: oz.in, measured: [0.12, 0.15]}",
        axis="end",
        plausible_range=("0 g.mm", "20000 g.mm"),
        sign="not negative",
        measured=True,
        rare=True,
    )
    by: Line | None = field("balanced by", "Saltmarsh Balancing")
    note: Line | None = field("remarks", "with pulley and flywheel")


class OilSystem(DescribedModel):
    """Oil system."""

    description: Line | None = field("in words", "end clearance lapped")
    pump: Line | None = field("kind of pump", "gear pump, standard volume")
    maker: Line | None = field("manufacturer of the pump", "Wrenfield")
    number: Line | None = field("its part number", "WF 7720")
    relief_pressure: OnePressure | None = field(
        "pressure at which the relief valve opens", "62 psi", plausible_range=("10 psi", "200 psi"),
        units=("psi", "bar"),
    )  # fmt: skip
    pickup_clearance: Length | None = field(
        "pickup to the pan floor", "0.375 in", measured=True, plausible_range=("1 mm", "80 mm"),
        also=("pickup", "pickup_to_pan"),
    )  # fmt: skip
    pan: Line | None = field("pan: shape, baffles", "rear sump, one hinged baffle", also=("sump", "oil_pan"))
    pan_capacity: OneVolume | None = field(
        "oil pan filled to the full mark, without filter and cooler", "4.2 L", plausible_range=("0.1 L", "200 L"),
        units=("qt", "L"), also=("sump_capacity", "oil_capacity"),
    )  # fmt: skip
    windage_tray: Line | None = field("windage tray, crank scraper", "louvered tray on the main studs")
    drain_back: Line | None = field("work on the oil return", "returns deburred, screens over the valley")


class CoolingSystem(DescribedModel):
    """Cooling system."""

    description: Line | None = field("in words", "raw-water pump and heat exchanger")
    pump: Line | None = field("kind of pump", "belt-driven, cast impeller")
    maker: Line | None = field("manufacturer of the pump", "Wrenfield")
    number: Line | None = field("its part number", "WF 8801")
    pump_flow: OneVolumeFlow | None = field(
        "flow of the pump", "35 gpm", plausible_range=("1 L/min", "5000 L/min"), units=("gpm", "L/min")
    )
    pump_flow_at: OneSpeed | None = field(
        "engine speed of that flow", "4000 rpm", plausible_range=("150 rpm", "20000 rpm")
    )
    thermostat: OneTemperature | None = field(
        "temperature at which the thermostat opens", "82 degC", plausible_range=("30 degC", "120 degC")
    )


class BottomEnd(RecordModel):
    """bottom_end.yaml: the bottom end."""

    block: Block | None = field("the block", "")
    crankshaft: Crankshaft | None = field("the crankshaft", "", also=("crank",))
    rods: Rods | None = field("connecting rods", "", also=("connecting_rods", "conrods"))
    pistons: Pistons | None = field("pistons and pins", "")
    deck_clearance: Length | None = field(
        "piston crown below the deck at TDC, by dial indicator; negative above the deck",
        "{unit: in, measured: [0.005, 0.006, 0.005, 0.005]}",
        axis="cylinder",
        plausible_range=("-3 mm", "12 mm"),
        sign="any",
        also=("piston_to_deck",),
        measured=True,
        depends_on={
            "bottom_end.block.deck_height": 1,
            "bottom_end.crankshaft.stroke": -0.5,
            "bottom_end.rods.length": -1,
            "bottom_end.pistons.compression_height": -1,
        },
    )
    rings: RingPack | None = field("rings", "")
    bearings: Bearings | None = field("bearing shells", "")
    balance: Balance | None = field("the balance card", "")
    oil_system: OilSystem | None = field(
        "oil system: one line, or the fields of the field reference",
        "new gear pump, pickup 0.375 in off the sump floor",
        also=("oil_pump", "lubrication"),
    )
    cooling_system: CoolingSystem | None = field("cooling system", "", also=("water_pump",), rare=True)
