"""The air of each pull, and the one factor that takes its readings to the shop's standard."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from builder.engine.air import Air, station_pressure, vapor_pressure
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
from builder.figures.core.display_units import DisplayUnit, System, written_text
from builder.record.dyno_log.reader import DynoLog
from builder.record.models.build import Build
from builder.record.models.dyno import Conditions
from builder.record.problem import Problem
from builder.record.quantities.units import Quantity

HUMIDITY = ("relative_humidity", "wet_bulb", "dew_point", "vapor_pressure")
"""The forms in which humidity may be written down; one at a time."""

AS_LOGGED = replace(OBSERVED, slug="as-logged", name="as logged; whether corrected was not recorded")
"""Readings that may or may not be corrected: nobody recorded it. They are shown, and never called observed."""

_COMPRESSION_IGNITION = ("un-r85-diesel", "iso-1585")
"""Standards that have a formula for compression ignition."""
_LOWEST_FUEL = {"un-r85-diesel": 40.0, "iso-1585": 37.2}
"""Least fuel [mg/(l cycle)] at which the engine factor still follows its line."""

Factor = Callable[[Array], Array]
"""What readings at each speed [rev/s] are multiplied by [-]."""


@dataclass(frozen=True, kw_only=True)
class AmbientConditions:
    """The air of one pull: what was recorded or logged, and the state of the air if that is enough.

    ``pressure`` (station) [Pa], ``temperature`` [K], ``humidity_form`` and ``humidity`` (SI) are None where
    not known. ``is_turned_to_height``: the pressure is that at sea level, turned to the dyno's height by the standard
    atmosphere. ``texts`` holds each as it was written; ``needs`` says what is missing.
    """

    pressure: float | None = None
    is_turned_to_height: bool = False
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
    """Return the air of a pull: its own conditions field by field, else the session's, else what the log holds."""
    texts: dict[str, str] = {}
    notes: list[str] = []
    problems: list[Problem] = []

    def value_of(
        recorded: _RecordedCondition | None, slug: str, key: str, title: str, unit: DisplayUnit
    ) -> float | None:
        """Return a condition (SI), recorded or else the mean of the log; keep its text and where it is from."""
        if recorded is not None:
            texts[key] = written_text(recorded.quantity)
            return recorded.quantity.si
        mean = _logged_mean(log, slug)
        if mean is not None:
            texts[key] = unit.text(mean, system)
            notes.append(f"{title} from the log, mean of its rows: {texts[key]}")
        return mean

    is_turned_to_height = False
    barometer = _recorded(build, index, "barometer")
    pressure = value_of(barometer, "barometer", "pressure", "barometer", display_units.AIR_PRESSURE)
    if barometer is not None:
        pressure, remark = _station_pressure(barometer, system)
        is_turned_to_height = pressure != barometer.quantity.si
        if pressure is None:
            problems.append(Problem(*build.where(barometer.path), remark))
        elif remark:
            notes.append(remark)
    thermometer = _recorded(build, index, "temperature")
    temperature = value_of(thermometer, "air_temperature", "temperature", "air temperature", display_units.TEMPERATURE)
    moisture = _recorded(build, index, *HUMIDITY)
    humidity = value_of(moisture, "relative_humidity", "humidity", "humidity", display_units.PERCENT)
    humidity_form = moisture.name if moisture else "relative_humidity"
    air, error = _air(pressure, temperature, humidity_form, humidity)
    if error:
        condition = moisture or thermometer or barometer
        location = build.where(condition.path if condition else f"dyno.pulls.{index}.file")
        problems.append(Problem(*location, f"the air of {build.pulls[index].name!r} cannot be: {error}"))
    required = (
        ("dyno.yaml: conditions.barometer, with barometer_is", pressure),
        ("dyno.yaml: conditions.temperature", temperature),
        ("dyno.yaml: conditions.relative_humidity (or wet_bulb, dew_point, vapor_pressure)", humidity),
    )
    needs = tuple(need for need, value in required if value is None)
    if air is None and not needs:
        needs = ("dyno.yaml: conditions that can all be true",)
    return AmbientConditions(
        pressure=pressure,
        is_turned_to_height=is_turned_to_height,
        temperature=temperature,
        humidity_form=None if humidity is None else humidity_form,
        humidity=humidity,
        air=air,
        texts=texts,
        notes=tuple(notes),
        needs=needs,
        problems=tuple(problems),
    )


