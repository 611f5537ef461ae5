"""Positions of figures: which ones inputs share, an input at some of them, a figure at every one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from builder.engine.validation import Array
from builder.figures.core.display_units import System
from builder.figures.core.registry import Missing
from builder.figures.core.types import Axis, FigureDefinition, FigureDescription, FigurePosition, InputValue

_INDEPENDENT_AXES = ("joint", "fit", "part", "pull", "channel")
"""Kinds of position that have nothing to do with each other."""


def figure_positions(
    description: FigureDescription, axis: Axis, values: Array, rounding: Array, system: System, other: System | None
) -> tuple[FigurePosition, ...]:
    """Return the figure at every position.

    Positions of one kind are written with the same number of decimals; joints and fits each with their own.
    Only joints have the other system at every position; elsewhere the figure has it once.
    """
    unit = description.display_unit
    steps = rounding.tolist() if axis.kind in _INDEPENDENT_AXES else [float(rounding.max())] * len(values)
    numbers = unit.texts(values.tolist(), system, steps, with_unit=False)
    unit_texts = [unit.label(system)] * len(values)
    alternates: list[str | None] = [None] * len(values)
    if other and axis.kind == "joint":
        alternates = [*unit.texts(values.tolist(), other, steps)]
    shown = [unit.as_shown(value, system, step) for value, step in zip(values.tolist(), steps, strict=True)]
    digits = [unit.last_digit(system, step) for step in steps]
    places = axis.places or (None,) * len(values)
    columns = (axis.labels, values.tolist(), numbers, unit_texts, shown, digits, alternates, places)
    return tuple(map(FigurePosition, *columns))


def at_positions(value: InputValue, axis: Axis, indices: np.ndarray[Any, np.dtype[np.intp]]) -> InputValue:
    """Return an input at some of the positions of an axis."""
    if value.axis != axis:
        return value
    return replace(
        value,
        values=np.asarray(value.values)[indices],
        texts=tuple(value.texts[index] for index in indices) if len(value.texts) == len(axis.labels) else value.texts,
        axis=axis.at(indices),
        contributions={
            name: np.asarray(part)[indices] if np.ndim(part) else part for name, part in value.contributions.items()
        },
    )


def common_axis(definition: FigureDefinition, inputs: Mapping[str, InputValue]) -> Axis | None:
    """Return the positions that all inputs share. Raises Missing where they share none."""
    axes = [value.axis for value in inputs.values() if value.axis is not None]
    if definition.axis is not None:
        axes = [axis for axis in axes if axis.kind == definition.axis]
    if not axes:
        return None
    if all(axis is axes[0] or axis == axes[0] for axis in axes):
        return axes[0]
    kind = axes[0].kind
    sets = [set(axis.labels) for axis in axes if axis.kind == kind]
    shared = [index for index, label in enumerate(axes[0].labels) if all(label in members for members in sets)]
    if not shared:
        raise Missing(f"the same {kind} for {' and '.join(value.label for value in inputs.values() if value.axis)}")
    return axes[0].at(shared)
