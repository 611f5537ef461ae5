"""The air of each pull, and what its readings are multiplied by to be in the shop's standard: once, never twice."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from builder.engine.air import Air, station_pressure, vapour_pressure
from builder.engine.correction import (
    DIN_70020,
    OBSERVED,
    STANDARDS,
    Correction,
    Standard,
    compression_ignition,
    compression_ignition_factor,
    correct,
)
from builder.engine.validation import Array
from builder.figures.core import display_units
from builder.figures.core.display_units import System, written_text
from builder.record.dyno_log.reader import DynoLog
from builder.record.models.build import Build
from builder.record.models.dyno import Conditions
from builder.record.problem import Problem
from builder.record.quantities.units import Quantity

HUMIDITY = ("relative_humidity", "wet_bulb", "dew_point", "vapour_pressure")
"""The forms in which humidity may be written down; one at a time."""

AS_LOGGED = replace(OBSERVED, slug="as-logged", name="as logged; whether corrected was not recorded")
"""Readings of which nobody wrote down whether they were corrected. They are shown, and never called observed."""

_DIESEL = ("un-r85-diesel", "iso-1585")
"""Standards that have a formula for compression ignition."""
_LOWEST_FUEL = {"un-r85-diesel": 40.0, "iso-1585": 37.2}
"""Least fuel [mg/(l cycle)] at which the engine factor still follows its line."""

Factor = Callable[[Array], Array]
"""What readings at each speed [rev/s] are multiplied by [-]."""


@dataclass(frozen=True)
class AmbientConditions:
    """The air of one pull: what was written down, and the state of the air if that is enough.

    ``pressure`` (station) [Pa], ``temperature`` [K], ``form`` and ``humidity`` (in SI) are None where nobody
    wrote them down. ``texts`` holds each as it was written; ``needs`` says what is missing.
    """

    pressure: float | None = None
    temperature: float | None = None
    humidity_form: str | None = None
    humidity: float | None = None
    air: Air | None = None
    texts: Mapping[str, str] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    needs: tuple[str, ...] = ()
    problems: tuple[Problem, ...] = ()


@dataclass(frozen=True)
class _RecordedCondition:
    name: str
    quantity: Quantity
    block: Conditions
    path: str


def ambient_conditions(build: Build, index: int, log: DynoLog, system: System) -> AmbientConditions:
    """The air of a pull: its own conditions field by field, else the session's, else what the log holds."""
    pressure, texts, told, problems = None, {}, [], list[Problem]()
    barometer = _recorded(build, index, "barometer")
    if barometer is not None:
        pressure, said = _station_pressure(barometer, system)
        texts["pressure"] = written_text(barometer.quantity)
        if pressure is None:
            problems.append(Problem(*build.where(barometer.path), said))
        elif said:
            told.append(said)
    elif (pressure := _logged_mean(log, "barometer")) is not None:
        texts["pressure"] = display_units.AIR_PRESSURE.text(pressure, system)
        told.append(f"barometer from the log, mean of its rows: {texts['pressure']}")
    warmth = _recorded(build, index, "temperature")
    temperature = warmth.quantity.si if warmth else _logged_mean(log, "air_temperature")
    if temperature is not None:
        texts["temperature"] = (
            written_text(warmth.quantity) if warmth else display_units.TEMPERATURE.text(temperature, system)
        )
        if warmth is None:
            told.append(f"air temperature from the log, mean of its rows: {texts['temperature']}")
    moisture = _recorded(build, index, *HUMIDITY)
    form = moisture.name if moisture else "relative_humidity"
    humidity = moisture.quantity.si if moisture else _logged_mean(log, "relative_humidity")
    if humidity is not None:
        texts["humidity"] = (
            written_text(moisture.quantity) if moisture else display_units.PERCENT.text(humidity, system)
        )
        if moisture is None:
            told.append(f"humidity from the log, mean of its rows: {texts['humidity']}")
    air, wrong = _air(pressure, temperature, form, humidity)
    if wrong:
        where = moisture or warmth or barometer
        place = build.where(where.path if where else f"dyno.pulls.{index}.file")
        problems.append(Problem(*place, f"the air of {build.pulls[index].name!r} cannot be: {wrong}"))
    wanted = (
        ("dyno.yaml: conditions.barometer, with barometer_is", pressure),
        ("dyno.yaml: conditions.temperature", temperature),
        ("dyno.yaml: conditions.relative_humidity (or wet_bulb, dew_point, vapour_pressure)", humidity),
    )
    needs = tuple(what for what, have in wanted if have is None)
    if air is None and not needs:
        needs = ("dyno.yaml: conditions that can all be true",)
    if humidity is None:
        form = None  # type: ignore[assignment]
    return AmbientConditions(pressure, temperature, form, humidity, air, texts, tuple(told), needs, tuple(problems))


