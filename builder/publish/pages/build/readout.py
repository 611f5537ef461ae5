"""What can be read off a chart of a page: the numbers behind its curves, as data that the page's script reads.

The data is next to the chart as JSON; `site_templates/assets/charts.js` reads it, and DEVELOPERS.md describes it.
Numbers are whole multiples of the last digit shown, so that what is read off is what the data files hold.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from builder.draw.drawing import Drawing
from builder.figures.core.display_units import DisplayUnit, System

Floats = npt.NDArray[np.float64]
_MAX_POINTS = 90
"""Speeds that a curve can be read off at; of a finer grid every second (third, ...) is offered."""


@dataclass(frozen=True)
class ReadoutSeries:
    """One line of a chart: its name, what it is (as in "as delivered"), and whether it is shown at first.

    ``leads``: it is the one that the page describes.
    """

    name: str
    note: str = ""
    shown: bool = True
    leads: bool = False


@dataclass(frozen=True)
class ReadoutUnit:
    """The unit of a quantity in one system, and with how many decimals it is shown."""

    system: System
    label: str
    decimals: int


@dataclass(frozen=True, eq=False)
class ReadoutPanel:
    """One quantity of a chart.

    ``values`` holds, for each series, the values along the readout's speeds in each of the units, NaN for gaps;
    ``half_widths`` the same for the ± of each value, where there is one. ``signed``: a difference.
    """

    title: str
    units: tuple[ReadoutUnit, ...]
    values: tuple[tuple[Floats, ...], ...]
    half_widths: tuple[tuple[Floats, ...], ...] = ()
    signed: bool = False


@dataclass(frozen=True, eq=False)
class Readout:
    """What can be read off a chart along its horizontal axis, at each of ``x`` (engine speeds in rpm).

    ``start`` is the value of ``x`` at which the page shows the numbers before anybody has moved the line.
    """

    x: Floats
    series: tuple[ReadoutSeries, ...]
    panels: tuple[ReadoutPanel, ...]
    start: float

    @property
    def start_index(self) -> int:
        """The index in ``x`` that is nearest to ``start``."""
        return int(np.argmin(np.abs(self.x - self.start)))

    def texts(self, panel: ReadoutPanel, series: int) -> list[str]:
        """Return the value of a series at the start in each unit, empty where there is none."""
        values = [unit_values[self.start_index] for unit_values in panel.values[series]]
        pairs = zip(values, panel.units, strict=True)
        return [
            f"{value:,.{unit.decimals}f}".replace("-", "−") if math.isfinite(value) else "" for value, unit in pairs
        ]

    def json(self, drawing: Drawing) -> str:
        """Return the data for the page's script, with where the axes are in each form of the drawing."""
        data: dict[str, Any] = {
            "x": {"title": "Engine speed", "unit": "rpm", "values": _steps(self.x, 0), "at": self.start_index},
            "series": [[series.name, series.note, int(series.shown)] for series in self.series],
            "panels": [_panel(panel) for panel in self.panels],
            "forms": [[form.width, form.height, [list(area) for area in form.plots]] for form in drawing.forms],
        }
        text = json.dumps(data, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
        for character in "<>&\u2028\u2029":
            text = text.replace(character, f"\\u{ord(character):04x}")
        return text


def _panel(panel: ReadoutPanel) -> dict[str, Any]:
    data: dict[str, Any] = {
        "title": panel.title,
        "units": [[unit.system, unit.label, unit.decimals] for unit in panel.units],
        "values": _all_steps(panel.values, panel.units),
    }
    if panel.half_widths:
        data["half"] = _all_steps(panel.half_widths, panel.units)
    if panel.signed:
        data["signed"] = 1
    return data


def _all_steps(values: Iterable[Sequence[Floats]], units: Sequence[ReadoutUnit]) -> list[list[list[int | None]]]:
    return [[_steps(along, unit.decimals) for along, unit in zip(in_units, units, strict=True)] for in_units in values]


def _steps(values: Floats, decimals: int) -> list[int | None]:
    """Return values as multiples of their last digit, each as the step from the one before: small and repetitive."""
    steps: list[int | None] = []
    previous = 0
    for value in values.tolist():
        if not math.isfinite(value):
            steps.append(None)
            continue
        count = round(float(f"{value:.{decimals}f}") * 10**decimals)
        steps.append(count - previous)
        previous = count
    return steps


def readout_units(unit: DisplayUnit, system: System, *, both: bool) -> tuple[ReadoutUnit, ...]:
    """Return the unit of a quantity in this system and, where the page shows both and they differ, in the other."""
    other: System = "metric" if system == "inch" else "inch"
    systems = (system, other) if both and unit.label(other) != unit.label(system) else (system,)
    return tuple(ReadoutUnit(one, unit.label(one), unit.scale(one).decimals) for one in systems)


def in_units(unit: DisplayUnit, units: Sequence[ReadoutUnit], values: npt.ArrayLike) -> tuple[Floats, ...]:
    """Return values [SI] in each of the units."""
    si = np.asarray(values, dtype=np.float64)
    return tuple(
        (unit.number(1.0, one.system) - unit.number(0.0, one.system)) * si + unit.number(0.0, one.system)
        for one in units
    )


def reading_speeds(speeds: Iterable[Floats]) -> Floats:
    """Return the speeds [rpm] to read off at: those of all the curves, thinned evenly where there are very many."""
    rounded = [np.round(along, 3) for along in speeds]
    every = np.unique(np.concatenate(rounded)) if rounded else np.empty(0)
    step = math.ceil(every.size / _MAX_POINTS)
    return every if step < 2 else np.unique(np.concatenate([every[::step], *(along[[0, -1]] for along in rounded)]))


def at_speeds(x: Floats, speed: Floats, values: Floats) -> Floats:
    """Return the values of a curve at those of ``x`` that are among its speeds [rpm], NaN at the others."""
    if not speed.size:
        return np.full(x.shape, np.nan)
    index = np.clip(np.searchsorted(speed, x - 5e-4), 0, speed.size - 1)
    return np.where(np.abs(speed[index] - x) < 1e-3, values[index], np.nan)


def between_speeds(x: Floats, speed: Floats, values: Floats) -> Floats:
    """Return the values of a curve at ``x``, between its points by a straight line, NaN beyond its ends."""
    return np.interp(x, speed, values, left=np.nan, right=np.nan)