def _recorded(build: Build, index: int, *names: str) -> _RecordedCondition | None:
    """Return the first of the fields that the pull, else the session, holds."""
    blocks: tuple[tuple[str, Conditions | None], ...] = (
        (f"dyno.pulls.{index}.conditions", build.pulls[index].conditions),
        ("dyno.conditions", build.get("dyno.conditions")),
    )
    for path, block in blocks:
        for name in names if block is not None else ():
            quantity = getattr(block, name)
            if block is not None and quantity is not None:
                return _RecordedCondition(name, quantity, block, f"{path}.{name}")
    return None


def _station_pressure(barometer: _RecordedCondition, system: System) -> tuple[float | None, str]:
    """Return the barometer where the engine was [Pa], and a remark on it (what is wrong, if it cannot be)."""
    if barometer.block.barometer_is != "sea level" or barometer.block.altitude is None:
        return barometer.quantity.si, ""
    altitude = barometer.block.altitude
    try:
        pressure = float(station_pressure(barometer.quantity.si, altitude.si))
    except ValueError as error:
        return None, f"the barometer cannot be turned to the room's height: {error}"
    text = display_units.AIR_PRESSURE.text(pressure, system)
    return pressure, (
        f"barometer {written_text(barometer.quantity)} at sea level is {text} at {written_text(altitude)} "
        "(standard atmosphere)"
    )


def _logged_mean(log: DynoLog, slug: str) -> float | None:
    values = log.channels.get(slug)
    finite = values[np.isfinite(values)] if values is not None else np.empty(0)
    return float(finite.mean()) if finite.size else None


def _air(
    pressure: float | None, temperature: float | None, humidity_form: str, humidity: float | None
) -> tuple[Air | None, str]:
    """Return the state of the air, None where it is not known, and why it cannot be."""
    if pressure is None or temperature is None or humidity is None:
        return None, ""
    try:
        vapor = float(vapor_pressure(pressure, temperature, **{humidity_form: humidity}))
        air = Air(pressure, temperature, vapor)
        return air if air.dry_pressure > 0 else None, ""
    except ValueError as error:
        return None, str(error)


@dataclass(frozen=True, eq=False)
class FuelFlow:
    """What UN R85 needs to know of a compression-ignition engine, along the speeds of a pull [rev/s].

    ``per_litre`` fuel [mg/(l cycle)], ``pressure_ratio`` boost over ambient pressure, both absolute [-].
    """

    speed: Array
    per_litre: Array
    pressure_ratio: Array
    turbocharged: bool

    def at(self, speed: float) -> tuple[float, float]:
        """Return fuel and pressure ratio at one speed."""
        fuel, ratio = (np.interp(speed, self.speed, values) for values in (self.per_litre, self.pressure_ratio))
        return float(fuel), float(ratio)


@dataclass(frozen=True, eq=False, kw_only=True)
class AppliedCorrection:
    """How one pull's readings become results.

    ``factor``: from the readings as logged to the results; ``target_factor``: from observed to the results, None
    where that is not known; ``standard``: what the results are in. With ``needs`` the pull could not be corrected
    and the results are in the standard the log was stated in. ``at``: the correction at one speed [rev/s]; for
    spark ignition it is the same at all.
    """

    standard: Standard
    factor: Factor
    target_factor: Factor | None
    needs: tuple[str, ...] = ()
    at: Callable[[float], Correction] | None = None


