"""One pull: from the log to corrected curves, peaks and what can be worked out along the speed."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np

from builder.engine import breathing, kinematics, power
from builder.engine.correction import Correction, Standard
from builder.engine.curves import STEP, Curve, area_under, curve, map_curve, mean_over
from builder.engine.peaks import CurvePeak, peak, torque_band
from builder.engine.power import Consistency
from builder.engine.validation import Array
from builder.figures.core.display_units import System
from builder.figures.core.engine_data import EngineData
from builder.figures.dyno.correction import (
    AmbientConditions,
    AppliedCorrection,
    FuelFlow,
    ambient_conditions,
    applied_correction,
)
from builder.figures.dyno.resolution import TorqueResolution, torque_resolution
from builder.figures.dyno.row_selection import SelectedRows, binned, select_rows
from builder.figures.dyno.unit_checks import check_units
from builder.record.dyno_log.channels import CYLINDERS
from builder.record.dyno_log.reader import DynoLog
from builder.record.models.build import Build
from builder.record.models.dyno import Pull, TestKind
from builder.record.problem import Problem
from builder.record.wording import first_of

_NOT_CURVES = ("time", "engine_speed", "torque", "power")
_SLACK = 2 * STEP
"""A log that stops this little short of a stated range [rev/s] still covers it: brakes do not hold to the turn."""


@dataclass(frozen=True, eq=False, kw_only=True)
class PullReadings:
    """The corrected readings behind the curves, sorted by speed [rev/s]: torque [N m] and power [W].

    All of a short log; means over small steps of speed of a long one.
    """

    speed: Array
    torque: Array
    power: Array


@dataclass(frozen=True, eq=False, kw_only=True)
class CorrectedCurves:
    """The smoothed curves of a pull, in its standard, and their values along ``speed`` [rev/s].

    Torque [N m], power [W]. ``observed_torque`` is NaN where what the engine did on the day is not known.
    ``acceleration``: rate of change of speed [rev/s2], where it was used to add torque back.
    """

    torque_curve: Curve
    power_curve: Curve
    speed: Array
    torque: Array
    power: Array
    observed_torque: Array
    acceleration: Array | None = None

    @property
    def observed_power(self) -> Array:
        """Return the power as the engine made it on the day [W], NaN where not known."""
        return np.asarray(2 * np.pi * self.speed * self.observed_torque)

    def acceleration_at(self, speed: float) -> float | None:
        """Return the rate of change of speed [rev/s2] at one speed [rev/s]."""
        return None if self.acceleration is None else self.at(self.acceleration, speed)

    def at(self, values: Array, speed: float) -> float:
        """Return one of the pull's arrays at one speed [rev/s], between points by a straight line."""
        return float(np.interp(speed, self.speed, values)) if self.speed.size else float("nan")


@dataclass(frozen=True, kw_only=True)
class PullPeaks:
    """The highest points of torque [N m] and power [W], and the speeds [rev/s] that hold 90 % of peak torque."""

    torque: CurvePeak
    power: CurvePeak
    torque_band: tuple[tuple[float, float], ...]


@dataclass(frozen=True, kw_only=True)
class RangeMeans:
    """Means over the session's range, as far as the log goes: from ``low`` to ``high`` [rev/s].

    Torque [N m], power [W]; ``torque_area``: area under the torque curve [N m rev/s].
    """

    low: float
    high: float
    torque: float
    power: float
    torque_area: float


