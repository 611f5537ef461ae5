"""How the working of a figure reads: the numbers put in, signs tidied, the position it is worked for."""

from __future__ import annotations

import re
from collections.abc import Mapping
from statistics import median
from typing import Any

import numpy as np
import numpy.typing as npt

from builder.engine.fits import odd_one_out
from builder.figures.core.display_units import DisplayUnit, System
from builder.figures.core.types import Axis

_NONE = "\0"
_NAMED = ("side", "speed", "pull", "joint", "fit", "part", "channel")
"""Kinds of position whose labels say by themselves what they are."""
_NUMBER = r"−[0-9.]+(?:\N{NO-BREAK SPACE}[^\s()]+|°)?"
_TIDY = (
    (re.compile(rf" [+−] {_NONE}"), ""),  # an optional term that the record does not hold counts nothing
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


def working(pattern: str, texts: Mapping[str, str], result: str, place: str) -> str:
    """The formula with the numbers put in, and what comes of it.

    A figure that is one reading as it was taken is not followed by itself.
    """
    filled = pattern.format_map(_OrNone(texts))
    for found, instead in _TIDY:
        filled = found.sub(instead, filled)
    filled = filled.replace(_NONE, "0 (none recorded)")
    if not _ARITHMETIC.search(filled) and _unit(filled) == _unit(result):
        return f"{place}{filled}"
    return f"{place}{filled} = {result}"


def _unit(text: str) -> str | None:
    match = _UNIT.search(text)
    return match[1] if match else None


def place(axis: Axis, index: int) -> str:
    """`cylinder 3: `, `at 0.050 in: `, `intake: `."""
    label = axis.labels[index]
    if axis.kind in ("lift", "valve lift", "crank angle"):
        return f"at {label}: "
    return f"{label}: " if axis.kind in _NAMED else f"{axis.kind} {label}: "


def shown_at(kind: str, values: npt.NDArray[np.float64]) -> int:
    """The position whose working is shown: the one that stands for the whole, else the first."""
    if kind == "most":
        return int(np.argmax(values))
    return int(np.argmin(values)) if kind == "least" else 0


def headline(kind: str, values: npt.NDArray[np.float64]) -> float:
    """The value that stands for all positions."""
    return float(values[shown_at(kind, values)]) if kind in ("first", "most", "least") else float(np.mean(values))


def with_uncertainty(shown: DisplayUnit, value: float, expanded: float, system: System) -> str:
    """`10.42 ± 0.05`, with a digit more where that is what it takes, unless the uncertainty is lost even in that."""
    finest = shown.rounding_step(expanded, system)
    spread = shown.spread(expanded, system, finest)
    if float(spread) == 0:
        closer = shown.with_extra_decimal()
        spread = closer.spread(expanded, system, finest)
        if float(spread) == 0:
            return shown.text(value, system, finest)
        shown = closer
    whole = shown.text(value, system, finest)
    number = shown.text(value, system, finest, with_unit=False)
    unit = whole.removeprefix(number)
    return f"{number} ± {spread}{unit if unit != ':1' else ''}"


def outlier_index(values: npt.NDArray[np.float64], step: float) -> int | None:
    """The position that stands apart from all others, if one does: not by a last digit, nor by scatter alone.

    It lies more than three times as far from the middle as the next, and further than ``step``, one unit of the
    last digit that means anything.
    """
    middle = median(values.tolist())
    distances = sorted(abs(value - middle) for value in values.tolist())
    if len(distances) < 3 or not distances[-1] > max(3 * distances[-2], step) * (1 + 1e-6):
        return None
    return odd_one_out(values)


def broadcast_contributions(contributions: Mapping[str, Any], count: int) -> dict[str, Any]:
    """Contributions with one entry for each position."""
    return {
        name: part if np.shape(part) == (count,) else np.full(count, part, dtype=np.float64)
        for name, part in contributions.items()
    }