def _recorded(build: Build, index: int, *names: str) -> _RecordedCondition | None:
    """The first of the fields that the pull, else the session, holds."""
    for path in (f"dyno.pulls.{index}.conditions", "dyno.conditions"):
        block: Conditions | None = build.pulls[index].conditions
        if path == "dyno.conditions":
            block = build.get(path)
        if block is None:
            continue
        for name in names:
            quantity = getattr(block, name)
            if quantity is not None:
                return _RecordedCondition(name, quantity, block, f"{path}.{name}")
    return None


def _station_pressure(found: _RecordedCondition, system: System) -> tuple[float | None, str]:
    """The barometer where the engine stood [Pa], and what to tell of it (what is wrong, if it cannot be)."""
    if found.block.barometer_is != "sea level" or found.block.altitude is None:
        return found.quantity.si, ""
    altitude = found.block.altitude
    try:
        pressure = float(station_pressure(found.quantity.si, altitude.si))
    except ValueError as refused:
        return None, f"the barometer cannot be turned to the room's height: {refused}"
    text = display_units.AIR_PRESSURE.text(pressure, system)
    return pressure, (
        f"barometer {written_text(found.quantity)} at sea level is {text} at {written_text(altitude)} "
        "(standard atmosphere)"
    )


def _logged_mean(log: DynoLog, slug: str) -> float | None:
    values = log.channels.get(slug)
    finite = values[np.isfinite(values)] if values is not None else np.empty(0)
    return float(finite.mean()) if finite.size else None


def _air(
    pressure: float | None, temperature: float | None, form: str, humidity: float | None
) -> tuple[Air | None, str]:
    if pressure is None or temperature is None or humidity is None:
        return None, ""
    try:
        given = {form: humidity}
        air = Air(pressure, temperature, float(vapour_pressure(pressure, temperature, **given)))
        return air if air.dry_pressure > 0 else None, ""
    except ValueError as refused:
        return None, str(refused)


@dataclass(frozen=True, eq=False)
class FuelFlow:
    """What UN R85 wants to know of a compression-ignition engine, along the speeds of a pull [rev/s].

    ``per_litre`` fuel [mg/(l cycle)], ``ratio`` boost over ambient pressure, both absolute [-].
    """

    speed: Array
    per_litre: Array
    pressure_ratio: Array
    turbocharged: bool

    def at(self, speed: float) -> tuple[float, float]:
        """Fuel and boost ratio at one speed."""
        return float(np.interp(speed, self.speed, self.per_litre)), float(
            np.interp(speed, self.speed, self.pressure_ratio)
        )


@dataclass(frozen=True, eq=False)
class AppliedCorrection:
    """How one pull's readings become results.

    ``factor``: from the readings as logged to the results; ``put_in``: from observed to the results, None where
    that is not known; ``standard``: what the results are in. With ``needs`` the pull could not be corrected and
    the results are in the standard the log was stated in.
    """

    standard: Standard
    factor: Factor
    target_factor: Factor | None
    needs: tuple[str, ...] = ()
    told: tuple[str, ...] = ()
    at: Callable[[float], Correction] | None = None


def target_standard(build: Build, correction: str) -> tuple[str, str]:
    """The shop's standard as it applies to this kind of engine, and a remark if that is another one."""
    compression = build.build.engine.ignition == "compression"
    if correction == "observed" or (compression and correction in _DIESEL):
        return correction, ""
    if compression:
        name = STANDARDS[correction].name
        return "un-r85-diesel", f"{name} has no formula here for compression ignition: UN Regulation 85 is used"
    if correction == "un-r85-diesel":
        return "iso-1585", "UN Regulation 85's formula for spark ignition is that of ISO 1585"
    return correction, ""


