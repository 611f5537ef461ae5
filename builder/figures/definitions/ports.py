"""Figures of a two-stroke's ports: timing both ways, areas, blowdown, and what is trapped."""

from __future__ import annotations

from operator import attrgetter

import numpy as np

from builder.engine import kinematics, ports
from builder.engine.validation import Value, unwrap_scalar
from builder.figures.core import display_units as units
from builder.figures.core.inputs import Input
from builder.figures.core.registry import COMMON_PRACTICE, GEOMETRY, HEYWOOD_2, PORTS, Definitions, unchanged
from builder.figures.core.types import GIVEN

define = Definitions(PORTS, applies=attrgetter("is_timed_by_ports"))

_KINDS = {"exhaust": "Exhaust port", "transfer": "Transfer port", "boost": "Boost port"}
_TRAVEL = (r"x(\theta)", "piston below TDC at that crank angle, exact slider-crank", "m")


def _port_inputs(kind: str) -> tuple[Input, ...]:
    path, port = f"ports.{kind}", _KINDS[kind].lower()
    return (
        Input(f"{kind}_roof", f"{port} roof below the deck", "h", units.LENGTH, f"{path}.roof", "cylinder"),
        Input(f"{kind}_opens_by_wheel", f"{port} opens, degree wheel", "a", units.ANGLE, f"{path}.opens", "cylinder"),
        Input(f"{kind}_floor", f"{port} floor below the deck", "f", units.LENGTH, f"{path}.floor", "cylinder"),
        Input(f"{kind}_width", f"{port} width", "w", units.LENGTH, f"{path}.width"),
        Input(f"{kind}_count", f"number of {port}s", "k", units.COUNT, f"{path}.count", provenance=GIVEN),
    )


for _kind in _KINDS:
    define.add_inputs(*_port_inputs(_kind))
define.add_inputs(
    Input("intake_roof", "intake port roof below the deck", "h", units.LENGTH, "ports.intake.roof", "cylinder"),
    Input("intake_floor", "intake port floor below the deck", "f", units.LENGTH, "ports.intake.floor", "cylinder"),
    Input("intake_port_width", "intake port width", "w", units.LENGTH, "ports.intake.width"),
    Input("intake_port_opens_read", "crankcase intake opens, degree wheel", "a", units.ANGLE, "ports.intake.opens"),
    Input("intake_port_closes_read", "crankcase intake closes, degree wheel", "b", units.ANGLE, "ports.intake.closes"),
    Input("skirt_length", "piston skirt length", "s", units.LENGTH, "ports.skirt_length", "cylinder"),
    Input("crankcase_volume", "crankcase volume", "V_c", units.VOLUME, "ports.crankcase_volume", "cylinder"),
)


def _define_timing(kind: str) -> None:
    """Define when a port opens and how long it is open, and the height of its roof."""
    title, opens, roof = _KINDS[kind], f"{kind}_port_opens", f"{kind}_roof"
    wheel, geometry = f"{kind}_opens_by_wheel", ("deck_clearance", "stroke", "rod_length")

    def by_wheel(**inputs: Value) -> Value:
        return inputs[wheel]

    def from_roof(**inputs: Value) -> Value:
        return ports.port_opens(
            inputs[roof],
            inputs["deck_clearance"],
            inputs["stroke"],
            inputs["rod_length"],
            inputs.get("pin_offset", 0.0),
        )

    def roof_measured(**inputs: Value) -> Value:
        return inputs[roof]

    def roof_from_angle(**inputs: Value) -> Value:
        return ports.port_roof(
            inputs[wheel],
            inputs["deck_clearance"],
            inputs["stroke"],
            inputs["rod_length"],
            inputs.get("pin_offset", 0.0),
        )

    define.figure(
        opens,
        f"{title} opens",
        units.ANGLE,
        source=GEOMETRY,
        means="Crank degrees after TDC at which the piston uncovers the top of the port.",
        formula=r"x(\theta) = h - c",
        symbols=(_TRAVEL, ("h", "top edge of the port below the deck", "m"), ("c", "deck clearance", "m")),
        working=f"crank angle at which the crown is {{{roof}}} below the deck"
        " (deck clearance {deck_clearance}, stroke {stroke}, rod {rod_length})",
        validity="exact slider-crank, from the edge of the crown; a rounded port edge opens a little earlier",
        inputs=(roof, *geometry),
        optional_inputs=("pin_offset",),
    )(from_roof)
    define.alternative(opens, working=f"by degree wheel: {{{wheel}}}", inputs=(wheel,))(by_wheel)
    define.figure(
        f"{kind}_port_roof",
        f"{title} height (top edge below deck)",
        units.LENGTH,
        source=GEOMETRY,
        means="How far below the deck the port begins: a higher port suits higher speeds.",
        formula=r"h = c + x(\theta)",
        symbols=(("c", "deck clearance", "m"), _TRAVEL),
        working=f"measured: {{{roof}}}",
        validity="at the wall of the bore",
        inputs=(roof,),
    )(roof_measured)
    define.alternative(f"{kind}_port_roof", working=f"{{deck_clearance}} + x({{{wheel}}})", inputs=(wheel, *geometry))(
        roof_from_angle
    )

    def duration(**inputs: Value) -> Value:
        return unwrap_scalar(360 - 2 * np.asarray(inputs[opens]))

    define.figure(
        f"{kind}_port_duration",
        f"{title} duration",
        units.ANGLE,
        source=GEOMETRY,
        means="Crank degrees for which the port is open.",
        formula=r"360^\circ - 2\theta",
        symbols=((r"\theta", "opens, after TDC", "deg"),),
        working=f"360° − 2 × {{{opens}}}",
        validity="symmetric about BDC; a pin offset shifts it by a fraction of a degree",
        inputs=(opens,),
    )(duration)


