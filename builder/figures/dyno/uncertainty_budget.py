"""The uncertainty of peak torque and power: the dyno's calibration, its resolution, the air, and the repeats."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Literal

from builder.engine.air import Air, vapor_pressure
from builder.engine.correction import OBSERVED, Correction, correct
from builder.engine.uncertainty import from_resolution, partials
from builder.engine.uncertainty_budget import Influence, UncertaintyBudget
from builder.figures.core.instruments import CERTIFICATE_COVERAGE, difference_in, instrument_of
from builder.figures.dyno.engine_state import EngineState
from builder.record.models.build import Build
from builder.record.models.dyno import Conditions
from builder.record.models.shop import Shop
from builder.record.quantities.units import Quantity

Origin = Literal["certificate", "calibration", "instrument", "written", "log", "repeats", "readings"]
"""Where an uncertainty comes from: written is the last digit of the record, log that of the log."""


@dataclass(frozen=True, kw_only=True)
class BudgetRow:
    """One influence on the result over that result [-], and where its uncertainty comes from."""

    influence: Influence
    origins: tuple[Origin, ...]


@dataclass(frozen=True, kw_only=True)
class ResultBudget:
    """The budget of torque and power as delivered, relative to them [-].

    Both have the same one: the speed is taken as exactly known. ``missing``: influences of which the
    record says nothing, so that the result is less certain than the budget.
    """

    rows: tuple[BudgetRow, ...]
    missing: tuple[str, ...]

    @property
    def budget(self) -> UncertaintyBudget:
        """Return the budget of the rows."""
        return UncertaintyBudget(tuple(row.influence for row in self.rows))


_AIR_READINGS: Mapping[str, tuple[str, tuple[str, ...]]] = {
    "Barometer": ("pressure", ("barometer",)),
    "Temperature": ("temperature", ("temperature",)),
    "Humidity": ("humidity", ("relative_humidity", "wet_bulb", "dew_point", "vapor_pressure")),
}
"""The rows of the air in a budget: the reading, and the fields that may hold it."""


def result_budget(build: Build, shop: Shop, delivered: EngineState) -> ResultBudget:
    """Return the budget of the delivered state's torque and power, relative to them [-].

    The readings scatter about the peak of torque; about that of power they scatter as much, unless the pulls end there.
    """
    shared = _shared_budget(build, shop, delivered)
    scatter, peak = delivered.scatter, delivered.peaks.torque
    repeats = Influence(
        name="Repeatability",
        standard_uncertainty=scatter.relative / math.sqrt(len(delivered.averaged_pulls)),
        sensitivity=1.0,
        freedom=scatter.freedom,
    )
    readings = Influence(
        name="Scatter of the readings",
        standard_uncertainty=peak.deviation,
        sensitivity=1 / peak.value if peak.value > 0 else 0.0,
        freedom=peak.freedom,
    )
    own = (
        BudgetRow(influence=repeats, origins=("repeats",)),
        BudgetRow(influence=readings, origins=("readings",)),
    )
    return replace(shared, rows=(*shared.rows, *own))


def shared_uncertainty(build: Build, shop: Shop, state: EngineState) -> float:
    """Return the standard uncertainty of what repeating a pull does not show, over the torque [-].

    It is that of the dyno's calibration and resolution and of the air that the readings were corrected with, as far as
    the record has them.
    """
    return _shared_budget(build, shop, state).budget.combined


def _shared_budget(build: Build, shop: Shop, state: EngineState) -> ResultBudget:
    rows, missing = [], []
    calibration = _calibration(build, shop, state)
    if calibration is None:
        missing.append("calibration of the dyno")
    else:
        rows.append(calibration)
    rows.append(_torque_resolution(build, shop, state))
    correction = state.last.correction
    if correction is not None and correction.stated is not correction.target:
        air = tuple(_air(build, shop, state, correction))
        rows += air
        named = {row.influence.name for row in air}
        missing += [f"{name.lower()}, which is only in the log" for name in _AIR_READINGS if name not in named]
        if state.conditions.is_turned_to_height:
            missing.append("turning the barometer from sea level to the height of the dyno")
    if correction is not None and correction.stated is not OBSERVED:
        missing.append(f"the correction to {correction.stated.name} that the readings came with")
    return ResultBudget(rows=tuple(rows), missing=tuple(missing))


def _calibration(build: Build, shop: Shop, state: EngineState) -> BudgetRow | None:
    """Return the error found with masses and the uncertainty of the instrument; None where neither is recorded."""
    parts: list[float] = []
    origins: list[Origin] = []
    machine = build.dyno.machine if build.dyno else None
    if machine and machine.calibration and machine.calibration.error_found is not None:
        parts.append(machine.calibration.error_found.si / math.sqrt(3))
        origins.append("calibration")
    torque = state.last.peaks.torque.value
    instrument = instrument_of(shop, build.dyno.instrument if build.dyno else None)
    expanded = difference_in(instrument.expanded_uncertainty, "torque", torque) if instrument else None
    if expanded is not None and torque > 0:
        parts.append(expanded / CERTIFICATE_COVERAGE / torque)
        origins.append("certificate")
    if not parts:
        return None
    row = Influence(name="Calibration", standard_uncertainty=math.hypot(*parts), sensitivity=1.0)
    return BudgetRow(influence=row, origins=tuple(origins))


def _torque_resolution(build: Build, shop: Shop, state: EngineState) -> BudgetRow:
    torque = state.last.peaks.torque.value
    instrument = instrument_of(shop, build.dyno.instrument if build.dyno else None)
    step = difference_in(instrument.resolution, "torque", torque) if instrument else None
    origin: Origin = "log" if step is None else "instrument"
    uncertainty = float(from_resolution(state.last.resolution.step if step is None else step))
    row = Influence(name="Resolution", standard_uncertainty=uncertainty, sensitivity=1 / torque if torque > 0 else 0.0)
    return BudgetRow(influence=row, origins=(origin,))


def _air(build: Build, shop: Shop, state: EngineState, correction: Correction) -> Iterator[BudgetRow]:
    """Yield barometer, temperature and humidity, each with the slope of the logarithm of the correction factor."""
    ambient = state.conditions
    if ambient.pressure is None or ambient.temperature is None or ambient.humidity is None:
        return
    form = ambient.humidity_form or "relative_humidity"
    values = {"pressure": ambient.pressure, "temperature": ambient.temperature, "humidity": ambient.humidity}

    def logarithm(pressure: float, temperature: float, humidity: float) -> float:
        vapor = float(vapor_pressure(pressure, temperature, **{form: humidity}))
        return math.log(correct(Air(pressure, temperature, vapor), correction.stated, correction.target).factor)

    slopes = partials(logarithm, values)
    for title, (name, fields) in _AIR_READINGS.items():
        uncertainty, origins = _reading(build, shop, state, name, fields)
        if origins:
            row = Influence(name=title, standard_uncertainty=uncertainty, sensitivity=float(slopes[name]))
            yield BudgetRow(influence=row, origins=origins)


def _reading(
    build: Build, shop: Shop, state: EngineState, name: str, fields: tuple[str, ...]
) -> tuple[float, tuple[Origin, ...]]:
    """Return the standard uncertainty of one reading of the air [SI] and where it comes from.

    A pull that gives its own reading and no instrument was read with that of the session.
    """
    blocks: tuple[Conditions | None, ...] = (
        state.last.record.conditions,
        build.dyno.conditions if build.dyno else None,
    )
    cited = (
        getattr(block.instruments, "barometer" if name == "pressure" else name)
        for block in blocks
        if block is not None and block.instruments is not None
    )
    instrument = instrument_of(shop, next((one for one in cited if one is not None), None))
    for block in blocks:
        for field in fields if block is not None else ():
            quantity: Quantity | None = getattr(block, field)
            if block is None or quantity is None:
                continue
            expanded, step = (
                difference_in(stated, quantity.dimension, quantity.si)
                for stated in ((instrument.expanded_uncertainty, instrument.resolution) if instrument else (None, None))
            )
            resolution = float(from_resolution(step if step is not None else quantity.step))
            origins: tuple[Origin, ...] = ("written",) if step is None else ("instrument",)
            if expanded is None:
                return resolution, origins
            return math.hypot(resolution, expanded / CERTIFICATE_COVERAGE), ("certificate", *origins)
    return 0.0, ()
