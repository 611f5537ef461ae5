"""Figures of the piston's motion, and of the masses that move with it."""

from __future__ import annotations

import numpy as np

from builder.engine import kinematics
from builder.engine.validation import Value
from builder.figures.core import display_units as units
from builder.figures.core.inputs import Context, Input
from builder.figures.core.registry import COMMON_PRACTICE, CYLINDER, HEYWOOD_2, TAYLOR_2, Definitions
from builder.figures.core.solver import FigureResult
from builder.figures.core.types import GIVEN, InputValue
from builder.figures.definitions.pull_inputs import session_of
from builder.record.models.build import Build

AT_RED_LINE = "at the red line"
"""Label of the position at the red line, of the figures that are given at several speeds."""

define = Definitions(CYLINDER)

define.add_inputs(
    Input("red_line", "red line", "n", units.SPEED, "build.engine.red_line", provenance=GIVEN),
    Input("pin_offset", "pin offset", "e", units.LENGTH, "bottom_end.pistons.pin_offset"),
    Input("piston_mass", "piston mass", "m_p", units.MASS, "bottom_end.pistons.mass", "cylinder"),
    Input("pin_mass", "pin and locks", "m_g", units.MASS, "bottom_end.pistons.pin_mass", "cylinder"),
    Input("ring_mass", "rings of one piston", "m_r", units.MASS, "bottom_end.pistons.ring_mass", "cylinder"),
    Input("small_end_mass", "rod small end", "m_s", units.MASS, "bottom_end.rods.mass_small_end", "cylinder"),
    Input("big_end_mass", "rod big end", "m_b", units.MASS, "bottom_end.rods.mass_big_end", "cylinder"),
    Input("bearing_mass", "rod bearing shells", "m_l", units.MASS, "bottom_end.balance.bearing_mass"),
    Input("imbalance", "imbalance of each end", "U", units.IMBALANCE, "bottom_end.balance.imbalance", "end"),
    Input("crankshaft_mass", "mass of the crankshaft", "m_k", units.MASS, "bottom_end.crankshaft.mass"),
    Input("oil_mass", "oil allowance", "m_o", units.MASS, "bottom_end.balance.oil_mass"),
    Input("balance_factor", "balance factor", "f", units.PERCENT, "bottom_end.balance.factor", provenance=GIVEN),
    Input("rods_per_pin", "rods on one crankpin", "k", units.COUNT, "bottom_end.balance.rods_per_pin",
          provenance=GIVEN),
)  # fmt: skip


@define.computed_input(
    "revolutions_per_cycle", "revolutions in one cycle", "r", units.COUNT, "build.engine.cycle",
    reads=("build.engine.cycle",),
)  # fmt: skip
def _revolutions_per_cycle(context: Context, item: Input) -> InputValue:
    count = float(context.build.revolutions_per_cycle)
    return item.value(count, (f"{count:g}",), GIVEN, where=context.build.where(item.path))


@define.computed_input(
    "speed_of_interest", "engine speed", "n", units.SPEED, "build.engine.red_line", "speed",
    reads=("build.engine", "dyno"),
)  # fmt: skip
def _speeds_of_interest(context: Context, item: Input) -> InputValue | None:
    """Return the red line, and the speed of peak power where there is a dyno session."""
    speeds: dict[str, float] = {}
    red_line, session = context.build.build.engine.red_line, session_of(context)
    if red_line is not None:
        speeds[AT_RED_LINE] = red_line.si
    if session is not None and session.delivered is not None:
        speeds["at peak power"] = session.delivered.peak_power.speed
    if not speeds:
        return None
    texts = tuple(item.display_unit.text(speed, context.system) for speed in speeds.values())
    where = context.build.where(item.path)
    return item.value(np.array(list(speeds.values())), texts, GIVEN, labels=tuple(speeds), where=where)


@define.computed_input(
    "crank_angle", "crank angle after TDC", "\\theta", units.ANGLE, "bottom_end.crankshaft.stroke", "crank angle"
)
def _crank_angles(context: Context, item: Input) -> InputValue:
    """Return where the piston's position is tabulated, the quarter turn first."""
    angles = (90, 30, 60, 120, 150)
    texts = tuple(f"{angle}°" for angle in angles)
    return item.value(np.array(angles, dtype=np.float64), texts, GIVEN, labels=texts)


