"""Figures of the valve train: lift, springs, preload, clearance to the piston."""

from __future__ import annotations

from dataclasses import replace
from operator import attrgetter

import numpy as np

from builder.engine import uncertainty
from builder.engine import valve_train as train
from builder.engine.validation import Value, unwrap_scalar
from builder.figures.core import display_units as units
from builder.figures.core.display_units import DisplayUnit
from builder.figures.core.inputs import Context, Input, recorded_value
from builder.figures.core.registry import (
    COMMON_PRACTICE,
    GEOMETRY,
    HEYWOOD_6,
    SHIGLEY,
    VALVE_TRAIN,
    Definitions,
    Missing,
    unchanged,
)
from builder.figures.core.solver import FigureResult, solver_without_uncertainty
from builder.figures.core.types import GIVEN, InputValue, weakest
from builder.figures.definitions.cam_readings import SIDES
from builder.record.models.build import Build
from builder.record.quantities.readings import Reading
from builder.record.quantities.threads import parse_thread
from builder.record.quantities.units import Quantity

define = Definitions(VALVE_TRAIN, applies=attrgetter("has_valves"))


def _has_retainer_to_seal(build: Build) -> bool:
    paths = ("top_end.springs.retainer_to_seal", "assembly.checks.retainer_to_seal")
    return build.has_valves and any(build.get(path) is not None for path in paths)


def _of_sides(
    context: Context, item: Input, readings: list[Reading | Quantity | None], paths: tuple[str, ...]
) -> InputValue | None:
    """Return an input with a value for intake and one for exhaust; either may be missing."""
    one_part = replace(item, axis=None)  # several springs or valves of one side are the same part
    values = [None if reading is None else recorded_value(one_part, reading, context.shop) for reading in readings]
    recorded = [(value, path) for value, path in zip(values, paths, strict=True) if value is not None]
    if not recorded:
        return None
    means = [np.nan if value is None else float(np.mean(value.values)) for value in values]
    parts = [np.nan if value is None else float(np.mean(uncertainty.combine(value.contributions))) for value in values]
    return item.value(
        np.array(means),
        tuple("not recorded" if value is None else value.texts[0] for value in values),
        weakest(value.provenance for value, _ in recorded),
        labels=SIDES,
        contributions={item.name: np.array(parts)},
        has_stated_resolution=any(value.has_stated_resolution for value, _ in recorded),
        where=context.build.where(recorded[0][1]),
    )


def side_input(
    name: str,
    label: str,
    symbol: str,
    display_unit: DisplayUnit,
    intake: str,
    exhaust: str,
    *,
    shared: bool = False,
) -> Input:
    """Return an input that the record holds under one path for each side.

    Where it is ``shared`` the exhaust has the intake's value unless it has its own.
    """

    def get(context: Context, item: Input) -> InputValue | None:
        readings = [context.build.get(intake), context.build.get(exhaust)]
        if shared and readings[1] is None:
            readings[1] = readings[0]
        return _of_sides(context, item, readings, (intake, exhaust))

    return Input(name, label, symbol, display_unit, intake, "side", get=get, reads=(intake, exhaust))


def _tested(label: str, index: int, field: str, display_unit: DisplayUnit) -> Input:
    """Return the height or the load of the first or the last point on the spring tester."""

    def get(context: Context, item: Input) -> InputValue | None:
        points = context.build.get(item.path) or ()
        quantity: Quantity | None = getattr(points[index], field) if len(points) > 1 else None
        return None if quantity is None else recorded_value(item, quantity, context.shop)

    name = f"{label}_tested_{field}"
    return Input(name, f"{label} {field} on the tester", "", display_unit, "top_end.springs.tested", get=get,
                 reads=("top_end.springs.tested",))  # fmt: skip


