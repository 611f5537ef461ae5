"""One pull: from the log to corrected curves, peaks and what can be worked out along the speed."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from builder.engine import breathing, kinematics, power
from builder.engine.air import Air
from builder.engine.correction import Correction, Standard
from builder.engine.curves import STEP, Curve, Peak, area_under, curve, map_curve, mean_over, peak, torque_band
from builder.engine.power import Consistency
from builder.engine.values import Array
from builder.figures.core.display_units import System
from builder.figures.core.engine_data import EngineFacts
from builder.figures.dyno.correction import (
    AmbientConditions,
    AppliedCorrection,
    FuelFlow,
    ambient_conditions,
    applied_correction,
)
from builder.figures.dyno.row_selection import SelectedRows, binned, select_rows
from builder.figures.dyno.unit_checks import check_units
from builder.record.dyno_log.reader import DynoLog
from builder.record.models.build import Build
from builder.record.models.dyno import Pull
from builder.record.problem import Problem

_NOT_CURVES = ("time", "engine_speed", "torque", "power")
_SLACK = 2 * STEP
"""A log that stops this little short of a stated range [rev/s] still covers it: brakes do not hold to the turn."""


@dataclass(frozen=True, eq=False)
class PullResult:
    """One pull, corrected and smoothed. Speeds [rev/s], torque [N m], power [W]; arrays lie along ``speed``.

    ``index`` is the pull's place in the record, from 0: it sets the pull's mark in every drawing.
    ``standard`` is what torque and power are in; ``correction`` how they came there (at peak power, for
    compression ignition), None where the pull could not be corrected: then ``needs`` says what is missing.
    ``observed_torque`` is NaN where what the engine did on the day is not known. ``raw_*`` are the corrected
    readings that the curve was made from, sorted by speed. ``channels`` and ``derived`` hold what else was
    logged and what was worked out, NaN where unknown. Means and area are over the session's range, None where
    the pull does not cover it.
    """

    name: str
    index: int
    record: Pull
    log: DynoLog
    kind: Literal["sweep", "steps"]
    notes: tuple[str, ...]
    conditions: AmbientConditions
    standard: Standard
    correction: Correction | None
    outside: tuple[str, ...]
    needs: tuple[str, ...]
    consistency: Consistency | None
    problems: tuple[Problem, ...]
    counted: bool
    exclusion_reason: str
    torque_curve: Curve
    power_curve: Curve
    speed: Array
    torque: Array
    power: Array
    observed_torque: Array
    raw_speed: Array
    raw_torque: Array
    raw_power: Array
    peak_torque: Peak
    peak_power: Peak
    torque_band: tuple[tuple[float, float], ...]
    channels: Mapping[str, Array]
    derived: Mapping[str, Array]
    correction_at: Callable[[float], Correction] | None
    """The correction at any speed [rev/s]: for spark ignition it is the same at all."""
    acceleration: Array | None = None
    """Rate of change of speed [rev/s2] along the speed, where it was used to add torque back."""
    mean_torque: float | None = None
    mean_power: float | None = None
    area: float | None = None
    """Area under the torque curve [N m rev/s] over the session's range."""
    mean_range: tuple[float, float] | None = None
    """The speeds [rev/s] that the means were taken over: the session's range, as far as the log goes."""

    @property
    def observed_power(self) -> Array:
        """Power as the engine made it on the day [W], NaN where not known."""
        return np.asarray(2 * np.pi * self.speed * self.observed_torque)

    @property
    def air(self) -> Air | None:
        """The air of the pull, None where it is not known."""
        return self.conditions.air

    def uncorrected_torque(self, speed: float) -> float:
        """Torque at one speed before anything was corrected [N m], with what acceleration took added back."""
        factor = self.correction_at(speed).factor if self.correction_at is not None else 1.0
        return float(self.torque_curve.at(speed)) / factor

    def at(self, values: Array, speed: float) -> float:
        """One of the pull's arrays at one speed [rev/s], between points by a straight line."""
        return float(np.interp(speed, self.speed, values)) if self.speed.size else float("nan")


@dataclass(frozen=True, eq=False)
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
    problems: tuple[Problem, ...] = field(default=())


