"""Figures of how certain the result is: the expanded uncertainty of peak power and torque as delivered."""

from __future__ import annotations

import numpy as np

from builder.engine.validation import Value, unwrap_scalar
from builder.figures.core import display_units as units
from builder.figures.core.inputs import Context, Input
from builder.figures.core.registry import GUM, POWER, Definitions
from builder.figures.core.types import MEASURED, InputValue
from builder.figures.definitions.pull_inputs import LOG, session_of
from builder.figures.dyno.engine_state import EngineState
from builder.figures.dyno.uncertainty_budget import result_budget
from builder.record.models.build import Build


def _has_pulls(build: Build) -> bool:
    return bool(build.logs)


define = Definitions(POWER, applies=_has_pulls)

_VALIDITY = (
    "the engine as delivered; 95 %; the influences of the budget on the dyno sheet: what is not recorded, such as the "
    "calibration, is not in it, and the result is less certain than this"
)


def _delivered(context: Context) -> EngineState | None:
    session = session_of(context)
    state = session.delivered if session else None
    return state if state is not None and state.peak_torque.value > 0 else None


@define.computed_input("result_uncertainty", "expanded uncertainty over the result", "U_r", units.PERCENT, LOG)
def _result_uncertainty(context: Context, item: Input) -> InputValue | None:
    state = _delivered(context)
    if state is None:
        return None
    relative = result_budget(context.build, context.shop, state).budget.expanded()
    return item.value(relative, (item.display_unit.text(relative, context.system),), MEASURED)


@define.computed_input("delivered_power", "peak power as delivered", "P_e", units.POWER, LOG)
def _delivered_power(context: Context, item: Input) -> InputValue | None:
    state = _delivered(context)
    if state is None:
        return None
    value = state.peak_power.value
    return item.value(value, (item.display_unit.text(value, context.system),), MEASURED)


@define.computed_input("delivered_torque", "peak torque as delivered", "T_e", units.TORQUE, LOG)
def _delivered_torque(context: Context, item: Input) -> InputValue | None:
    state = _delivered(context)
    if state is None:
        return None
    value = state.peak_torque.value
    return item.value(value, (item.display_unit.text(value, context.system),), MEASURED)


@define.figure(
    "power_uncertainty",
    "Uncertainty of peak power",
    units.POWER,
    source=GUM,
    means="The true peak power lies within this of the result, either way, in 95 of 100 cases.",
    formula=r"U_r \, P_e",
    working="{result_uncertainty} × {delivered_power}",
    validity=_VALIDITY,
)
def power_uncertainty(result_uncertainty: Value, delivered_power: Value) -> Value:
    """Return the expanded uncertainty of peak power as delivered [W]."""
    return unwrap_scalar(np.asarray(result_uncertainty) * np.asarray(delivered_power))


@define.figure(
    "torque_uncertainty",
    "Uncertainty of peak torque",
    units.TORQUE,
    source=GUM,
    means="The true peak torque lies within this of the result, either way, in 95 of 100 cases.",
    formula=r"U_r \, T_e",
    working="{result_uncertainty} × {delivered_torque}",
    validity=_VALIDITY,
)
def torque_uncertainty(result_uncertainty: Value, delivered_torque: Value) -> Value:
    """Return the expanded uncertainty of peak torque as delivered [N m]."""
    return unwrap_scalar(np.asarray(result_uncertainty) * np.asarray(delivered_torque))