@dataclass(frozen=True, eq=False, kw_only=True)
class PullResult:
    """One pull, corrected and smoothed.

    ``index`` is the pull's position in the record, from 0: it sets the pull's mark in every chart. ``record``
    is its entry in dyno.yaml. ``applied`` is how its readings were corrected, or what that lacks;
    ``correction`` the same at peak power, None where the pull could not be corrected. ``channels`` and
    ``derived`` hold what else was logged and what follows from it, along the speeds of ``corrected``, NaN
    where not known. ``means`` is None where the pull does not cover the session's range. With an
    ``exclusion_reason`` no result is taken from the pull.
    """

    name: str
    index: int
    record: Pull
    log: DynoLog
    kind: TestKind | None
    notes: tuple[str, ...]
    conditions: AmbientConditions
    applied: AppliedCorrection
    correction: Correction | None
    consistency: Consistency | None
    problems: tuple[Problem, ...]
    exclusion_reason: str
    readings: PullReadings
    corrected: CorrectedCurves
    peaks: PullPeaks
    resolution: TorqueResolution
    channels: Mapping[str, Array]
    derived: Mapping[str, Array]
    means: RangeMeans | None = None

    @property
    def counted(self) -> bool:
        """Return whether results are taken from the pull."""
        return not self.exclusion_reason

    @property
    def standard(self) -> Standard:
        """Return the standard that torque and power are in."""
        return self.applied.standard

    @property
    def outside(self) -> tuple[str, ...]:
        """Return what lies outside the range of the standards, a sentence each."""
        return self.correction.outside if self.correction else ()

    @property
    def mean_torque(self) -> float | None:
        """Return the mean torque over the session's range [N m], None where the pull does not cover it."""
        return self.means.torque if self.means else None

    @property
    def mean_power(self) -> float | None:
        """Return the mean power over the session's range [W], None where the pull does not cover it."""
        return self.means.power if self.means else None

    def torque_before_factor(self, speed: float) -> float:
        """Return the torque at one speed in the standard that the log is in [N m], with what acceleration took."""
        factor = self.applied.at(speed).factor if self.applied.at is not None else 1.0
        return float(self.corrected.torque_curve.at(speed)) / factor


@dataclass(frozen=True, eq=False, kw_only=True)
class UncorrectedPull:
    """A pull before it is known in which standard the session is shown."""

    index: int
    record: Pull
    log: DynoLog
    rows: SelectedRows
    conditions: AmbientConditions
    channels: Mapping[str, Curve]
    applied: AppliedCorrection
    consistency: Consistency | None
    exclusion_reason: str
    notes: tuple[str, ...]
    problems: tuple[Problem, ...]


def stated_standard(build: Build, index: int) -> str | None:
    """Return the standard that a pull's readings are stated in: the pull's own, else the session's."""
    return build.pulls[index].readings or (build.dyno.readings if build.dyno else None)


def load_pull(
    build: Build, index: int, target: str, engine: EngineData, system: System
) -> UncorrectedPull | tuple[Problem, ...]:
    """Read one pull's log into what can be corrected to the target standard, or say why it cannot be used."""
    pull = build.pulls[index]
    log = build.logs[pull.name]
    location = build.where(f"dyno.pulls.{index}.file")
    try:
        stated_kind = pull.test or (build.dyno.test if build.dyno else None)
        rows = select_rows(log, build.dyno.inertia.si if build.dyno and build.dyno.inertia else None, stated_kind)
    except ValueError as error:
        return (Problem(*location, f"{pull.name}: no curve can be made of {log.path.name}: {error}"),)
    conditions = ambient_conditions(build, index, log, system)
    channels = _channel_curves(log, rows)
    fuel_flow = _diesel_fuel_flow(channels, engine, conditions)
    applied = applied_correction(build, stated_standard(build, index), target, conditions, fuel_flow)
    units = check_units(build, index, log, rows)
    problems = [*conditions.problems, *units.problems]
    exclusion_reason = pull.left_out or ("the units of torque and power disagree" if units.excludes_pull else "")
    if not np.nanmax(rows.torque) > 0:
        exclusion_reason = exclusion_reason or "the torque is never above zero"
        problems.append(Problem(*location, f"{pull.name}: the torque is never above zero", "warning"))
    return UncorrectedPull(
        index=index,
        record=pull,
        log=log,
        rows=rows,
        conditions=conditions,
        channels=channels,
        applied=applied,
        consistency=units.consistency,
        exclusion_reason=exclusion_reason,
        notes=(*rows.notes, *conditions.notes, *units.notes),
        problems=tuple(problems),
    )