def _define_area(kind: str) -> None:
    """Define the open area of a port at BDC."""
    title, roof = _KINDS[kind], f"{kind}_port_roof"
    width, count, floor = f"{kind}_width", f"{kind}_count", f"{kind}_floor"

    def area(**inputs: Value) -> Value:
        offset = inputs.get("pin_offset", 0.0)
        clearance, stroke, rod = inputs["deck_clearance"], inputs["stroke"], inputs["rod_length"]
        bottom = kinematics.bottom_dead_centre(stroke, rod, offset)
        crown = np.asarray(clearance) + kinematics.piston_position(bottom, stroke, rod, offset)
        lowest = inputs.get(floor, crown)
        return ports.port_area(inputs[roof], lowest, inputs[width], inputs[count], clearance, stroke, rod, offset)

    define.figure(
        f"{kind}_port_area",
        f"{title} area at BDC",
        units.AREA,
        source=GEOMETRY,
        means="The opening that gas has through these ports of one cylinder with the piston at the bottom.",
        formula=r"k \, w \, (f - h)",
        symbols=(
            ("k", "number of ports", "1"),
            ("w", "width of one across the chord", "m"),
            ("f", "bottom edge, or the crown at BDC if that is higher", "m"),
            ("h", "top edge", "m"),
        ),
        working=f"{{{count}}} × {{{width}}} × (bottom edge or crown at BDC − {{{roof}}})",
        validity="square corners; rounded corners take some per cent off",
        inputs=(roof, width, count, "deck_clearance", "stroke", "rod_length"),
        optional_inputs=(floor, "pin_offset"),
    )(area)


for _kind in _KINDS:
    _define_timing(_kind)


define.figure(
    "blowdown",
    "Blowdown",
    units.ANGLE,
    source=COMMON_PRACTICE,
    means="Crank degrees from exhaust opening to transfer opening: the time to let the pressure out.",
    formula=r"\theta_t - \theta_e",
    working="{transfer_port_opens} − {exhaust_port_opens}",
    symbols=((r"\theta_t, \theta_e", "transfer and exhaust port open, after TDC", "deg"),),
    validity="negative where the transfer ports open first, which is a fault",
    inputs=("exhaust_port_opens", "transfer_port_opens"),
)(ports.blowdown)


@define.figure(
    "trapped_compression_ratio",
    "Trapped compression ratio",
    units.COMPRESSION,
    source=HEYWOOD_2,
    means="Compression from the closing of the exhaust port: what a two-stroke has to compress with.",
    formula=r"\frac{V_k + \frac{\pi}{4} B^2 \, x(\theta_e)}{V_k}",
    symbols=(
        ("V_k", "clearance volume", "m³"),
        ("x", "piston below TDC when the exhaust port closes, exact slider-crank", "m"),
        (r"\theta_e", "exhaust port opens, after TDC", "deg"),
    ),
    working="({clearance_volume} + π/4 × ({bore})² × x({exhaust_port_opens})) / {clearance_volume}",
    validity="geometric: what the exhaust pipe returns is not counted",
)
def trapped_compression_ratio(
    bore: Value,
    stroke: Value,
    rod_length: Value,
    clearance_volume: Value,
    exhaust_port_opens: Value,
    pin_offset: Value = 0.0,
) -> Value:
    """Return the trapped compression ratio of each cylinder."""
    return ports.trapped_compression_ratio(bore, stroke, rod_length, clearance_volume, exhaust_port_opens, pin_offset)