def target_standard(build: Build, correction: str) -> tuple[str, str]:
    """Return the shop's standard as it applies to this kind of engine, and a remark if that is another one."""
    compression = build.build.engine.ignition == "compression"
    if _is_held_to_absolute_boost(build) and correction != "observed":
        name = STANDARDS[correction].name
        return "observed", (
            "the boost is held to an absolute pressure, whatever the barometer: results are as observed, "
            f"not corrected to {name} (from memory, check the standard)"
        )
    if correction == "observed" or (compression and correction in _COMPRESSION_IGNITION):
        return correction, ""
    if compression:
        name = STANDARDS[correction].name
        return "un-r85-diesel", f"{name} has no formula here for compression ignition: UN Regulation 85 is used"
    if correction == "un-r85-diesel":
        return "iso-1585", "UN Regulation 85's formula for spark ignition is that of ISO 1585"
    return correction, ""


def _is_held_to_absolute_boost(build: Build) -> bool:
    """Return whether a spark-ignition engine's boost is held to an absolute pressure."""
    control = build.get("top_end.induction.boost_control")
    return build.is_boosted and control == "absolute" and build.build.engine.ignition == "spark"


def withheld_factor_note(build: Build, correction: str, conditions: AmbientConditions) -> str:
    """Return the factor that an engine held to absolute boost would have had; empty for any other, or without its air.

    ``correction`` is the slug of the shop's standard.
    """
    if not _is_held_to_absolute_boost(build) or correction == "observed" or conditions.air is None:
        return ""
    standard = STANDARDS["iso-1585" if correction == "un-r85-diesel" else correction]
    factor = standard.factor(conditions.air)
    return f"not corrected, since the boost is held to an absolute pressure; by {standard.name} times {factor:.4f}"


def applied_correction(
    build: Build, stated: str | None, target: str, conditions: AmbientConditions, fuel_flow: FuelFlow | tuple[str, ...]
) -> AppliedCorrection:
    """Return how readings in the stated standard are taken to the target one, or why that cannot be.

    ``fuel_flow`` is that of a compression-ignition engine, or what it lacks.
    """
    compression = build.build.engine.ignition == "compression"
    if stated is None:
        needs = "dyno.yaml: readings (observed, or the standard the log was corrected to)"
        return AppliedCorrection(standard=AS_LOGGED, factor=np.ones_like, target_factor=None, needs=(needs,))
    if stated == "un-r85-diesel" and not compression:
        needs = "dyno.yaml: readings that go with build.yaml: engine.ignition (un-r85-diesel is for compression)"
        return AppliedCorrection(standard=AS_LOGGED, factor=np.ones_like, target_factor=None, needs=(needs,))
    air = conditions.air
    needs_no_humidity = {stated, target} <= {"observed", "din-70020"}
    if air is None and needs_no_humidity and conditions.pressure and conditions.temperature:
        air = Air(conditions.pressure, conditions.temperature, 0.0)
    stated_factor, target_factor = (
        _factor_of(slug, air, conditions, fuel_flow, compression) for slug in (stated, target)
    )
    if stated == target:
        return AppliedCorrection(
            standard=_standard(stated, fuel_flow, compression, None),
            factor=np.ones_like,
            target_factor=None if isinstance(target_factor, tuple) else target_factor,
            at=_correction(stated, target, air, fuel_flow, build),
        )
    if isinstance(stated_factor, tuple) or isinstance(target_factor, tuple):
        factors = (stated_factor, target_factor)
        lacking = (need for needs in factors if isinstance(needs, tuple) for need in needs)
        return AppliedCorrection(
            standard=_standard(stated, fuel_flow, compression, None),
            factor=np.ones_like,
            target_factor=None if isinstance(stated_factor, tuple) else stated_factor,
            needs=tuple(dict.fromkeys(lacking)),
        )
    return AppliedCorrection(
        standard=_standard(target, fuel_flow, compression, None),
        factor=_quotient(target_factor, stated_factor),
        target_factor=target_factor,
        at=_correction(stated, target, air, fuel_flow, build),
    )


