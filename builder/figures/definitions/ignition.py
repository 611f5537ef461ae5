"""Figures of the spark advance: what idle timing and the distributor's curve come to."""

from __future__ import annotations

import numpy as np

from builder.engine import ignition
from builder.engine.validation import Array, Value, unwrap_scalar
from builder.figures.core import display_units as units
from builder.figures.core.display_units import join_unit
from builder.figures.core.inputs import Context, Input
from builder.figures.core.registry import AIR, DEFINITION, Definitions, unchanged
from builder.figures.core.types import MEASURED, InputValue
from builder.record.models.build import Build

_DISTRIBUTOR = "top_end.distributor"
_CURVE = f"{_DISTRIBUTOR}.curve"


def _has_distributor(build: Build) -> bool:
    return build.get(_DISTRIBUTOR) is not None


define = Definitions(AIR, applies=_has_distributor)


def _crank_turns(context: Context) -> float:
    """Return how far the crankshaft turns for one unit of what the record counts in [1]."""
    in_crank = context.build.get(f"{_DISTRIBUTOR}.counted_in") == "crankshaft"
    return 1.0 if in_crank else float(context.build.revolutions_per_cycle)


def advance_curve(context: Context) -> tuple[Array, Array] | None:
    """Return the curve's speeds [rev/s] and advance [deg] of the crankshaft, up to its limit; None without one."""
    points, limit = context.build.get(_CURVE), context.build.get(f"{_DISTRIBUTOR}.limit")
    if not points:
        return None
    turns = _crank_turns(context)
    speeds = np.array([point.speed.si for point in points]) * turns
    advance = np.array([point.advance.si for point in points]) * turns
    if np.any(np.diff(speeds) <= 0):
        return None  # a cross-check reports it, with the two points
    return speeds, advance if limit is None else np.minimum(advance, limit.si * turns)


def _angle(context: Context, item: Input, value: float) -> InputValue:
    text = item.display_unit.text(value, context.system)
    return item.value(value, (text,), MEASURED, where=context.build.where(item.path))


define.add_inputs(Input("idle_timing", "timing at idle", r"\alpha_0", units.ANGLE, "delivery.settings.idle_timing"))


@define.computed_input("most_advance", "most mechanical advance", "a_m", units.ANGLE, _CURVE)
def _most_advance(context: Context, item: Input) -> InputValue | None:
    """Return the most advance of the curve; without one, the limit of the stop."""
    curve, limit = advance_curve(context), context.build.get(f"{_DISTRIBUTOR}.limit")
    if curve is not None:
        return _angle(context, item, float(curve[1].max()))
    return None if limit is None else _angle(context, item, limit.si * _crank_turns(context))


@define.computed_input("idle_advance", "mechanical advance at idle speed", "a_0", units.ANGLE, _CURVE)
def _idle_advance(context: Context, item: Input) -> InputValue | None:
    curve, idle = advance_curve(context), context.build.get("delivery.settings.idle_speed")
    if curve is None or idle is None:
        return None
    return _angle(context, item, float(ignition.advance_at(idle.si, *curve)))


@define.computed_input("curve_top", "lowest speed with the most advance", "n", units.SPEED, _CURVE)
def _curve_top(context: Context, item: Input) -> InputValue | None:
    curve = advance_curve(context)
    if curve is None:
        return None
    speed = ignition.full_advance_speed(*curve)
    return item.value(speed, (units.SPEED.text(speed, context.system),), MEASURED, where=context.build.where(_CURVE))


@define.computed_input("vacuum_advance", "vacuum advance", "a_v", units.ANGLE, f"{_DISTRIBUTOR}.vacuum.most")
def _vacuum_advance(context: Context, item: Input) -> InputValue | None:
    most = context.build.get(item.path)
    if most is None:
        return None
    turns = _crank_turns(context)
    text = join_unit(f"{turns * most.si:g}", "°")
    return item.value(most.si * turns, (text,), MEASURED, where=context.build.where(item.path))


@define.figure(
    "timing_by_curve",
    "Total timing by the distributor's curve",
    units.ANGLE,
    source=DEFINITION,
    means="Spark advance before TDC at full throttle: what is set at idle and what the distributor adds.",
    formula=r"\alpha_0 - a_0 + a_m",
    working="{idle_timing} − {idle_advance} + {most_advance}",
    validity="crankshaft degrees; vacuum advance not in it; timing at idle set with the vacuum line off",
)
def timing_by_curve(idle_timing: Value, most_advance: Value, idle_advance: Value) -> Value:
    """Return the total timing by idle timing and curve [deg before TDC]."""
    return ignition.total_timing(idle_timing, idle_advance, most_advance)


@define.alternative("timing_by_curve", working="{idle_timing} + {most_advance}, none yet at idle")
def timing_by_limit(idle_timing: Value, most_advance: Value) -> Value:
    """Return the total timing where the curve has not begun at idle [deg before TDC]."""
    return ignition.total_timing(idle_timing, 0.0, most_advance)


define.figure(
    "full_advance_speed",
    "Full mechanical advance at",
    units.SPEED,
    source=DEFINITION,
    means="Lowest engine speed at which the distributor has all its mechanical advance in.",
    formula=r"a(n) = a_m",
    symbols=(("a, a_m", "mechanical advance, and the most of it", "deg"),),
    working="{curve_top}",
    validity="at the points of the curve as measured",
    inputs=("curve_top",),
)(unchanged)


@define.figure(
    "light_load_timing",
    "Timing with vacuum advance",
    units.ANGLE,
    source=DEFINITION,
    means="Spark advance before TDC at high speed and light load, the vacuum advance full on.",
    formula=r"\alpha + a_v",
    symbols=((r"\alpha", "total timing by the curve", "deg"),),
    working="{timing_by_curve} + {vacuum_advance}",
    validity="at the vacuum that gives all of it; never at full throttle",
    applies=lambda build: build.get(f"{_DISTRIBUTOR}.vacuum.most") is not None,
)
def light_load_timing(timing_by_curve: Value, vacuum_advance: Value) -> Value:
    """Return the timing with all of the vacuum advance [deg before TDC]."""
    return unwrap_scalar(np.asarray(timing_by_curve) + np.asarray(vacuum_advance))