define.add_inputs(
    side_input("lobe_lift", "lift at the lobe", "l", units.LENGTH, "cam.card.intake.lobe_lift",
               "cam.card.exhaust.lobe_lift"),
    side_input(
        "card_valve_lift", "lift at the valve, on the card", "l_v", units.LENGTH,
        "cam.card.intake.valve_lift", "cam.card.exhaust.valve_lift",
    ),
    side_input("card_rocker_ratio", "rocker ratio of the card", "R_c", units.RATIO, "cam.card.intake.rocker_ratio",
               "cam.card.exhaust.rocker_ratio", shared=True),
    side_input("rocker_ratio", "rocker ratio", "R", units.RATIO, "top_end.rockers.ratio",
               "top_end.rockers.exhaust_ratio", shared=True),
    side_input(
        "valve_diameter", "valve head diameter", "D_v", units.LENGTH,
        "top_end.heads.intake_valve.diameter", "top_end.heads.exhaust_valve.diameter",
    ),
    side_input(
        "installed_height", "installed spring height", "h_0", units.LENGTH,
        "top_end.springs.installed_height", "top_end.springs.exhaust_installed_height", shared=True,
    ),
    side_input(
        "piston_to_valve_measured", "piston-to-valve clearance, measured", "", units.LENGTH,
        "assembly.checks.intake_piston_to_valve", "assembly.checks.exhaust_piston_to_valve",
    ),
    side_input("ramp_height", "height of the ramp at the lobe", "h_r", units.LENGTH, "cam.card.intake.ramp_height",
               "cam.card.exhaust.ramp_height"),
    Input("preload_turns", "turns past zero lash", "u", units.RATIO, "cam.lifters.preload_turns"),
    Input("rate_listed", "spring rate, as listed", "k", units.STIFFNESS, "top_end.springs.rate"),
    Input("seat_load_recorded", "seat pressure", "F_0", units.FORCE, "top_end.springs.seat_load"),
    Input("solid_height", "spring height at coil bind", "h_s", units.LENGTH, "top_end.springs.solid_height"),
    side_input(
        "retainer_to_seal_closed", "retainer to seal, valve closed", "g_0", units.LENGTH,
        "top_end.springs.retainer_to_seal", "top_end.springs.exhaust_retainer_to_seal", shared=True,
    ),
    Input("retainer_to_seal_measured", "retainer to seal at full lift, measured", "", units.LENGTH,
          "assembly.checks.retainer_to_seal"),
    Input("coil_bind_measured", "spring travel left, measured", "", units.LENGTH, "assembly.checks.coil_bind"),
    _tested("first", 0, "height", units.LENGTH),
    _tested("first", 0, "load", units.FORCE),
    _tested("last", -1, "height", units.LENGTH),
    _tested("last", -1, "load", units.FORCE),
)  # fmt: skip


@define.computed_input(
    "lash", "lash", "j", units.LENGTH, "cam.card.intake.lash", "side",
    reads=("assembly.checks.intake_lash", "assembly.checks.exhaust_lash", "cam.card"),
)  # fmt: skip
def _lash(context: Context, item: Input) -> InputValue | None:
    """Return lash as set where it was recorded, else as the card asks; none for hydraulic lifters."""
    paths = [(f"assembly.checks.{side}_lash", f"cam.card.{side}.lash") for side in SIDES]
    readings = [context.build.get(as_set) or context.build.get(card) for as_set, card in paths]
    lash = _of_sides(context, item, readings, (paths[0][1], paths[1][1]))
    if lash is None:
        return None
    # A side without lash has none, or the side that has it would be the only one with a lift.
    parts = {name: np.nan_to_num(np.asarray(part)) for name, part in lash.contributions.items()}
    return replace(lash, values=np.nan_to_num(np.asarray(lash.values)), contributions=parts)


@define.computed_input(
    "pivot_ratio", "rocker ratio, the adjuster at its pivot", "R", units.RATIO, "top_end.rockers.ratio", "side"
)
def _pivot_ratio(context: Context, item: Input) -> InputValue | None:
    """Return the rocker's ratio where the adjuster moves its pivot; NaN where that is known and the ratio is not."""
    if context.build.get("cam.lifters.adjuster_at") != "rocker pivot":
        return None
    ratio = context.input("rocker_ratio")
    if ratio is None:
        return item.value(float("nan"), ("not recorded",), GIVEN)
    contributions = uncertainty.root(item.name, *ratio.contributions.values())
    return replace(ratio, name=item.name, label=item.label, contributions=contributions)


@define.computed_input(
    "adjuster_pitch", "pitch of the adjuster's thread", "p", units.LENGTH, "cam.lifters.adjuster_thread"
)
def _adjuster_pitch(context: Context, item: Input) -> InputValue | None:
    size = context.build.get(item.path)
    thread = parse_thread(size) if size else None
    if thread is None or thread.pitch is None:
        return None
    return item.value(thread.pitch, (f"pitch of {size}",), GIVEN)


@define.computed_input("seat_load_measured", "seat pressure, measured", "F_0", units.FORCE, "top_end.springs.seat_load")
def _seat_load_measured(context: Context, item: Input) -> InputValue | None:
    reading = context.build.get(item.path)
    return recorded_value(item, reading, context.shop) if reading is not None and reading.is_measured else None