define.figure(
    "crankcase_compression_ratio",
    "Crankcase compression ratio",
    units.COMPRESSION,
    source=COMMON_PRACTICE,
    means="How much the descending piston compresses the charge below it before the transfer ports open.",
    formula=r"\frac{V_c + V_s}{V_c}",
    symbols=(("V_c", "crankcase at BDC with the transfer ducts", "m³"), ("V_s", "swept volume", "m³")),
    working="({crankcase_volume} + {swept_volume}) / {crankcase_volume}",
    validity="1.2 to 1.6 in most engines (common practice, no source)",
)(ports.crankcase_compression_ratio)


define.figure(
    "exhaust_port_chordal_share",
    "Exhaust port width over bore",
    units.WHOLE_PERCENT,
    source=GEOMETRY,
    means="How wide the exhaust port is against the bore: a wide one flows more and is harder on the rings.",
    formula=r"w / B",
    working="{exhaust_width} / {bore}",
    validity="the straight width of one port",
    inputs=("exhaust_width", "bore"),
)(ports.chordal_share)


for _kind in _KINDS:
    _define_area(_kind)


@define.figure(
    "exhaust_angle_area",
    "Exhaust angle-area",
    units.ANGLE_AREA,
    source=GEOMETRY,
    means="Open area of the exhaust port summed over the crank angle; over the speed it is the time-area.",
    formula=r"\int A \, d\theta",
    symbols=(("A", "open area at each crank angle", "m²"), (r"\theta", "crank angle", "deg")),
    working="open area of {exhaust_count} × {exhaust_width} below {exhaust_port_roof}, summed over one revolution",
    validity="square corners; floor level with the crown at BDC unless measured",
    vectorised=True,
)
def exhaust_angle_area(
    exhaust_port_roof: Value,
    exhaust_width: Value,
    exhaust_count: Value,
    deck_clearance: Value,
    stroke: Value,
    rod_length: Value,
    exhaust_floor: Value | None = None,
) -> float:
    """Return the angle-area of the exhaust port of the mean cylinder [m2 deg]."""
    roof, clearance, throw, rod = (
        float(np.mean(value)) for value in (exhaust_port_roof, deck_clearance, stroke, rod_length)
    )
    floor = clearance + throw if exhaust_floor is None else float(np.mean(exhaust_floor))
    width, count = float(np.mean(exhaust_width)), float(np.mean(exhaust_count))
    return ports.angle_area(roof, floor, width, count, clearance, throw, rod)


define.figure(
    "intake_port_opens",
    "Crankcase intake opens",
    units.ANGLE,
    source=GEOMETRY,
    means="Crank degrees before TDC at which the way into the crankcase opens.",
    formula=r"x(\theta) = f - s - c",
    symbols=(
        ("f", "bottom edge of the intake port below the deck", "m"),
        ("s", "skirt length", "m"),
        ("c", "deck clearance", "m"),
    ),
    working="by degree wheel: {intake_port_opens_read}",
    validity="a reed valve opens by pressure and has no fixed angle",
    inputs=("intake_port_opens_read",),
)(unchanged)


@define.alternative(
    "intake_port_opens",
    working="crank angle at which the skirt is level with the port's floor, {intake_floor} below the deck"
    " (skirt {skirt_length})",
)
def intake_port_opens_from_floor(
    intake_floor: Value,
    skirt_length: Value,
    deck_clearance: Value,
    stroke: Value,
    rod_length: Value,
    pin_offset: Value = 0.0,
) -> Value:
    """Return the opening of a piston-controlled intake port of each cylinder [deg BTDC]."""
    return ports.skirt_opens(intake_floor, skirt_length, deck_clearance, stroke, rod_length, pin_offset)


@define.figure(
    "intake_port_duration",
    "Crankcase intake duration",
    units.ANGLE,
    source=GEOMETRY,
    means="Crank degrees for which the way into the crankcase is open.",
    formula=r"a + b",
    symbols=(("a, b", "opens before TDC, closes after TDC", "deg"),),
    working="{intake_port_opens} + {intake_port_closes_read}",
    validity="a piston-controlled port is symmetric about TDC; a rotary valve is not",
)
def intake_port_duration(intake_port_opens: Value, intake_port_closes_read: Value) -> Value:
    """Return the duration of the intake by degree wheel [deg]."""
    return unwrap_scalar(np.asarray(intake_port_opens) + np.asarray(intake_port_closes_read))


@define.alternative("intake_port_duration", working="2 × {intake_port_opens}")
def intake_port_duration_of_piston_port(intake_port_opens: Value, intake_floor: Value) -> Value:
    """Return the duration of a piston-controlled intake port of each cylinder [deg]."""
    return 2 * intake_port_opens