def stated_standard(build: Build, index: int) -> str | None:
    """The standard that a pull's readings are stated in: its own word, else the session's."""
    return build.pulls[index].readings or (build.dyno.readings if build.dyno else None)


def load_pull(
    build: Build, index: int, wanted: str, facts: EngineFacts, system: System
) -> UncorrectedPull | tuple[Problem, ...]:
    """Read one pull's log into what can be corrected, or say why it cannot be used."""
    pull = build.pulls[index]
    log = build.logs[pull.name]
    place = build.where(f"dyno.pulls.{index}.file")
    try:
        rows = select_rows(log, build.dyno.inertia.si if build.dyno and build.dyno.inertia else None)
    except ValueError as refused:
        return (Problem(*place, f"{pull.name}: no curve can be made of {log.path.name}: {refused}"),)
    day = ambient_conditions(build, index, log, system)
    channels = _channels(log, rows)
    fuelling = _diesel_fuel_flow(rows, channels, facts, day)
    applied = applied_correction(build, stated_standard(build, index), wanted, day, fuelling)
    units = check_units(build, index, log, rows)
    problems = [*day.problems, *units.problems]
    why_not = pull.left_out or ("the units of torque and power disagree" if units.excludes_pull else "")
    if not np.nanmax(rows.torque) > 0:
        why_not = why_not or "the torque is never above zero"
        problems.append(Problem(*place, f"{pull.name}: the torque is never above zero", "warning"))
    told = (*rows.notes, *day.notes, *units.notes)
    return UncorrectedPull(
        index, pull, log, rows, day, channels, applied, units.consistency, why_not, told, tuple(problems)
    )  # fmt: skip


def correct_pull(of: UncorrectedPull, standard: Standard, facts: EngineFacts) -> PullResult:
    """The pull's curves and peaks; it counts only if it could be brought to the session's standard."""
    applied, rows = of.applied, of.rows
    torque = rows.torque * applied.factor(rows.speed)
    told = [*of.notes]
    acceleration = None
    if rows.acceleration is not None and rows.acceleration_torque is not None:
        if applied.target_factor is not None:
            torque = torque + rows.acceleration_torque * applied.target_factor(rows.speed)
            acceleration = curve(rows.speed, rows.acceleration)
            told.append("torque spent on accelerating the rotating parts, J dw/dt, is added back")
        else:
            told.append("torque spent on accelerating is not added back: what the log was corrected by is not known")
    torque_curve = curve(rows.speed, torque)
    power_curve = map_curve(torque_curve, lambda speed, value: np.asarray(power.power(value, speed)))
    speed, values = _grid(torque_curve)
    top = peak(power_curve)
    correction = applied.at(top.speed) if applied.at is not None else None
    told += _spike_notes(torque_curve) + _correction_notes(applied, correction)
    why_not = of.exclusion_reason
    if not why_not and applied.standard.slug != standard.slug:
        why_not = f"could not be corrected to {standard.name}; shown in {applied.standard.name}"
    put_in = applied.target_factor
    observed = values / put_in(speed) if put_in is not None else np.full(speed.shape, np.nan)
    channels = {slug: each.at(speed) for slug, each in of.channels.items()}
    return PullResult(
        of.record.name,
        of.index,
        of.record,
        of.log,
        rows.kind,
        (*of.log.notes, *told),
        of.conditions,
        applied.standard,
        correction,
        correction.outside if correction else (),
        applied.needs,
        of.consistency,
        of.problems,
        not why_not,
        why_not,
        torque_curve,
        power_curve,
        speed,
        values,
        np.asarray(power.power(values, speed)),
        observed,
        *_raw(rows.speed, torque),
        peak(torque_curve),
        top,
        torque_band(torque_curve) if peak(torque_curve).value > 0 else (),
        channels,
        _derived(speed, values, observed, channels, facts, of.conditions),
        applied.at,
        acceleration.at(speed) if acceleration is not None else None,
    )