def correct_pull(pull: UncorrectedPull, standard: Standard, engine: EngineData) -> PullResult:
    """Return the pull's curves and peaks; it counts only if it could be brought to the session's standard."""
    applied, rows = pull.applied, pull.rows
    torque = rows.torque * applied.factor(rows.speed)
    notes = [*pull.log.notes, *pull.notes]
    acceleration = None
    if rows.acceleration is not None and rows.acceleration_torque is not None:
        if applied.target_factor is not None:
            torque = torque + rows.acceleration_torque * applied.target_factor(rows.speed)
            acceleration = curve(rows.speed, rows.acceleration)
            notes.append("inertia correction applied: J dw/dt added back")
        else:
            notes.append("no inertia correction: the log's own correction is not known")
    corrected = _corrected_curves(rows.speed, torque, applied, acceleration)
    peaks = _peaks(corrected)
    correction = applied.at(peaks.power.speed) if applied.at is not None else None
    notes += _spike_notes(corrected.torque_curve) + _correction_notes(applied, correction)
    exclusion_reason = pull.exclusion_reason
    if not exclusion_reason and applied.standard.slug != standard.slug:
        exclusion_reason = f"could not be corrected to {standard.name}; shown in {applied.standard.name}"
    channels = {slug: channel.at(corrected.speed) for slug, channel in pull.channels.items()}
    notes += _typical_fuel_notes(channels, engine, pull.conditions)
    return PullResult(
        name=pull.record.name,
        index=pull.index,
        record=pull.record,
        log=pull.log,
        kind=rows.kind,
        notes=tuple(notes),
        conditions=pull.conditions,
        applied=applied,
        correction=correction,
        consistency=pull.consistency,
        problems=pull.problems,
        exclusion_reason=exclusion_reason,
        readings=_readings(rows.speed, torque),
        corrected=corrected,
        peaks=peaks,
        resolution=torque_resolution(pull.log, rows, float(np.median(applied.factor(rows.speed)))),
        channels=channels,
        derived=_derived(corrected, channels, engine, pull.conditions),
    )


def _corrected_curves(
    reading_speed: Array, reading_torque: Array, applied: AppliedCorrection, acceleration: Curve | None
) -> CorrectedCurves:
    torque_curve = curve(reading_speed, reading_torque)
    # Where the log holds no point of the common grid, its two ends make the curve.
    speed, torque = (torque_curve.speed, torque_curve.value) if torque_curve.speed.size else torque_curve.points()
    factor = applied.target_factor
    return CorrectedCurves(
        torque_curve=torque_curve,
        power_curve=map_curve(torque_curve, lambda speed, value: np.asarray(power.power(value, speed))),
        speed=speed,
        torque=torque,
        power=np.asarray(power.power(torque, speed)),
        observed_torque=torque / factor(speed) if factor is not None else np.full(speed.shape, np.nan),
        acceleration=acceleration.at(speed) if acceleration is not None else None,
    )


def _peaks(corrected: CorrectedCurves) -> PullPeaks:
    torque = peak(corrected.torque_curve)
    return PullPeaks(
        torque=torque,
        power=peak(corrected.power_curve),
        torque_band=torque_band(corrected.torque_curve) if torque.value > 0 else (),
    )


def with_range_means(pull: PullResult, low: float, high: float) -> PullResult:
    """Return the pull with its means over a range of speeds [rev/s], or without where it does not cover the range."""
    torque_curve, power_curve = pull.corrected.torque_curve, pull.corrected.power_curve
    if torque_curve.lowest > low + _SLACK or torque_curve.highest < high - _SLACK:
        note = f"not run over the whole of {60 * low:,.0f} to {60 * high:,.0f} rpm: no means are given"
        return replace(pull, notes=(*pull.notes, note))
    low, high = max(low, torque_curve.lowest), min(high, torque_curve.highest)
    if not low < high:
        return pull
    means = RangeMeans(
        low=low,
        high=high,
        torque=mean_over(torque_curve, low, high),
        power=mean_over(power_curve, low, high),
        torque_area=area_under(torque_curve, low, high),
    )
    return replace(pull, means=means)


def _readings(speed: Array, torque: Array) -> PullReadings:
    (torque,), speed = binned(speed, (torque,))
    order = np.argsort(speed, kind="stable")
    speed, torque = speed[order], torque[order]
    return PullReadings(speed=speed, torque=torque, power=np.asarray(power.power(torque, speed)))


def _spike_notes(torque_curve: Curve) -> list[str]:
    """Say which readings no neighbor agrees with, and which therefore make no peak."""
    speeds = [f"{speed:,}" for speed in sorted({round(60 * speed) for speed in torque_curve.spike_speed})]
    if not speeds:
        return []
    subject = "a lone spike of torque is" if len(speeds) == 1 else f"{len(speeds)} lone spikes of torque are"
    return [f"{subject} set aside, at {first_of(speeds, 10)} rpm"]


def _channel_curves(log: DynoLog, rows: SelectedRows) -> dict[str, Curve]:
    """Return every further channel as a curve; one that holds no number is left out."""
    names = [slug for slug in log.channels if slug not in _NOT_CURVES]
    values, speed = binned(rows.speed, tuple(rows.select(log.channels[slug]) for slug in names))
    curves = {}
    for slug, channel in zip(names, values, strict=True):
        if np.isfinite(channel).any():
            curves[slug] = curve(speed, channel)
    return curves