_OF_BOOSTED_ENGINES = {
    "sae-j1349": "one factor for engines with and without boost",
    "iso-1585": "one factor for engines with and without boost",
    "sae-j607": "written for engines without boost",
    DIN_70020.slug: "written for engines without boost",
}
"""What each standard says of spark-ignition engines with boost: from memory."""


def _of_boosted_engines(build: Build, slug: str) -> str:
    """Return what a standard says of a boosted spark-ignition engine, and what its control does to the factor."""
    if not build.is_boosted or slug not in _OF_BOOSTED_ENGINES:
        return ""
    statement = f"{_OF_BOOSTED_ENGINES[slug]} (from memory, check the standard)"
    control = build.get("top_end.induction.boost_control")
    if control == "gauge":
        return f"{statement}; with the boost held above the barometer, the factor corrects too much"
    if control is None:
        return f"{statement}; how the boost is controlled is not recorded, and the factor may correct too much"
    return statement


def _quotient(numerator: Factor, denominator: Factor) -> Factor:
    return lambda speed: np.asarray(numerator(speed) / denominator(speed))


def _factor_of(
    slug: str, air: Air | None, conditions: AmbientConditions, fuel_flow: FuelFlow | tuple[str, ...], compression: bool
) -> Factor | tuple[str, ...]:
    """Return the factor of a standard along the speeds, or what it lacks."""
    if slug == "observed":
        return np.ones_like
    if air is None:
        return conditions.needs
    if not compression:
        constant = STANDARDS[slug].factor(air)
        return lambda speed: np.full(np.shape(speed), constant)
    if slug not in _COMPRESSION_IGNITION:
        return (f"dyno.yaml: readings as observed ({STANDARDS[slug].name} has no formula for compression ignition)",)
    if isinstance(fuel_flow, tuple):
        return fuel_flow
    factors = np.asarray(
        compression_ignition_factor(
            air.dry_pressure,
            air.temperature,
            fuel_flow.per_litre,
            pressure_ratio=fuel_flow.pressure_ratio,
            turbocharged=fuel_flow.turbocharged,
            lowest_fuel=_LOWEST_FUEL[slug],
        )
    )
    return lambda speed: np.interp(speed, fuel_flow.speed, factors)


def _standard(slug: str, fuel_flow: FuelFlow | tuple[str, ...], compression: bool, speed: float | None) -> Standard:
    """Return a standard by its slug; for compression ignition as it is at one speed."""
    if slug == "observed" or not compression or slug not in _COMPRESSION_IGNITION:
        return STANDARDS[slug]
    fuel, ratio = (50.0, 1.0) if isinstance(fuel_flow, tuple) or speed is None else fuel_flow.at(speed)
    turbocharged = not isinstance(fuel_flow, tuple) and fuel_flow.turbocharged
    standard = compression_ignition(
        fuel, pressure_ratio=ratio, turbocharged=turbocharged, lowest_fuel=_LOWEST_FUEL[slug]
    )
    if slug == "iso-1585":
        return replace(standard, slug="iso-1585-compression-ignition", name="ISO 1585, compression ignition")
    return standard


def _correction(
    stated: str, target: str, air: Air | None, fuel_flow: FuelFlow | tuple[str, ...], build: Build
) -> Callable[[float], Correction]:
    """Return a function that gives the correction at one speed [rev/s]."""
    compression = build.build.engine.ignition == "compression"

    def at(speed: float) -> Correction:
        first = _standard(stated, fuel_flow, compression, speed)
        second = first if stated == target else _standard(target, fuel_flow, compression, speed)
        if air is None or (compression and isinstance(fuel_flow, tuple)):
            correction = Correction(first, second, 1.0, 1.0, ())
        else:
            correction = correct(air, first, second)
        of_boosted = [
            f"{standard.name}: {text}"
            for standard in dict.fromkeys((first, second))
            if (text := _of_boosted_engines(build, standard.slug))
        ]
        return replace(correction, outside=(*correction.outside, *of_boosted))

    return at