def _spike_notes(of: Curve) -> list[str]:
    """Which readings no neighbour agrees with, and which therefore make no peak."""
    speeds = sorted({f"{60 * speed:,.0f}" for speed in of.spike_speed}, key=lambda text: int(text.replace(",", "")))
    if not speeds:
        return []
    listed = ", ".join(speeds[:10]) + (f" and {len(speeds) - 10} more" if len(speeds) > 10 else "")
    many = "a lone spike of torque is" if len(speeds) == 1 else f"{len(speeds)} lone spikes of torque are"
    return [f"{many} set aside, at {listed} rpm"]


def with_range_means(of: PullResult, low: float, high: float) -> PullResult:
    """The pull with its means over a range of speeds [rev/s]; None where it was not run over all of it."""
    ends = of.torque_curve
    if ends.lowest > low + _SLACK or ends.highest < high - _SLACK:
        said = f"not run over the whole of {60 * low:,.0f} to {60 * high:,.0f} rpm: no means are given"
        return replace(of, notes=(*of.notes, said))
    low, high = max(low, ends.lowest), min(high, ends.highest)
    if not low < high:
        return of
    return replace(
        of,
        mean_torque=mean_over(of.torque_curve, low, high),
        mean_power=mean_over(of.power_curve, low, high),
        area=area_under(of.torque_curve, low, high),
        mean_range=(low, high),
    )


def _grid(of: Curve) -> tuple[Array, Array]:
    """The common grid; where no point of it was logged, the ends of the log."""
    return (of.speed, of.value) if of.speed.size else of.points()


def _raw(speed: Array, torque: Array) -> tuple[Array, Array, Array]:
    """The readings to draw behind the curve: all of a short log, means over little cells of a long one."""
    (torque,), speed = binned(speed, (torque,))
    order = np.argsort(speed, kind="stable")
    speed, torque = speed[order], torque[order]
    return speed, torque, np.asarray(power.power(torque, speed))


def _channels(log: DynoLog, rows: SelectedRows) -> dict[str, Curve]:
    """Every other channel as a curve; one that holds no number is left out."""
    names = [slug for slug in log.channels if slug not in _NOT_CURVES]
    values, speed = binned(rows.speed, tuple(rows.select(log.channels[slug]) for slug in names))
    curves = {}
    for slug, channel in zip(names, values, strict=True):
        if np.isfinite(channel).any():
            curves[slug] = curve(speed, channel)
    return curves


def _diesel_fuel_flow(
    rows: SelectedRows, channels: Mapping[str, Curve], facts: EngineFacts, day: AmbientConditions
) -> FuelFlow | tuple[str, ...]:
    """What the compression-ignition factor needs, or what the record and the log lack for it."""
    fuel = _fuel_flow({slug: each.value for slug, each in channels.items()}, facts)
    needs = []
    if facts.displacement is None:
        needs.append("bottom_end.yaml: block.bores and crankshaft.stroke")
    if fuel is None:
        needs.append("dyno.yaml: a log with fuel flow (by volume it needs build.yaml: engine.fuel.density)")
    boost: Array | float | None = 1.0
    if facts.boosted:
        boost = _boost(channels, day)
        if boost is None:
            needs.append("dyno.yaml: a log with manifold or boost pressure, and the barometer")
    if needs or fuel is None or boost is None or facts.displacement is None:
        return tuple(needs)
    slug = "fuel_flow" if "fuel_flow" in channels else "fuel_flow_volume"
    speed = channels[slug].speed
    if not speed.size or np.shape(boost) not in ((), speed.shape):
        return ("dyno.yaml: a log with fuel flow at several speeds",)
    cycles = speed / facts.revolutions
    per_litre = fuel / cycles / (facts.displacement * 1e3) * 1e6
    return FuelFlow(speed, per_litre, np.broadcast_to(boost, speed.shape), facts.turbocharged)


def _boost(channels: Mapping[str, Curve], day: AmbientConditions) -> Array | None:
    """Boost over ambient pressure, both absolute [-]."""
    if day.pressure is None:
        return None
    if "manifold_pressure" in channels:
        return channels["manifold_pressure"].value / day.pressure
    if "boost_pressure" in channels:
        return 1 + channels["boost_pressure"].value / day.pressure
    return None


