"""The power chart of a build: on the page with a legend that the curves can be read off in, and as a picture."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from builder.draw.charts.power import Peak, PowerCurves, PullCurves, power_curves
from builder.figures.core import display_units as units
from builder.figures.core.display_units import DisplayUnit, System
from builder.figures.core.registry import POWER
from builder.figures.dyno.engine_state import EngineState, StatePeak
from builder.figures.dyno.session import DynoSession
from builder.publish.pages.build.page_chart import PageChart
from builder.publish.pages.build.readout import (
    Readout,
    ReadoutPanel,
    ReadoutSeries,
    at_speeds,
    in_units,
    reading_speeds,
    readout_units,
)

ON_PAGE = "power_chart"
"""The name of the chart that is part of the page."""
AS_PICTURE = "power_curves"
"""The name of the chart that names its curves itself: a file of the page, and for PDFs."""


def power_charts(session: DynoSession, system: System, *, both: bool) -> Iterator[PageChart]:
    """Yield the power chart of the page and the one by itself; `both`: read off in both systems of units."""
    states = sorted(session.states, key=lambda state: state.pulls[0].index)
    delivered, best = session.delivered, session.best
    assert delivered is not None
    before = session.before_after.before if session.before_after else None
    notes = [_note(state, states, delivered, best, before) for state in states]
    compared = [index for index, state in enumerate(states) if notes[index] and state is not delivered]
    data = PowerCurves(
        tuple(_curves(state, system, note) for state, note in zip(states, notes, strict=True)),
        states.index(delivered),
        tuple(compared),
        torque_unit=units.TORQUE.label(system),
        power_unit=units.POWER.label(system),
        cautions=tuple(f"{delivered.name}: {text}" for text in delivered.outside),
    )
    correction = f"corrected to {session.standard.name}" if session.is_corrected else "as logged, not corrected"
    caption = f"Torque and power, {correction}."
    if len(states) > 1:
        caption += " Bold: as delivered."
    if len(states) > len(compared) + 1:
        caption += " Gray: other pulls."
    on_page = power_curves.request(replace(data, labels=False), name=ON_PAGE, responsive=True)
    readout = _readout(states, notes, delivered, system, both=both)
    yield PageChart(POWER, on_page, caption, readout=readout, inline=True)
    yield PageChart(POWER, power_curves.request(data, name=AS_PICTURE), caption)


def _note(
    state: EngineState,
    states: Sequence[EngineState],
    delivered: EngineState,
    best: EngineState | None,
    before: EngineState | None,
) -> str:
    """Return what a state is among several: delivered, before the work (else the first), best; empty for any other."""
    if len(states) == 1:
        return ""
    if state is delivered:
        return "as delivered"
    if state is before:
        return "before the work"
    if state is best:
        return "best"
    return "first" if before is None and state is states[0] else ""


def _curves(state: EngineState, system: System, note: str) -> PullCurves:
    def number(unit: DisplayUnit, values: npt.ArrayLike) -> npt.NDArray[np.float64]:
        zero, one = unit.number(0.0, system), unit.number(1.0, system)
        return np.asarray(values, dtype=np.float64) * (one - zero) + zero

    def peak(state_peak: StatePeak, unit: DisplayUnit) -> Peak:
        return Peak(float(number(units.SPEED, state_peak.speed)), float(number(unit, state_peak.value)))

    return PullCurves(
        state.label,
        number(units.SPEED, state.corrected.speed),
        number(units.TORQUE, state.corrected.torque),
        number(units.POWER, state.corrected.power),
        number(units.SPEED, state.readings.speed),
        number(units.TORQUE, state.readings.torque),
        number(units.POWER, state.readings.power),
        peak(state.peak_torque, units.TORQUE),
        peak(state.peak_power, units.POWER),
        state.pulls[0].index,
        note,
    )


def _readout(
    states: Sequence[EngineState], notes: Sequence[str], delivered: EngineState, system: System, *, both: bool
) -> Readout:
    speeds = [units.SPEED.number(1.0, system) * state.corrected.speed for state in states]
    x = reading_speeds(speeds)

    def panel(title: str, unit: DisplayUnit, name: str) -> ReadoutPanel:
        shown_units = readout_units(unit, system, both=both)
        values = tuple(
            tuple(at_speeds(x, speed, along) for along in in_units(unit, shown_units, getattr(state.corrected, name)))
            for state, speed in zip(states, speeds, strict=True)
        )
        return ReadoutPanel(title, shown_units, values)

    return Readout(
        x,
        tuple(
            ReadoutSeries(state.label, note, bool(note) or len(states) == 1, state is delivered and len(states) > 1)
            for state, note in zip(states, notes, strict=True)
        ),
        (panel("Torque", units.TORQUE, "torque"), panel("Power", units.POWER, "power")),
        _round_speed(delivered, system),
    )


def _round_speed(state: EngineState, system: System) -> float:
    """Return a round speed between the peaks of torque and power, where the line is on neither peak's label [rpm]."""
    middle = (state.peak_torque.speed + state.peak_power.speed) / 2
    return 500 * round(units.SPEED.number(middle, system) / 500)
