"""Figures of cam timing: events at every lift, separation, overlap, and what the timing leaves to compress."""

from __future__ import annotations

from collections.abc import Callable
from operator import attrgetter

import numpy as np

from builder.engine import geometry
from builder.engine import valve_train as train
from builder.engine.validation import Value
from builder.figures.core import display_units as units
from builder.figures.core.registry import COMMON_PRACTICE, GEOMETRY, HEYWOOD_2, VALVE_TRAIN, Definitions, unchanged
from builder.figures.core.solver import FigureResult

define = Definitions(VALVE_TRAIN, applies=attrgetter("has_valves"))


define.figure(
    "lobe_separation",
    "Lobe separation",
    units.ANGLE,
    source=GEOMETRY,
    means="Angle between intake and exhaust lobe centers; tighter gives more overlap.",
    formula=r"LSA = \frac{C_i + C_e}{2}",
    working="({intake_centerline_wheel} + {exhaust_centerline_wheel}) / 2",
    symbols=(("C_i, C_e", "intake and exhaust centerline", "deg"),),
    validity="cam degrees; from degree-wheel readings where both lobes were degreed, else from the card",
    inputs=("intake_centerline_wheel", "exhaust_centerline_wheel"),
)(train.lobe_separation)


define.alternative(
    "lobe_separation", working="as on the card: {lobe_separation_card}", inputs=("lobe_separation_card",)
)(unchanged)


define.alternative(
    "lobe_separation",
    working="({intake_centerline_card} + {exhaust_centerline_card}) / 2",
    inputs=("intake_centerline_card", "exhaust_centerline_card"),
)(train.lobe_separation)


define.figure(
    "installed_centerline",
    "Intake centerline, installed",
    units.ANGLE,
    source=COMMON_PRACTICE,
    means="Intake valve fully open, crank degrees after TDC.",
    formula=r"C_i = \frac{a + b}{2}",
    symbols=(("a, b", "wheel at equal lift on either side of the nose", "deg"),),
    working="{intake_centerline_wheel}",
    validity="midpoint of two readings at equal lift",
    inputs=("intake_centerline_wheel",),
)(unchanged)


define.alternative(
    "installed_centerline", working="as installed: {intake_centerline_stated}", inputs=("intake_centerline_stated",)
)(unchanged)


define.alternative(
    "installed_centerline",
    working="({intake_closes_measured} + 180 − {intake_opens_measured}) / 2",
    inputs=("intake_opens_measured", "intake_closes_measured"),
)(train.intake_centerline_from_events)


define.figure(
    "exhaust_centerline",
    "Exhaust centerline, installed",
    units.ANGLE,
    source=GEOMETRY,
    means="Exhaust valve fully open, crank degrees before TDC.",
    formula=r"C_e = 2 \, LSA - C_i",
    working="{exhaust_centerline_wheel}",
    symbols=(("LSA", "lobe separation", "deg"), ("C_i", "intake centerline", "deg")),
    validity="single camshaft; with two, each is degreed separately",
    inputs=("exhaust_centerline_wheel",),
)(unchanged)


define.alternative(
    "exhaust_centerline", working="as installed: {exhaust_centerline_stated}", inputs=("exhaust_centerline_stated",)
)(unchanged)


define.alternative(
    "exhaust_centerline",
    working="({exhaust_opens_measured} + 180 − {exhaust_closes_measured}) / 2",
    inputs=("exhaust_opens_measured", "exhaust_closes_measured"),
)(train.exhaust_centerline_from_events)


@define.alternative("exhaust_centerline", working="2 × {lobe_separation} − {installed_centerline}", is_sum=True)
def exhaust_centerline_from_separation(lobe_separation: Value, installed_centerline: Value) -> Value:
    """Return the exhaust centerline from lobe separation and intake centerline [deg BTDC]."""
    return 2 * lobe_separation - installed_centerline


define.figure(
    "cam_advance",
    "Cam advance",
    units.ANGLE,
    source=GEOMETRY,
    means="How far the cam is installed ahead of straight up: advance favors low rpm, retard high rpm.",
    formula=r"LSA - C_i",
    working="{lobe_separation} − {installed_centerline}",
    symbols=(("LSA", "lobe separation", "deg"), ("C_i", "intake centerline, installed", "deg")),
    validity="positive advanced, negative retarded; one camshaft",
    is_sum=True,
    inputs=("lobe_separation", "installed_centerline"),
)(train.cam_advance)


define.figure(
    "card_difference",
    "Cam timing error vs card",
    units.ANGLE,
    source=COMMON_PRACTICE,
    means="Installed intake centerline compared with the cam card.",
    formula=r"C_{card} - C_i",
    working="{intake_centerline_card} − {installed_centerline}",
    symbols=(("C_{card}", "intake centerline on the card", "deg"), ("C_i", "intake centerline, installed", "deg")),
    validity="positive is advanced vs card, negative retarded",
    is_sum=True,
    inputs=("intake_centerline_card", "installed_centerline"),
)(train.installed_advance)