def _diesel_fuel_flow(
    channels: Mapping[str, Curve], engine: EngineData, conditions: AmbientConditions
) -> FuelFlow | tuple[str, ...]:
    """Return what the compression-ignition factor needs, or what the record and the log lack for it."""
    # A corrected result does not rest on a typical density.
    fuel = _fuel_flow({slug: channel.value for slug, channel in channels.items()}, engine.fuel_density)
    needs = []
    if engine.displacement is None:
        needs.append("bottom_end.yaml: block.bores and crankshaft.stroke")
    if fuel is None:
        needs.append("dyno.yaml: a log with fuel flow (by volume it needs build.yaml: engine.fuel.density)")
    pressure_ratio: Array | float | None = 1.0
    if engine.boosted:
        pressure_ratio = _boost_ratio(channels, conditions)
        if pressure_ratio is None:
            needs.append("dyno.yaml: a log with manifold or boost pressure, and the barometer")
    if needs or fuel is None or pressure_ratio is None or engine.displacement is None:
        return tuple(needs)
    slug = "fuel_flow" if "fuel_flow" in channels else "fuel_flow_volume"
    speed = channels[slug].speed
    if not speed.size or np.shape(pressure_ratio) not in ((), speed.shape):
        return ("dyno.yaml: a log with fuel flow at several speeds",)
    cycles = speed / engine.revolutions
    per_litre = fuel / cycles / (engine.displacement * 1e3) * 1e6
    return FuelFlow(speed, per_litre, np.broadcast_to(pressure_ratio, speed.shape), engine.turbocharged)


def _boost_ratio(channels: Mapping[str, Curve], conditions: AmbientConditions) -> Array | None:
    """Return manifold pressure over ambient pressure, both absolute [-]."""
    if conditions.pressure is None:
        return None
    if "manifold_pressure" in channels:
        return channels["manifold_pressure"].value / conditions.pressure
    if "boost_pressure" in channels:
        return 1 + channels["boost_pressure"].value / conditions.pressure
    return None


def _fuel_flow(channels: Mapping[str, Array], density: float | None) -> Array | None:
    """Return the fuel by mass [kg/s]; one logged by volume alone takes the density [kg/m3]."""
    if "fuel_flow" in channels:
        return channels["fuel_flow"]
    if "fuel_flow_volume" in channels and density is not None:
        return channels["fuel_flow_volume"] * density
    return None


def air_fuel_ratio(channels: Mapping[str, Array], engine: EngineData) -> Array | None:
    """Return air by mass over fuel by mass [-], None where neither it nor lambda was logged."""
    if "afr" in channels:
        return channels["afr"]
    mixture = logged_lambda(channels)
    if mixture is not None and engine.air_for_fuel is not None:
        return mixture * engine.air_for_fuel
    return None


def lambda_of(channels: Mapping[str, Array], engine: EngineData) -> Array | None:
    """Return lambda [-], from the air-fuel ratio where it was not logged.

    For that the fuel's own ratio at lambda 1 is needed: many sensors show every fuel on the scale of gasoline.
    """
    mixture = logged_lambda(channels)
    if mixture is not None:
        return mixture
    if "afr" in channels and engine.stoichiometric is not None:
        return channels["afr"] / engine.stoichiometric
    return None


def logged_lambda(channels: Mapping[str, Array]) -> Array | None:
    """Return lambda as logged [-]: the engine's, else the mean of its cylinders; None where it was not logged."""
    if "lambda" in channels:
        return channels["lambda"]
    cylinders = by_cylinder(channels, "lambda")
    return np.mean([values for _, values in cylinders], axis=0) if cylinders else None


def by_cylinder(channels: Mapping[str, Array], slug: str) -> list[tuple[int, Array]]:
    """Return each cylinder's number and its channel, of those that were logged cylinder by cylinder."""
    numbered = ((number, f"{slug}_{number}") for number in range(1, CYLINDERS + 1))
    return [(number, channels[name]) for number, name in numbered if name in channels]


def metered_air(channels: Mapping[str, Array], conditions: AmbientConditions) -> Array | None:
    """Return the air by mass [kg/s] as a flow meter read it, one by volume with the day's density; None without one."""
    if "air_flow" in channels:
        return channels["air_flow"]
    if "air_flow_volume" in channels and conditions.air is not None:
        return channels["air_flow_volume"] * conditions.air.density
    return None


