"""Figures of the valve train at speed: surge of the springs, acceleration of the valves, the force it takes."""

from __future__ import annotations

import numpy as np

from builder.engine import uncertainty
from builder.engine import valve_dynamics as dynamics
from builder.engine.lift_curve import lift_curve
from builder.engine.validation import Value, unwrap_scalar
from builder.figures.core import display_units as units
from builder.figures.core.inputs import Context, Input
from builder.figures.core.registry import DEFINITION, GEOMETRY, SHIGLEY, TAYLOR_2, VALVE_TRAIN, Definitions
from builder.figures.core.solver import solver_without_uncertainty
from builder.figures.core.types import GIVEN, LISTED, InputValue
from builder.figures.definitions.cam_readings import SIDES
from builder.figures.definitions.valve_train import side_input
from builder.record.models.build import Build


def _springs_weighed(build: Build) -> bool:
    return build.has_valves and build.get("top_end.springs.mass") is not None


define = Definitions(VALVE_TRAIN, applies=_springs_weighed)

_NEAR_THE_NOSE = 0.3
"""The curve needs a known lift of at least this share of full lift to say anything of the nose."""
_CURVE_UNCERTAINTY = 0.2
"""Standard uncertainty of the curvature at the nose, as a share: up to 1.5 times too high on polynomial lobes."""

define.add_inputs(
    side_input("valve_mass", "valve", "m_v", units.MASS, "top_end.heads.intake_valve.mass",
               "top_end.heads.exhaust_valve.mass"),
    Input("retainer_mass", "retainer and locks", "m_r", units.MASS, "top_end.springs.retainer_mass"),
    Input("rocker_mass", "rocker at the valve", "m_k", units.MASS, "top_end.rockers.mass_at_valve"),
    Input("pushrod_mass", "pushrod", "m_p", units.MASS, "top_end.pushrods.mass"),
    Input("lifter_mass", "lifter", "m_l", units.MASS, "cam.lifters.mass"),
    Input("spring_mass", "springs of one valve", "m_s", units.MASS, "top_end.springs.mass"),
    Input("active_coils", "active coils", "N_a", units.INDEX, "top_end.springs.active_coils", provenance=GIVEN),
    Input("total_coils", "coils", "N_t", units.INDEX, "top_end.springs.total_coils", provenance=GIVEN),
)  # fmt: skip


define.figure(
    "active_spring_mass",
    "Mass of the active coils",
    units.MASS,
    source=GEOMETRY,
    means="The part of a valve spring that moves; the closed ends rest on seat and retainer.",
    formula=r"m_s \, N_a / N_t",
    working="{spring_mass} × {active_coils} / {total_coils}",
    validity="wire of one thickness; of a double spring, both together",
    inputs=("spring_mass", "active_coils", "total_coils"),
)(dynamics.active_spring_mass)


define.figure(
    "spring_surge_frequency",
    "Spring surge frequency",
    units.FREQUENCY,
    source=SHIGLEY,
    means="The lowest frequency at which the coils of a valve spring swing by themselves.",
    formula=r"\frac{1}{2} \sqrt{k / m_a}",
    symbols=(("k", "spring rate", "N/m"), ("m_a", "mass of the active coils", "kg")),
    working="1/2 × √({spring_rate} / {active_spring_mass})",
    validity="constant rate, no damper; a mean for double springs, a beehive is higher",
    inputs=("spring_rate", "active_spring_mass"),
)(dynamics.surge_frequency)


define.figure(
    "spring_surge_order",
    "Surge frequency over cam speed at redline",
    units.INDEX,
    source=DEFINITION,
    means="How many times the springs can swing in one turn of the cam; low orders are excited most.",
    formula=r"r \, f / n",
    symbols=(("f", "spring surge frequency", "Hz"), ("n", "engine speed at redline", "rev/s")),
    working="{revolutions_per_cycle} × {spring_surge_frequency} / {red_line}",
    validity="Shigley asks for 15 to 20 (from memory), which few valve springs reach; the cam's shape decides",
    inputs=("spring_surge_frequency", "red_line", "revolutions_per_cycle"),
)(dynamics.surge_order)


def _noses(context: Context) -> tuple[list[float], list[float]]:
    """Return the curvature at the nose [m/deg2] and the lift there [m] of either side; NaN where not known."""
    solver = context.cached(solver_without_uncertainty)
    lift, ratio = solver.input("valve_lift"), context.input("rocker_ratio")
    curvatures, places = [np.nan, np.nan], [np.nan, np.nan]
    if lift is None or lift.axis is None or ratio is None:
        return curvatures, places
    for index, side in enumerate(SIDES):
        timing = context.input(f"{side}_duration")
        if side not in lift.axis.labels or timing is None or timing.axis is None:
            continue
        peak = float(np.asarray(lift.values)[lift.axis.labels.index(side)])
        lifts = np.asarray(timing.axis.places) * np.broadcast_to(ratio.values, 2)[index]
        durations = np.asarray(timing.values)
        known = np.isfinite(durations) & (lifts > 0) & (lifts < peak)
        if known.sum() > 1 and lifts[known].max() > _NEAR_THE_NOSE * peak:
            curve = lift_curve(0.0, lifts[known], durations[known], peak)
            curvatures[index], places[index] = curve.strongest_deceleration()
    return curvatures, places