def _define_event(
    slug: str, title: str, means: str, formula: str, working: str, compute: Callable[[Value, Value], Value]
) -> None:
    """Define an event at each lift: as the degree wheel read it where it did, else from duration and centerline."""
    side = slug.partition("_")[0]
    duration, measured = f"{side}_duration", f"{slug}_measured"
    centerline = "installed_centerline" if side == "intake" else "exhaust_centerline"
    by_wheel = f"by degree wheel: {{{measured}}}"

    def from_card(**inputs: Value) -> Value | FigureResult:
        computed = compute(inputs[duration], inputs[centerline])
        if measured not in inputs:
            return computed
        read = np.isfinite(inputs[measured])
        if read.all():
            return FigureResult(inputs[measured], by_wheel, inputs=(measured,))
        return FigureResult(np.where(read, inputs[measured], computed), by_wheel if np.atleast_1d(read)[0] else None)

    def as_read(**inputs: Value) -> Value:
        return inputs[measured]

    define.figure(
        slug,
        title,
        units.ANGLE,
        source=GEOMETRY,
        axis="lift",
        headline="first",
        means=means,
        formula=formula,
        symbols=(("D", "duration at the stated lift", "deg"), (f"C_{side[0]}", f"{side} centerline", "deg")),
        working=working,
        validity="symmetric lobes assumed; degree-wheel readings take precedence",
        inputs=(duration, centerline),
        optional_inputs=(measured,),
    )(from_card)
    define.alternative(slug, working=by_wheel, inputs=(measured,))(as_read)


_define_event(
    "intake_opens",
    "Intake opens",
    "Crank degrees BTDC at which the intake valve opens.",
    r"IO = D/2 - C_i",
    "{intake_duration} / 2 − {installed_centerline}",
    train.intake_opens,
)
_define_event(
    "intake_closes",
    "Intake closes",
    "Crank degrees ABDC at which the intake valve closes and compression begins.",
    r"IC = D/2 + C_i - 180^\circ",
    "{intake_duration} / 2 + {installed_centerline} − 180°",
    train.intake_closes,
)
_define_event(
    "exhaust_opens",
    "Exhaust opens",
    "Crank degrees BBDC at which the exhaust valve opens.",
    r"EO = D/2 + C_e - 180^\circ",
    "{exhaust_duration} / 2 + {exhaust_centerline} − 180°",
    train.exhaust_opens,
)
_define_event(
    "exhaust_closes",
    "Exhaust closes",
    "Crank degrees ATDC at which the exhaust valve closes.",
    r"EC = D/2 - C_e",
    "{exhaust_duration} / 2 − {exhaust_centerline}",
    train.exhaust_closes,
)


define.figure(
    "intake_open",
    "Intake duration",
    units.ANGLE,
    source=GEOMETRY,
    axis="lift",
    headline="first",
    means="Crank degrees the intake valve is open, as installed.",
    formula=r"IO + 180^\circ + IC",
    working="{intake_opens} + 180° + {intake_closes}",
    symbols=(("IO", "intake opens, BTDC", "deg"), ("IC", "intake closes, ABDC", "deg")),
    validity="at the stated lift; compare with the card to see lash and wear",
    is_sum=True,
    inputs=("intake_opens", "intake_closes"),
)(train.duration)


define.figure(
    "exhaust_open",
    "Exhaust duration",
    units.ANGLE,
    source=GEOMETRY,
    axis="lift",
    headline="first",
    means="Crank degrees the exhaust valve is open, as installed.",
    formula=r"EO + 180^\circ + EC",
    working="{exhaust_opens} + 180° + {exhaust_closes}",
    symbols=(("EO", "exhaust opens, BBDC", "deg"), ("EC", "exhaust closes, ATDC", "deg")),
    validity="at the stated lift; compare with the card to see lash and wear",
    is_sum=True,
    inputs=("exhaust_opens", "exhaust_closes"),
)(train.duration)


define.figure(
    "overlap",
    "Overlap",
    units.ANGLE,
    source=GEOMETRY,
    axis="lift",
    headline="first",
    means="Crank degrees with both valves open: more helps high rpm and roughens the idle.",
    formula=r"IO + EC = \frac{D_i + D_e}{2} - 2\,LSA",
    working="{intake_opens} + {exhaust_closes}",
    symbols=(
        ("D_i, D_e", "intake and exhaust duration at that lift", "deg"),
        ("LSA", "lobe separation, cam degrees", "deg"),
        ("IO", "intake opens, BTDC", "deg"),
        ("EC", "exhaust closes, ATDC", "deg"),
    ),
    validity="at the stated lift; negative when both are closed around TDC",
    is_sum=True,
)(train.overlap)


define.alternative("overlap", working="({intake_duration} + {exhaust_duration}) / 2 − 2 × {lobe_separation}")(
    train.overlap_from_duration
)


@define.figure(
    "effective_compression_ratio",
    "Dynamic compression ratio",
    units.COMPRESSION,
    source=HEYWOOD_2,
    axis="lift",
    headline="least",
    means="Compression ratio from intake closing: what the fuel sees.",
    formula=r"\frac{V_k + \frac{\pi}{4} B^2 \, x(IC)}{V_k}",
    symbols=(
        ("IC", "intake closes, after bottom dead center", "deg"),
        ("V_k", "clearance volume", "m³"),
        ("x", "piston travel from TDC at intake closing, exact slider-crank", "m"),
    ),
    working="({clearance_volume} + π/4 × ({bore})² × x({intake_closes} after bottom)) / {clearance_volume}",
    validity="geometric, at the lift of the timing figures; seat and 0.050 in timing give different ratios",
)
def effective_compression_ratio(
    bore: Value,
    stroke: Value,
    rod_length: Value,
    clearance_volume: Value,
    intake_closes: Value,
    pin_offset: Value = 0.0,
) -> Value:
    """Return trapped volume over clearance volume at each lift."""
    return geometry.effective_compression_ratio(bore, stroke, rod_length, clearance_volume, intake_closes, pin_offset)
