"""The working of a figure as text: the formula with its numbers, signs tidied, and the position it is for."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from statistics import median
from typing import Any

import numpy as np

from builder.engine.clearances import farthest_from_median
from builder.engine.validation import Array
from builder.figures.core.display_units import DisplayUnit, System
from builder.figures.core.types import Axis, HeadlinePosition

_NONE = "\0"
_SELF_EXPLANATORY = ("side", "speed", "pull", "joint", "fit", "part", "channel")
"""Kinds of position whose labels need no kind in front."""
_NUMBER = r"−[0-9.]+(?:\N{NO-BREAK SPACE}[^\s()]+|°)?"
_TIDY = (
    (re.compile(rf" [+−] {_NONE}"), ""),  # an optional term that the record does not hold is left out
    (re.compile(rf"^{_NONE} − "), "−"),
    (re.compile(r"\+ −(?=[0-9.])"), "− "),
    (re.compile(r"− −(?=[0-9.])"), "+ "),
    (re.compile(rf"([×/]) ({_NUMBER})"), r"\1 (\2)"),
)
_ARITHMETIC = re.compile(r"[+×/]|\S − ")
_UNIT = re.compile(r"[0-9]\N{NO-BREAK SPACE}?([^0-9]*)$")


class _OrNone(dict[str, str]):
    """Marks an optional input that the record does not hold."""

    def __missing__(self, key: str) -> str:
        return _NONE


def working(pattern: str, texts: Mapping[str, str], result: str, prefix: str) -> str:
    """Return the formula with its numbers and the result.

    The result is left out where the figure is one reading as it was taken.
    """
    filled = pattern.format_map(_OrNone(texts))
    for untidy, replacement in _TIDY:
        filled = untidy.sub(replacement, filled)
    filled = filled.replace(_NONE, "0 (none recorded)")
    if not _ARITHMETIC.search(filled) and _unit(filled) == _unit(result):
        return f"{prefix}{filled}"
    return f"{prefix}{filled} = {result}"


def _unit(text: str) -> str | None:
    match = _UNIT.search(text)
    return match[1] if match else None


def position_prefix(axis: Axis, index: int) -> str:
    """Return what goes in front of the working of one position: `cylinder 3: `, `at 0.050 in: `, `intake: `."""
    label = axis.labels[index]
    if axis.kind in ("lift", "valve lift", "crank angle"):
        return f"at {label}: "
    return f"{label}: " if axis.kind in _SELF_EXPLANATORY else f"{axis.kind} {label}: "


def headline_index(kind: HeadlinePosition, values: Array) -> int:
    """Return the position whose working is shown: the one the figure's value is from, else the first."""
    if kind == "most":
        return int(np.argmax(values))
    return int(np.argmin(values)) if kind == "least" else 0


def headline(kind: HeadlinePosition, values: Array) -> float:
    """Return the figure's value from the values of its positions."""
    return float(np.mean(values)) if kind == "mean" else float(values[headline_index(kind, values)])


@dataclass(frozen=True)
class ShownNumber:
    """A value as it is shown: its text, that of its uncertainty, and both value and last digit in SI."""

    number: str
    uncertainty_text: str | None
    value: float
    step: float


def shown_number(unit: DisplayUnit, value: float, rounding: float, system: System) -> ShownNumber:
    """Return a value [SI] with the digits that ``rounding`` [SI] allows, without an uncertainty."""
    return ShownNumber(
        unit.text(value, system, rounding, with_unit=False),
        None,
        unit.as_shown(value, system, rounding),
        unit.last_digit(system, rounding),
    )


def number_and_uncertainty(unit: DisplayUnit, value: float, expanded: float, system: System) -> ShownNumber:
    """Return a value and its expanded uncertainty [SI] as `10.42` and `0.05`.

    Both have one more digit where the uncertainty needs it; an uncertainty that is nought even then is left out.
    """
    step = unit.rounding_step(expanded, system)
    for display_unit in (unit, unit.with_extra_decimal()):
        text = display_unit.uncertainty_text(expanded, system, step)
        if float(text) != 0:
            return replace(shown_number(display_unit, value, step, system), uncertainty_text=text)
    return shown_number(unit, value, step, system)


def outlier_index(values: Array, step: float) -> int | None:
    """Return the position that lies apart from all others, or None; neither a last digit nor scatter makes one.

    It lies more than three times as far from the median as the next, and further than ``step``, one unit of the
    last significant digit.
    """
    middle = median(values.tolist())
    distances = sorted(abs(value - middle) for value in values.tolist())
    if len(distances) < 3 or not distances[-1] > max(3 * distances[-2], step) * (1 + 1e-6):
        return None
    return farthest_from_median(values)


def broadcast_contributions(contributions: Mapping[str, Any], count: int) -> dict[str, Any]:
    """Return contributions with one entry for each position."""
    return {
        name: part if np.shape(part) == (count,) else np.full(count, part, dtype=np.float64)
        for name, part in contributions.items()
    }
