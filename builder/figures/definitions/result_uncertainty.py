"""Figures of how certain the result is: the expanded uncertainty of peak power and torque as delivered."""

from __future__ import annotations

import numpy as np

from builder.engine.validation import Value, unwrap_scalar
from builder.figures.core import display_units as units
from builder.figures.core.inputs import Context, Input
from builder.figures.core.registry import GUM, POWER, Definitions
from builder.figures.core.types import MEASURED, InputValue
from builder.figures.definitions.pull_inputs import LOG, session_of
from builder.figures.dyno.engine_state import EngineState, StatePeak
from builder.record.models.build import Build


def _has_pulls(build: Build) -> bool:
    return bool(build.logs)


define = Definitions(POWER, applies=_has_pulls)

_VALIDITY = (
    "the engine as delivered; what the budget names as not recorded, such as the calibration of the dyno, is not in "
    "it, and the result is less certain than this"
)


def _delivered(context: Context) -> EngineState | None:
    session = session_of(context)
    state = session.delivered if session else None
    return state if state is not None and state.peak_torque.value > 0 else None


def _share(peak: StatePeak, item: Input, context: Context) -> InputValue:
    """Return the half width of a peak's 95 % interval over the peak."""
    share = peak.half_width / peak.value
    return item.value(share, (item.display_unit.text(share, context.system),), MEASURED)


@define.computed_input("power_uncertainty_share", "expanded uncertainty over peak power", "U_r", units.PERCENT, LOG)
def _power_uncertainty_share(context: Context, item: Input) -> InputValue | None:
    state = _delivered(context)
    return None if state is None else _share(state.peak_power, item, context)


@define.computed_input("torque_uncertainty_share", "expanded uncertainty over peak torque", "U_r", units.PERCENT, LOG)
def _torque_uncertainty_share(context: Context, item: Input) -> InputValue | None:
    state = _delivered(context)
    return None if state is None else _share(state.peak_torque, item, context)


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
    means="95 % interval of peak power, either way, from the influences of the budget on the dyno sheet.",
    formula=r"U_r \, P_e",
    working="{power_uncertainty_share} × {delivered_power}",
    validity=_VALIDITY,
)
def power_uncertainty(power_uncertainty_share: Value, delivered_power: Value) -> Value:
    """Return the expanded uncertainty of peak power as delivered [W]."""
    return unwrap_scalar(np.asarray(power_uncertainty_share) * np.asarray(delivered_power))


@define.figure(
    "torque_uncertainty",
    "Uncertainty of peak torque",
    units.TORQUE,
    source=GUM,
    means="95 % interval of peak torque, either way, from the influences of the budget on the dyno sheet.",
    formula=r"U_r \, T_e",
    working="{torque_uncertainty_share} × {delivered_torque}",
    validity=_VALIDITY,
)
def torque_uncertainty(torque_uncertainty_share: Value, delivered_torque: Value) -> Value:
    """Return the expanded uncertainty of peak torque as delivered [N m]."""
    return unwrap_scalar(np.asarray(torque_uncertainty_share) * np.asarray(delivered_torque))