def applied_correction(
    build: Build, stated: str | None, wanted: str, day: AmbientConditions, fuelling: FuelFlow | tuple[str, ...]
) -> AppliedCorrection:
    """How to take readings in the stated standard to the wanted one, or why that cannot be.

    ``fuelling`` is that of a compression-ignition engine, or what it lacks.
    """
    compression = build.build.engine.ignition == "compression"
    if stated is None:
        return _as_stated(
            AS_LOGGED, ("dyno.yaml: readings (observed, or the standard the log was corrected to)",), None
        )
    if stated == "un-r85-diesel" and not compression:
        needs = "dyno.yaml: readings that go with build.yaml: engine.ignition (un-r85-diesel is for compression)"
        return _as_stated(AS_LOGGED, (needs,), None)
    air = day.air
    if air is None and {stated, wanted} <= {"observed", "din-70020"} and day.pressure and day.temperature:
        air = Air(day.pressure, day.temperature, 0.0)  # neither asks for the humidity
    out, put = (_factor_of(slug, air, day, fuelling, compression) for slug in (stated, wanted))
    if stated == wanted:
        known = None if isinstance(put, tuple) else put
        name = _standard(stated, fuelling, compression, None)
        return AppliedCorrection(name, np.ones_like, known, at=_correction(stated, wanted, air, fuelling, build))
    lacking = tuple(dict.fromkeys(need for each in (out, put) if isinstance(each, tuple) for need in each))
    if isinstance(out, tuple) or isinstance(put, tuple):
        back = out if not isinstance(out, tuple) else None
        return _as_stated(_standard(stated, fuelling, compression, None), lacking, back)
    dividing, putting = out, put

    def factor(speed: Array) -> Array:
        return np.asarray(putting(speed) / dividing(speed))

    name = _standard(wanted, fuelling, compression, None)
    return AppliedCorrection(name, factor, putting, at=_correction(stated, wanted, air, fuelling, build))


def _as_stated(standard: Standard, needs: tuple[str, ...], target_factor: Factor | None) -> AppliedCorrection:
    return AppliedCorrection(standard, np.ones_like, target_factor, needs)


def _factor_of(
    slug: str, air: Air | None, day: AmbientConditions, fuelling: FuelFlow | tuple[str, ...], compression: bool
) -> Factor | tuple[str, ...]:
    """The factor of a standard along the speeds, or what it lacks."""
    if slug == "observed":
        return np.ones_like
    if air is None:
        return day.needs
    if not compression:
        constant = STANDARDS[slug].factor(air)
        return lambda speed: np.full(np.shape(speed), constant)
    if slug not in _DIESEL:
        return (f"dyno.yaml: readings as observed ({STANDARDS[slug].name} has no formula for compression ignition)",)
    if isinstance(fuelling, tuple):
        return fuelling
    factors = np.asarray(
        compression_ignition_factor(
            air.dry_pressure,
            air.temperature,
            fuelling.per_litre,
            pressure_ratio=fuelling.pressure_ratio,
            turbocharged=fuelling.turbocharged,
            lowest_fuel=_LOWEST_FUEL[slug],
        )
    )
    return lambda speed: np.interp(speed, fuelling.speed, factors)


def _standard(slug: str, fuelling: FuelFlow | tuple[str, ...], compression: bool, speed: float | None) -> Standard:
    """A standard by its slug; for compression ignition as it is at one speed."""
    if slug == "observed" or not compression or slug not in _DIESEL:
        return STANDARDS[slug]
    fuel, ratio = (50.0, 1.0) if isinstance(fuelling, tuple) or speed is None else fuelling.at(speed)
    turbocharged = not isinstance(fuelling, tuple) and fuelling.turbocharged
    made = compression_ignition(fuel, pressure_ratio=ratio, turbocharged=turbocharged, lowest_fuel=_LOWEST_FUEL[slug])
    if slug == "iso-1585":
        return replace(made, slug="iso-1585-compression-ignition", name="ISO 1585, compression ignition")
    return made


def _correction(
    stated: str,
    wanted: str,
    air: Air | None,
    fuelling: FuelFlow | tuple[str, ...],
    build: Build,
) -> Callable[[float], Correction]:
    """The correction at one speed: for spark ignition it is the same at all."""
    compression = build.build.engine.ignition == "compression"

    def at(speed: float) -> Correction:
        first = _standard(stated, fuelling, compression, speed)
        second = first if stated == wanted else _standard(wanted, fuelling, compression, speed)
        if air is None or (compression and isinstance(fuelling, tuple)):
            made = Correction(first, second, 1.0, 1.0, ())
        else:
            made = correct(air, first, second)
        unfit = [
            f"{standard.name}: the factor is for engines without a turbocharger or supercharger"
            for standard in dict.fromkeys((first, second))
            if boosted(build) and standard.slug in ("sae-j1349", "sae-j607", DIN_70020.slug)
        ]
        return replace(made, outside=(*made.outside, *unfit))

    return at


def boosted(build: Build) -> bool:
    """Whether the record says that the engine is turbocharged or supercharged."""
    return build.build.engine.induction in ("turbocharged", "supercharged")