def _air_flow(channels: Mapping[str, Array], engine: EngineData, conditions: AmbientConditions) -> Array | None:
    """Return the air by mass [kg/s]: as metered, or from fuel and mixture."""
    metered = metered_air(channels, conditions)
    if metered is not None:
        return metered
    fuel, ratio = _fuel_flow(channels, engine.density_of_fuel), air_fuel_ratio(channels, engine)
    return fuel * ratio if fuel is not None and ratio is not None else None


def _derived(
    corrected: CorrectedCurves, channels: Mapping[str, Array], engine: EngineData, conditions: AmbientConditions
) -> dict[str, Array]:
    """Return what follows along the speed from torque, the size of the engine, and the flows of air and fuel."""
    speed, air_state = corrected.speed, conditions.air
    derived: dict[str, Array] = {}
    if engine.displacement is not None:
        derived["bmep"] = np.asarray(power.bmep(corrected.torque, engine.displacement, engine.revolutions))
    if engine.stroke is not None:
        derived["piston_speed"] = np.asarray(kinematics.mean_piston_speed(engine.stroke, speed))
    fuel, air = _fuel_flow(channels, engine.density_of_fuel), _air_flow(channels, engine, conditions)
    if air is not None:
        derived["air_flow_mass"] = air
    if air is not None and engine.displacement is not None and air_state is not None:
        derived["volumetric_efficiency"] = np.asarray(
            breathing.volumetric_efficiency(
                np.maximum(air, 0.0), air_state.density, engine.displacement, speed, engine.revolutions
            )
        )
    if fuel is not None:
        fuel = np.maximum(fuel, 0.0)
        derived["fuel_flow_mass"] = fuel
        # Fuel is burnt by the engine as it ran on the day, so power is taken as observed, not corrected.
        observed = corrected.observed_torque
        loaded = observed >= 0.1 * np.fmax.reduce(observed, initial=0.0)
        watts = np.where(loaded, corrected.observed_power, np.nan)
        derived["bsfc"] = np.asarray(power.bsfc(fuel, watts))
        if engine.heat_of_fuel is not None:
            derived["brake_thermal_efficiency"] = np.asarray(
                power.brake_thermal_efficiency(watts, fuel, engine.heat_of_fuel)
            )
    return {slug: values for slug, values in derived.items() if np.isfinite(values).any()}


def _typical_fuel_notes(
    channels: Mapping[str, Array], engine: EngineData, conditions: AmbientConditions
) -> Iterator[str]:
    """Yield what of the fuel was not recorded and taken as typical for the columns of fuel, air flow and efficiency."""
    if engine.typical_fuel is None or _fuel_flow(channels, engine.density_of_fuel) is None:
        return
    if "fuel_flow" not in channels and engine.fuel_density is None:
        yield f"fuel flow by volume, with the density typical of {engine.fuel}, {engine.typical_fuel.density:.4g} kg/m³"
    needs_ratio = metered_air(channels, conditions) is None and "afr" not in channels
    if needs_ratio and engine.stoichiometric is None and logged_lambda(channels) is not None:
        ratio = engine.typical_fuel.stoichiometric
        yield f"air flow from fuel flow and lambda, with the air-fuel ratio typical of {engine.fuel}, {ratio:.4g}"
    if engine.heating_value is None:
        heat = engine.typical_fuel.heating_value / 1e6
        yield f"thermal efficiency with the heating value typical of {engine.fuel}, {heat:.3g} MJ/kg"


def _correction_notes(applied: AppliedCorrection, correction: Correction | None) -> list[str]:
    """Say what the readings were multiplied by, or why they were not."""
    if applied.needs:
        return [f"not corrected, shown as logged ({applied.standard.name}): needs {'; '.join(applied.needs)}"]
    if correction is None or correction.stated.slug == correction.target.slug:
        return [f"readings are in {applied.standard.name} already: nothing is corrected"]
    factor = f"{correction.factor:.4f}"
    if correction.stated.slug == "observed":
        return [f"corrected from observed to {correction.target.name}, times {factor}"]
    return [
        f"moved from {correction.stated.name} to {correction.target.name}: its factor {correction.stated_factor:.4f} "
        f"is divided out and {correction.target_factor:.4f} put in, times {factor} in all"
    ]