def _is_balanced_with_bobweights(build: Build) -> bool:
    """Return whether a crankshaft of this layout is balanced with weights on its pins."""
    engine = build.build.engine
    return engine.layout == "V" or engine.cylinders <= 3


define.figure(
    "mean_piston_speed",
    "Mean piston speed",
    units.VELOCITY,
    source=HEYWOOD_2,
    axis="speed",
    headline="most",
    means="Average piston speed: a measure of wear and load that holds for any engine size.",
    formula=r"2 S n",
    working="2 × {stroke} × {speed_of_interest}",
    validity="mean over a whole stroke at steady speed; the piston is fastest near 75° after TDC",
    inputs=("stroke", "speed_of_interest"),
)(kinematics.mean_piston_speed)


@define.figure(
    "piston_position",
    "Piston position at 90°",
    units.LENGTH,
    source=HEYWOOD_2,
    axis="crank angle",
    headline="first",
    means="Piston travel from TDC at a crank angle; at 90° it is past mid-stroke.",
    formula=r"x = \frac{S}{2} (1 - \cos\theta) + L - \sqrt{L^2 - \left( \frac{S}{2} \sin\theta \right)^2}",
    working="{stroke} / 2 × (1 − cos {crank_angle}) + {rod_length}"
    " − √(({rod_length})² − ({stroke} / 2 × sin {crank_angle})²)",
    validity="exact slider-crank; a pin offset, where recorded, is counted though the formula leaves it out",
)
def piston_position(stroke: Value, rod_length: Value, crank_angle: Value, pin_offset: Value = 0.0) -> FigureResult:
    """Return the distance of the piston from its top dead center [m] at crank angles after it [deg]."""
    position = kinematics.piston_position(np.radians(crank_angle), stroke, rod_length, pin_offset)
    return FigureResult(position, working=_OFFSET_POSITION if np.any(pin_offset) else None)


_OFFSET_POSITION = (
    "with sin δ = {pin_offset} / ({stroke} / 2 + {rod_length}):"
    " √(({stroke} / 2 + {rod_length})² − ({pin_offset})²) − {stroke} / 2 × cos({crank_angle} − δ)"
    " − √(({rod_length})² − ({stroke} / 2 × sin({crank_angle} − δ) + {pin_offset})²)"
)
"""With a pin offset the piston is at its top a little before the crank is."""


@define.figure(
    "piston_speed",
    "Max piston speed",
    units.FAST_VELOCITY,
    source=HEYWOOD_2,
    axis="speed",
    headline="most",
    means="The highest piston speed in the stroke.",
    formula=r"\max_\theta \; 2 \pi n \, \frac{dx}{d\theta}",
    symbols=(("x", "piston travel from TDC, exact slider-crank", "m"), ("\\theta", "crank angle", "rad")),
    working="max of 2π × {speed_of_interest} × dx/dθ, for stroke {stroke} and rod {rod_length}",
    validity="exact slider-crank, pin offset included where recorded; steady speed",
)
def piston_speed(stroke: Value, rod_length: Value, speed_of_interest: Value, pin_offset: Value = 0.0) -> FigureResult:
    """Return the greatest speed of the piston on its way down [m/s]."""
    angle = kinematics.peak_speed_angle(stroke, rod_length, pin_offset)
    speed = kinematics.piston_speed(angle, stroke, rod_length, speed_of_interest, pin_offset)
    where = float(np.mean(np.degrees(angle)))
    return FigureResult(speed, note=f"Reached {where:.1f}° after TDC.")