def _has_ramp(build: Build) -> bool:
    return build.has_valves and any(build.get(f"cam.card.{side}.ramp_height") is not None for side in SIDES)


@define.figure(
    "lash_over_ramp",
    "Lash over ramp height",
    units.INDEX,
    source=GEOMETRY,
    axis="side",
    headline="most",
    means="Share of the cam's ramp that the lash takes up; above 1 the valve is lifted and set down off the ramp.",
    formula=r"\frac{j}{h_r \, R}",
    working="{lash} / ({ramp_height} × {rocker_ratio})",
    validity="at the lash as recorded: lash set cold is another when hot, by what block, head and pushrods grow",
    applies=_has_ramp,
)
def lash_over_ramp(lash: Value, ramp_height: Value, rocker_ratio: Value) -> Value:
    """Return the lash over the height of the ramp at the valve, intake and exhaust [1]."""
    return unwrap_scalar(np.asarray(lash) / (np.asarray(ramp_height) * np.asarray(rocker_ratio)))


define.figure(
    "valve_lift",
    "Net valve lift",
    units.LENGTH,
    source=GEOMETRY,
    axis="side",
    headline="first",
    means="Valve lift after lash.",
    formula=r"l \, R - j, \quad l = l_v / R_c",
    working="{lobe_lift} × {rocker_ratio} − {lash}",
    validity="rigid valve train; hydraulic lifters have no lash",
)(train.valve_lift)


@define.alternative("valve_lift", working="{card_valve_lift} / {card_rocker_ratio} × {rocker_ratio} − {lash}")
def valve_lift_with_other_rockers(
    card_valve_lift: Value, card_rocker_ratio: Value, rocker_ratio: Value, lash: Value = 0.0
) -> Value:
    """Return net valve lift from the card's lift, converted from the card's rockers to those on the engine [m]."""
    return train.valve_lift(train.lobe_lift(card_valve_lift, card_rocker_ratio), rocker_ratio, lash)


@define.alternative("valve_lift", working="{card_valve_lift} − {lash}", is_sum=True)
def valve_lift_from_card(card_valve_lift: Value, lash: Value = 0.0) -> Value:
    """Return net valve lift from the card's lift at the valve [m]."""
    return card_valve_lift - np.asarray(lash)


define.figure(
    "lift_to_diameter",
    "Lift/diameter ratio",
    units.RATIO,
    source=HEYWOOD_6,
    axis="side",
    headline="first",
    means="Beyond about 0.25 more lift adds little flow.",
    formula=r"L_v / D_v",
    working="{valve_lift} / {valve_diameter}",
    symbols=(("L_v", "net valve lift", "m"),),
    validity="poppet valves; flow gains little above about 0.25 (Heywood ch. 6, from memory)",
)(train.lift_to_diameter)


define.figure(
    "curtain_area",
    "Curtain area",
    units.AREA,
    source=HEYWOOD_6,
    axis="side",
    headline="first",
    means="The opening between valve head and seat.",
    formula=r"\pi \, D_v \, L_v",
    working="π × {valve_diameter} × {valve_lift}",
    symbols=(("L_v", "net valve lift", "m"),),
    validity="one valve at full lift",
)(train.curtain_area)


@define.figure(
    "lifter_preload",
    "Lifter preload",
    units.LENGTH,
    source=GEOMETRY,
    means="Plunger depth of a hydraulic lifter with the valve closed.",
    axis="side",
    headline="first",
    formula=r"u \, p \quad \mathrm{or} \quad u \, p \left( 1 + 1/R \right)",
    working="{preload_turns} turns × {adjuster_pitch}",
    validity="an adjuster at the pushrod; where the record says that a nut moves the rocker's pivot, the pushrod's end "
    "goes further by the ratio of the rocker's arms",
)
def lifter_preload(
    preload_turns: Value, adjuster_pitch: Value, pivot_ratio: Value | None = None
) -> Value | FigureResult:
    """Return the lifter preload where the pushrod sits [m]."""
    if pivot_ratio is None:
        return train.lifter_preload(preload_turns, adjuster_pitch)
    if not np.isfinite(pivot_ratio).any():
        raise Missing("top_end.yaml: rockers.ratio (the adjuster moves the rocker's pivot)")
    preload = train.pivot_lifter_preload(preload_turns, adjuster_pitch, pivot_ratio)
    return FigureResult(preload, "{preload_turns} turns × {adjuster_pitch} × (1 + 1 / {pivot_ratio})")


