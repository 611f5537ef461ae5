"""Inputs with a value for each pull that counts, the best pull first."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from builder.figures.core.display_units import DisplayUnit, System
from builder.figures.core.inputs import Context, Input
from builder.figures.core.types import MEASURED, InputValue
from builder.figures.dyno.pull import PullResult
from builder.figures.dyno.session import DynoSession, analyse_session

PullValue = Callable[[PullResult], float | None]
PullText = Callable[[PullResult, System], str]

LOG = "dyno.pulls (with a log that can be counted)"
FUEL_LOG = "dyno.pulls (with fuel flow in the log; by volume it needs build.yaml: engine.fuel.density)"


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
) -> Input:
    """Return an input with a value for each pull that counts, in sessions that it applies to.

    ``path`` says what the record should hold.
    """

    def get(context: Context, item: Input) -> InputValue | None:
        session, system = session_of(context), context.system
        pulls = session.best_first if session else ()
        recorded = [value_of(pull) for pull in pulls]
        values = np.array([np.nan if value is None else value for value in recorded])
        if not np.isfinite(values).any() or not applies(pulls):
            return None
        texts = tuple(
            "not known"
            if not np.isfinite(value)
            else text_of(pull, system)
            if text_of
            else display_unit.text(float(value), system)
            for pull, value in zip(pulls, values, strict=True)
        )
        labels = tuple(pull.name for pull in pulls)
        return item.value(values, texts, MEASURED, labels=labels, where=context.build.where(item.path))

    return Input(name, label, symbol, display_unit, path, "pull", get=get, hint=hint)
