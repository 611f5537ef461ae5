"""Inputs with a value for each state of the engine on the dyno, the delivered state first."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from builder.engine import uncertainty
from builder.engine.validation import Array
from builder.figures.core import display_units as units
from builder.figures.core.display_units import DisplayUnit, System
from builder.figures.core.inputs import Context, Input
from builder.figures.core.types import MEASURED, TYPICAL, InputValue, RootReading
from builder.figures.dyno.engine_state import EngineState
from builder.figures.dyno.pull import PullResult
from builder.figures.dyno.session import DynoSession, analyse_session
from builder.record.models.build import Build

PullValue = Callable[[PullResult], float | None]
PullText = Callable[[PullResult, System], str]
StateValue = Callable[[EngineState], float | None]
StateText = Callable[[EngineState, System], str]

LOG = "dyno.pulls (with a log that can be counted)"
FUEL_LOG = "dyno.pulls (with fuel flow in the log; by volume it needs build.yaml: engine.fuel)"


def session_of(context: Context) -> DynoSession | None:
    """Return the dyno session of a build; None where no pull has a log."""
    return context.cached(_analyse)


def _analyse(context: Context) -> DynoSession | None:
    return context.guard.run("the dyno session", lambda: analyse_session(context.build, context.shop), None)


def per_pull(
    name: str,
    label: str,
    symbol: str,
    display_unit: DisplayUnit,
    path: str,
    value_of: PullValue,
    text_of: PullText | None = None,
    *,
    hint: str = "",
    applies: Callable[[tuple[PullResult, ...]], bool] = lambda pulls: True,
    is_uncertainty_known: bool = True,
) -> Input:
    """Return an input with the mean over its pulls for each state of the engine, in sessions that it applies to.

    ``path`` says what the record should hold. ``text_of`` is the text of a state with a single pull.
    """

    def state_text(state: EngineState, system: System) -> str:
        if text_of is not None and len(state.pulls) == 1:
            return text_of(state.last, system)
        return display_unit.text(state.mean_of(value_of) or 0.0, system)

    return per_state(
        name,
        label,
        symbol,
        display_unit,
        path,
        lambda state: state.mean_of(value_of),
        state_text,
        hint=hint,
        applies=applies,
        is_uncertainty_known=is_uncertainty_known,
    )


def fuel_per_pull(name: str, label: str, value_of: PullValue, text_of: PullText | None = None) -> Input:
    """Return an input of fuel by mass; what was logged by volume takes a typical density where none is recorded."""
    logged = per_pull(name, label, "m_f", units.MASS_FLOW, FUEL_LOG, value_of, text_of, is_uncertainty_known=False)
    read = logged.get
    assert read is not None  # every input of a pull has one

    def get(context: Context, item: Input) -> InputValue | None:
        value = read(context, item)
        by_volume = any(
            "fuel_flow_volume" in log.channels and "fuel_flow" not in log.channels
            for log in context.build.logs.values()
        )
        return with_typical_density(value, context.build) if value is not None and by_volume else value

    return replace(logged, get=get)


def with_typical_density(value: InputValue, build: Build) -> InputValue:
    """Return a flow that was measured by volume, marked as resting on a typical density where the record has none."""
    fuel = build.build.engine.fuel
    if fuel is None or fuel.density is not None:
        return value
    density = RootReading(f"density of {fuel.kind}", TYPICAL)
    return replace(value, provenance=TYPICAL, readings=(*value.root_readings, density), is_uncertainty_known=False)


def per_state(
    name: str,
    label: str,
    symbol: str,
    display_unit: DisplayUnit,
    path: str,
    value_of: StateValue,
    text_of: StateText | None = None,
    *,
    uncertainty_of: StateValue | None = None,
    hint: str = "",
    applies: Callable[[tuple[PullResult, ...]], bool] = lambda pulls: True,
    is_uncertainty_known: bool = True,
) -> Input:
    """Return an input with a value for each state of the engine, in sessions that it applies to.

    It is missing where the delivered state has no value. ``path`` says what the record should hold.
    ``uncertainty_of`` returns the half width of the 95 % interval; ``is_uncertainty_known`` is False for what a sensor
    logged of which nothing else is recorded.
    """

    def get(context: Context, item: Input) -> InputValue | None:
        session, system = session_of(context), context.system
        states = session.states if session else ()
        values = _known(states, value_of)
        # A figure describes the engine as delivered: what only other states have is not its value.
        if session is None or not np.isfinite(values[:1]).any() or not applies(session.counted):
            return None
        texts = tuple(
            "not known"
            if not np.isfinite(value)
            else text_of(state, system)
            if text_of
            else display_unit.text(float(value), system)
            for state, value in zip(states, values, strict=True)
        )
        contributions = {}
        if uncertainty_of is not None:
            contributions = uncertainty.root(name, _known(states, uncertainty_of) / uncertainty.COVERAGE)
        return item.value(
            values,
            texts,
            MEASURED,
            labels=tuple(state.label for state in states),
            contributions=contributions,
            has_stated_resolution=uncertainty_of is not None,
            is_uncertainty_known=is_uncertainty_known,
            where=context.build.where(item.path),
        )

    return Input(name, label, symbol, display_unit, path, "pull", get=get, hint=hint)


def _known(states: Sequence[EngineState], value_of: StateValue) -> Array:
    values = [value_of(state) for state in states]
    return np.array([np.nan if value is None else value for value in values], dtype=np.float64)