define.figure(
    "spring_rate",
    "Spring rate",
    units.STIFFNESS,
    source=SHIGLEY,
    means="Spring force per unit of compression.",
    formula=r"k = \frac{F_2 - F_1}{h_1 - h_2}",
    symbols=(("F_1, F_2", "pressures on the tester", "N"), ("h_1, h_2", "heights on the tester", "m")),
    working="({last_tested_load} − {first_tested_load}) / ({first_tested_height} − {last_tested_height})",
    validity="constant-rate springs, between the tested heights",
    inputs=("first_tested_load", "first_tested_height", "last_tested_load", "last_tested_height"),
)(train.spring_rate)


define.alternative("spring_rate", working="as listed: {rate_listed}", inputs=("rate_listed",))(unchanged)


@define.figure(
    "seat_load",
    "Seat pressure",
    units.FORCE,
    source=SHIGLEY,
    means="Spring force with the valve closed.",
    formula=r"F_0 = F_1 + k (h_1 - h_0)",
    working="{first_tested_load} + {spring_rate} × ({first_tested_height} − {installed_height})",
    symbols=(
        ("F_1, h_1", "pressure and height on the tester", "N, m"),
        ("k", "spring rate", "N/m"),
        ("h_0", "installed height", "m"),
    ),
    validity="at installed height",
)
def seat_load(
    first_tested_load: Value,
    first_tested_height: Value,
    spring_rate: Value,
    installed_height: Value,
    seat_load_measured: Value | None = None,
) -> Value:
    """Return the seat pressure from the tester, moved to the installed height [N]."""
    if seat_load_measured is not None:
        raise Missing("nothing: it was measured at the installed height")
    return train.seat_load(spring_rate, first_tested_load, first_tested_height, installed_height)


define.alternative("seat_load", working="{seat_load_recorded}", inputs=("seat_load_recorded",))(unchanged)


define.figure(
    "open_load",
    "Open pressure",
    units.FORCE,
    source=SHIGLEY,
    axis="side",
    headline="first",
    means="Spring force at full lift: it keeps the valve train in contact at rpm.",
    formula=r"F_0 + k \, L_v",
    working="{seat_load} + {spring_rate} × {valve_lift}",
    symbols=(("F_0", "seat pressure", "N"), ("k", "spring rate", "N/m"), ("L_v", "net valve lift", "m")),
    validity="constant-rate springs",
)(train.open_load)


define.figure(
    "coil_bind_clearance",
    "Coil-bind clearance",
    units.LENGTH,
    source=SHIGLEY,
    axis="side",
    headline="least",
    means="Spring travel left at full lift.",
    formula=r"h_0 - L_v - h_s",
    working="measured: {coil_bind_measured}",
    symbols=(("h_0", "installed height", "m"), ("L_v", "net valve lift", "m"), ("h_s", "height at coil bind", "m")),
    validity="rigid valve train at full lift; a measured clearance takes precedence",
    inputs=("coil_bind_measured",),
)(unchanged)


define.alternative("coil_bind_clearance", working="{installed_height} − {valve_lift} − {solid_height}", is_sum=True)(
    train.coil_bind_clearance
)


define.figure(
    "retainer_to_seal_clearance",
    "Retainer-to-seal clearance",
    units.LENGTH,
    source=GEOMETRY,
    axis="side",
    headline="least",
    applies=_has_retainer_to_seal,
    means="Gap between the spring's retainer and the valve seal at full lift.",
    formula=r"g_0 - L_v",
    working="measured: {retainer_to_seal_measured}",
    symbols=(("g_0", "gap with the valve closed", "m"), ("L_v", "net valve lift", "m")),
    validity="rigid valve train at full lift, cold; a measured clearance takes precedence",
    inputs=("retainer_to_seal_measured",),
)(unchanged)


@define.alternative("retainer_to_seal_clearance", working="{retainer_to_seal_closed} − {valve_lift}", is_sum=True)
def retainer_to_seal_computed(retainer_to_seal_closed: Value, valve_lift: Value) -> Value:
    """Return the gap at full lift, intake and exhaust [m]; negative where the retainer would hit the seal."""
    return unwrap_scalar(np.asarray(retainer_to_seal_closed) - valve_lift)