@define.figure(
    "piston_acceleration",
    "Max piston acceleration",
    units.ACCELERATION,
    source=HEYWOOD_2,
    axis="speed",
    headline="most",
    means="Piston acceleration at TDC: it sets the load on rods, pins and rod bolts.",
    formula=r"\frac{S}{2} \, (2 \pi n)^2 \left( 1 + \frac{S}{2L} \right)",
    working="{stroke} / 2 × (2π × {speed_of_interest})² × (1 + {stroke} / (2 × {rod_length}))",
    validity="at top dead center; exact slider-crank, pin offset included where recorded; steady speed",
)
def piston_acceleration(stroke: Value, rod_length: Value, speed_of_interest: Value, pin_offset: Value = 0.0) -> Value:
    """Return the acceleration of the piston at top dead center [m/s2]."""
    return kinematics.piston_acceleration(0.0, stroke, rod_length, speed_of_interest, pin_offset)


@define.figure(
    "reciprocating_mass",
    "Reciprocating mass",
    units.MASS,
    source=COMMON_PRACTICE,
    means="Mass that moves with one piston: piston, pin, rings and rod small end.",
    formula=r"m_p + m_g + m_r + m_s",
    working="{piston_mass} + {pin_mass} + {ring_mass} + {small_end_mass}",
    validity="parts as weighed; the small end's share of the rod by weighing it level, big end held",
    is_sum=True,
)
def reciprocating_mass(piston_mass: Value, pin_mass: Value, ring_mass: Value, small_end_mass: Value) -> Value:
    """Return the reciprocating mass of each cylinder [kg]."""
    return piston_mass + pin_mass + ring_mass + small_end_mass


define.figure(
    "inertia_force_tdc",
    "Inertia load at TDC",
    units.FORCE,
    source=TAYLOR_2,
    means="The tensile load on the rod at TDC, at redline.",
    formula=r"m \frac{S}{2} \omega^2 \left( 1 + \frac{S}{2L} \right)",
    symbols=(("m", "reciprocating mass", "kg"), ("\\omega", "crank speed at the red line", "rad/s")),
    working="{reciprocating_mass} × {stroke} / 2 × (2π × {red_line})² × (1 + {stroke} / (2 × {rod_length}))",
    validity="at the red line, without gas load",
    inputs=("reciprocating_mass", "stroke", "rod_length", "red_line"),
)(kinematics.inertia_force_tdc)


def _has_imbalance(build: Build) -> bool:
    return build.get("bottom_end.balance.imbalance") is not None


@define.figure(
    "balance_grade",
    "Balance quality of the crankshaft at redline",
    units.BALANCE_GRADE,
    source="ISO 21940-11, from memory",
    vectorised=True,
    means="How far the crankshaft's mass is off its axis, times its angular speed: less runs more smoothly.",
    formula=r"\frac{U_1 + U_2}{m_k} \, 2 \pi \, n",
    symbols=(("U_1, U_2", "imbalance of the two ends", "kg m"), ("n", "engine speed at redline", "rev/s")),
    working="sum of {imbalance} / {crankshaft_mass} × 2π × {red_line}",
    validity="both ends added as if they pointed the same way; the residue of balancing, not what the pistons leave",
    applies=_has_imbalance,
)
def balance_grade(imbalance: Value, crankshaft_mass: Value, red_line: Value) -> Value:
    """Return the balance quality of the crankshaft at redline [m/s]."""
    return kinematics.balance_grade(float(np.sum(imbalance)), crankshaft_mass, red_line)


@define.figure(
    "bobweight",
    "Bobweight",
    units.MASS,
    source=COMMON_PRACTICE,
    means="The weight clamped to each crankpin for balancing.",
    formula=r"k (m_b + m_l) + m_o + f k m",
    symbols=(("m", "reciprocating mass", "kg"),),
    working="{rods_per_pin} × ({big_end_mass} + {bearing_mass}) + {oil_mass}"
    " + {balance_factor} × {rods_per_pin} × {reciprocating_mass}",
    validity="one crankpin; V engines, and engines of one to three cylinders: others are balanced without bobweights",
    applies=_is_balanced_with_bobweights,
)
def bobweight(
    big_end_mass: Value,
    bearing_mass: Value,
    reciprocating_mass: Value,
    balance_factor: Value,
    rods_per_pin: Value,
    oil_mass: Value = 0.0,
) -> Value:
    """Return the bobweight of one crankpin [kg]."""
    return kinematics.bobweight(
        big_end_mass + bearing_mass, reciprocating_mass, int(rods_per_pin), float(balance_factor), oil_mass
    )