_HINT = "cam.yaml: card durations at two lifts or more, one of them near half lift (0.050 in and 0.200 in)"


@define.computed_input(
    "nose_curvature", "curvature of the lift curve at the nose", "y''", units.CURVATURE, "cam.card", "side", _HINT
)
def _nose_curvature(context: Context, item: Input) -> InputValue | None:
    return _nose_value(context, item, context.cached(_noses)[0], _CURVE_UNCERTAINTY)


@define.computed_input(
    "nose_lift", "lift at the strongest deceleration", "L_a", units.LENGTH, "cam.card", "side", _HINT
)
def _nose_lift(context: Context, item: Input) -> InputValue | None:
    return _nose_value(context, item, context.cached(_noses)[1], 0.0)


def _nose_value(context: Context, item: Input, values: list[float], share: float) -> InputValue | None:
    if not np.isfinite(values).any():
        return None
    texts = tuple(
        item.display_unit.text(value, context.system) if np.isfinite(value) else "not recorded" for value in values
    )
    contributions = uncertainty.root(item.name, share * np.abs(values)) if share else {}
    where = context.build.where(item.path)
    return item.value(np.array(values), texts, LISTED, labels=SIDES, contributions=contributions, where=where)


@define.figure(
    "valve_train_mass",
    "Mass at the valve",
    units.MASS,
    source=TAYLOR_2,
    axis="side",
    headline="first",
    means="What the spring moves: valve, retainer, locks, a third of itself, and the rest reduced to the valve.",
    formula=r"m_v + m_r + \frac{m_s}{3} + m_k + \frac{m_l + m_p}{R^2}",
    working="{valve_mass} + {retainer_mass} + {spring_mass} / 3 + {rocker_mass}"
    " + ({lifter_mass} + {pushrod_mass}) / ({rocker_ratio})²",
    validity="rigid valve train; a part that was not weighed counts as nothing, so the true mass is larger",
)
def valve_train_mass(
    valve_mass: Value,
    retainer_mass: Value,
    spring_mass: Value,
    rocker_ratio: Value,
    rocker_mass: Value = 0.0,
    lifter_mass: Value = 0.0,
    pushrod_mass: Value = 0.0,
) -> Value:
    """Return the mass that the spring moves, intake and exhaust [kg]."""
    lifter_side = unwrap_scalar(np.asarray(lifter_mass) + pushrod_mass)
    return dynamics.valve_train_mass(valve_mass, retainer_mass, spring_mass, rocker_ratio, rocker_mass, lifter_side)


define.figure(
    "valve_acceleration",
    "Valve deceleration over the nose at redline",
    units.ACCELERATION,
    source=GEOMETRY,
    axis="side",
    headline="most",
    means="How hard the spring has to pull the valve back over the nose of the lobe; from the cam card, approximate.",
    formula=r"y'' \, (360 \, n)^2",
    working="{nose_curvature} × (360 × {red_line})²",
    validity="as approximate as the lift curve through the card's points: up to 1.5 times too high on polynomial lobes",
    inputs=("nose_curvature", "red_line"),
)(dynamics.valve_acceleration)


@define.figure(
    "spring_force_needed",
    "Spring force needed at redline",
    units.FORCE,
    source=TAYLOR_2,
    axis="side",
    headline="most",
    means="The least spring force that keeps the valve train together over the nose at redline; approximate.",
    formula=r"m \, a",
    symbols=(("m", "mass at the valve", "kg"), ("a", "valve deceleration", "m/s²")),
    working="{valve_train_mass} × {valve_acceleration}",
    validity="rigid valve train, no surge, no friction; the cam manufacturer's spring comes first",
)
def spring_force_needed(valve_train_mass: Value, valve_acceleration: Value) -> Value:
    """Return the spring force needed, intake and exhaust [N]."""
    return unwrap_scalar(np.asarray(valve_train_mass) * valve_acceleration)


@define.figure(
    "spring_margin",
    "Spring force over force needed at redline",
    units.INDEX,
    source=DEFINITION,
    axis="side",
    headline="least",
    means="How many times the spring has the force that the valve needs over the nose at redline; approximate.",
    formula=r"\frac{F_0 + k \, L_a}{F}",
    symbols=(("F_0", "seat pressure", "N"), ("k", "spring rate", "N/m"), ("F", "spring force needed", "N")),
    working="({seat_load} + {spring_rate} × {nose_lift}) / {spring_force_needed}",
    validity="at the lift of the strongest deceleration; a spring that surges has less",
)
def spring_margin(seat_load: Value, spring_rate: Value, nose_lift: Value, spring_force_needed: Value) -> Value:
    """Return the spring force over the force needed, intake and exhaust."""
    there = np.asarray(seat_load) + np.asarray(spring_rate) * nose_lift
    return unwrap_scalar(there / np.asarray(spring_force_needed))