define.figure(
    "piston_to_valve",
    "Piston-to-valve clearance",
    units.LENGTH,
    source=COMMON_PRACTICE,
    axis="side",
    headline="least",
    means="Smallest valve-to-piston gap as the engine turns over.",
    formula=r"\min \;\mathrm{(valve\ to\ piston)}",
    working="{piston_to_valve_measured}",
    validity="measured at assembly; the smallest gap is just before or after TDC",
    inputs=("piston_to_valve_measured",),
)(unchanged)


def _define_each_spring(prefix: str, side: str, label: str, path: str) -> None:
    """Define seat and open pressure of every spring whose installed height was measured by itself."""
    height, lift, seat = f"{prefix}spring_heights", f"{side}_lift_of_springs", f"{prefix}seat_load_each"

    def has_each(build: Build) -> bool:
        reading = build.get(path)
        return build.has_valves and isinstance(reading, Reading) and len(reading.measured) > 1

    def full_lift(context: Context, item: Input) -> InputValue | None:
        figure = context.cached(solver_without_uncertainty).input("valve_lift")
        if figure is None or figure.axis is None or side not in figure.axis.labels:
            return None
        value = float(np.asarray(figure.values)[figure.axis.labels.index(side)])
        return item.value(value, (item.display_unit.text(value, context.system),), figure.provenance)

    def seat_load_each(**inputs: Value) -> Value:
        known = (inputs["first_tested_load"], inputs["first_tested_height"])
        return train.seat_load(inputs["spring_rate"], *known, inputs[height])

    def open_load_each(**inputs: Value) -> Value:
        return train.open_load(inputs[seat], inputs["spring_rate"], inputs[lift])

    define.add_inputs(
        Input(height, f"installed height of each {label}", "h", units.LENGTH, path, "spring"),
        Input(lift, f"net {side} lift", "L_v", units.LENGTH, f"cam.card.{side}.lobe_lift", get=full_lift),
    )
    define.figure(
        seat,
        f"Seat pressure, each {label}",
        units.FORCE,
        source=SHIGLEY,
        axis="spring",
        applies=has_each,
        means=f"Force of each {label} with the valve closed, at its own installed height.",
        formula=r"F_1 + k (h_1 - h)",
        symbols=(("F_1, h_1", "pressure and height on the tester", "N, m"), ("k", "spring rate", "N/m")),
        working=f"{{first_tested_load}} + {{spring_rate}} × ({{first_tested_height}} − {{{height}}})",
        validity="one spring was tested for all of them; springs differ by some per cent",
        inputs=("first_tested_load", "first_tested_height", "spring_rate", height),
    )(seat_load_each)
    define.figure(
        f"{prefix}open_load_each",
        f"Open pressure, each {label}",
        units.FORCE,
        source=SHIGLEY,
        axis="spring",
        applies=has_each,
        means=f"Force of each {label} at full {side} lift.",
        formula=r"F_0 + k \, L_v",
        symbols=(("F_0", "seat pressure of that spring", "N"), ("k", "spring rate", "N/m")),
        working=f"{{{seat}}} + {{spring_rate}} × {{{lift}}}",
        validity=f"constant-rate springs; {side} lift",
        inputs=(seat, "spring_rate", lift),
    )(open_load_each)


_define_each_spring("", "intake", "spring", "top_end.springs.installed_height")
_define_each_spring("exhaust_", "exhaust", "exhaust spring", "top_end.springs.exhaust_installed_height")


def _define_lash_by_shims(side: str) -> None:
    """Define the lash of every valve of a side whose lash is set by shims."""
    measured = f"{side}_lash_measured"

    def has_shims(build: Build) -> bool:
        return build.has_valves and build.get(f"cam.lifters.{side}_shims") is not None

    def lash_with_shims(**inputs: Value) -> Value:
        return inputs[measured]

    define.add_inputs(
        Input(measured, f"{side} lash, measured", "j", units.LENGTH, f"assembly.checks.{side}_lash", f"{side} valve"),
    )
    define.figure(
        f"{side}_lash",
        f"{side.capitalize()} lash, each valve",
        units.LENGTH,
        source=COMMON_PRACTICE,
        axis=f"{side} valve",
        applies=has_shims,
        means=f"Lash of every {side} valve with the shims that are recorded.",
        formula=r"j",
        working=f"{{{measured}}}",
        validity="cold or hot as it was measured; a shim thicker by some amount takes as much from the lash",
        inputs=(measured,),
    )(lash_with_shims)


for _side in SIDES:
    _define_lash_by_shims(_side)