def _fuel_flow(channels: Mapping[str, Array], facts: EngineFacts) -> Array | None:
    """Fuel by mass [kg/s]."""
    if "fuel_flow" in channels:
        return channels["fuel_flow"]
    if "fuel_flow_volume" in channels and facts.fuel_density is not None:
        return channels["fuel_flow_volume"] * facts.fuel_density
    return None


def air_fuel_ratio(channels: Mapping[str, Array], facts: EngineFacts) -> Array | None:
    """Air by mass over fuel by mass [-]."""
    if "afr" in channels:
        return channels["afr"]
    if "lambda" in channels and facts.stoichiometric is not None:
        return channels["lambda"] * facts.stoichiometric
    return None


def lambda_of(channels: Mapping[str, Array], facts: EngineFacts) -> Array | None:
    """Lambda [-], from the air-fuel ratio where it was not logged."""
    if "lambda" in channels:
        return channels["lambda"]
    if "afr" in channels and facts.stoichiometric is not None:
        return channels["afr"] / facts.stoichiometric
    return None


def _air_flow(channels: Mapping[str, Array], facts: EngineFacts, day: AmbientConditions) -> Array | None:
    """Air by mass [kg/s]: logged, or by volume with the day's density, or from fuel and mixture."""
    if "air_flow" in channels:
        return channels["air_flow"]
    if "air_flow_volume" in channels and day.air is not None:
        return channels["air_flow_volume"] * day.air.density
    fuel, ratio = _fuel_flow(channels, facts), air_fuel_ratio(channels, facts)
    return fuel * ratio if fuel is not None and ratio is not None else None


def _derived(
    speed: Array,
    torque: Array,
    observed: Array,
    channels: Mapping[str, Array],
    facts: EngineFacts,
    day: AmbientConditions,
) -> dict[str, Array]:
    """What follows along the speed from torque, the size of the engine, and the flows of air and fuel."""
    found: dict[str, Array] = {}
    if facts.displacement is not None:
        found["bmep"] = np.asarray(power.bmep(torque, facts.displacement, facts.revolutions))
    if facts.stroke is not None:
        found["piston_speed"] = np.asarray(kinematics.mean_piston_speed(facts.stroke, speed))
    fuel, air = _fuel_flow(channels, facts), _air_flow(channels, facts, day)
    if air is not None:
        found["air_flow_mass"] = air
    if air is not None and facts.displacement is not None and day.air is not None:
        found["volumetric_efficiency"] = np.asarray(
            breathing.volumetric_efficiency(
                np.maximum(air, 0.0), day.air.density, facts.displacement, speed, facts.revolutions
            )
        )
    if fuel is not None:
        fuel = np.maximum(fuel, 0.0)
        found["fuel_flow_mass"] = fuel
        # Fuel is burnt by the engine as it ran on the day, so power is taken as observed, not corrected.
        loaded = observed >= 0.1 * np.fmax.reduce(observed, initial=0.0)
        watts = np.where(loaded, 2 * np.pi * speed * observed, np.nan)
        found["bsfc"] = np.asarray(power.bsfc(fuel, watts))
        if facts.heating_value is not None:
            found["brake_thermal_efficiency"] = np.asarray(
                power.brake_thermal_efficiency(watts, fuel, facts.heating_value)
            )
    return {slug: values for slug, values in found.items() if np.isfinite(values).any()}


def _correction_notes(applied: AppliedCorrection, correction: Correction | None) -> list[str]:
    if applied.needs:
        return [f"not corrected, shown as logged ({applied.standard.name}): needs {'; '.join(applied.needs)}"]
    if correction is None or correction.stated.slug == correction.wanted.slug:
        return [f"readings are in {applied.standard.name} already: nothing is corrected"]
    factor = f"{correction.factor:.4f}"
    if correction.stated.slug == "observed":
        return [f"corrected from observed to {correction.wanted.name}, times {factor}"]
    return [
        f"moved from {correction.stated.name} to {correction.wanted.name}: its factor {correction.divided_out:.4f} "
        f"is divided out and {correction.put_in:.4f} put in, times {factor} in all"
    ]
