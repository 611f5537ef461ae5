"""Cross-checks of dyno results: columns, fuel, air and efficiency against what any engine can do."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from builder.engine import breathing, power
from builder.engine.constants import GAS_CONSTANT_DRY_AIR, STANDARD_ATMOSPHERE
from builder.figures.core.display_units import BMEP, POWER, TORQUE
from builder.figures.dyno.pull import PullResult
from builder.figures.review.cross_checks.comparison import Comparison, CrossChecks, Statement, compare
from builder.figures.review.cross_checks.operand import combine, exactly
from builder.figures.review.cross_checks.record_values import NotRecorded, RecordValues

define = CrossChecks()

MOST_EFFICIENCY = {"spark": 0.45, "compression": 0.50}
"""Brake thermal efficiency that no piston engine in a shop exceeds: common practice, no source."""
_HEAT_OF_AIR = 3.1e6
"""Heat that burns with one kilogram of air [J/kg], of any liquid fuel and LPG: 2.9 to 3.1 MJ/kg."""
_MOST_DEPRESSION = 10e3
"""Depression [Pa] behind a carburetor at full throttle that no engine in use has: common practice, no source."""
_MOST_VOLUMETRIC_EFFICIENCY = 1.3
_ROOM_TEMPERATURE = 293.15


@define.check("torque_and_power", "Torque and power columns")
def _torque_and_power(record: RecordValues) -> Iterator[Statement]:
    session = record.session
    for pull in session.pulls if session else ():
        if pull.consistency is None or pull.consistency.agrees:
            continue
        path = f"dyno.pulls.{pull.index}"
        values = [record.recorded(f"{path}.file", pull.record.file or "", f"log of {pull.name}")]
        values += [
            record.recorded(f"{path}.units.{name}", unit, f"unit of {name}")
            for name, unit in (pull.record.units or {}).items()
        ]
        sentence = f"{pull.name}: logged power is {pull.consistency.ratio:.3f} times what torque and speed make"
        yield Statement(sentence=sentence, values=tuple(values))


@define.check("noted_result", "Noted result")
def _noted_result(record: RecordValues) -> Iterator[Comparison]:
    """Yield what each noted peak means at its own speed against the other: no peak is below that."""
    power, torque = record.value("dyno.noted_result.power"), record.value("dyno.noted_result.torque")
    torque_speed, power_speed = record.get("dyno.noted_result.torque_at"), record.get("dyno.noted_result.power_at")
    if torque_speed is not None:
        at_torque = (torque * torque_speed * (2 * np.pi)).shown_by(power.show)
        yield compare(("power at peak torque", at_torque), "at most", ("peak power", power), share=0.01)
    if power_speed is not None:
        at_power = (power / (power_speed * (2 * np.pi))).shown_by(torque.show)
        yield compare(("torque at peak power", at_power), "at most", ("peak torque", torque), share=0.01)


def _strongest(record: RecordValues) -> tuple[PullResult, float]:
    """Return the counted pull with the most power as observed, and that power [W]. Raises NotRecorded."""
    session = record.session
    powers = [
        (float(np.nanmax(values)), pull)
        for pull in (session.counted if session else ())
        for values in (pull.corrected.observed_power, pull.corrected.power)
        if np.isfinite(values).any()
    ]
    if not powers:
        raise NotRecorded("dyno.pulls")
    most, pull = max(powers, key=lambda item: item[0])
    return pull, most


@define.check("power_and_air", "Peak power and air")
def _power_and_air(record: RecordValues) -> Iterator[Comparison]:
    """Yield peak power against the air that restrictor or carburetor can pass."""
    pull, most = _strongest(record)
    show = record.in_unit(POWER)
    peak_power = record.constant(f"dyno.pulls.{pull.index}.file", show(most), most, show, f"peak power of {pull.name}")
    heat = _heat_of_air(record)
    restrictor = record.get("top_end.induction.restrictor_diameter")
    if restrictor is not None:
        ceiling = combine(
            lambda d: breathing.choked_air_flow(np.pi / 4 * d**2, STANDARD_ATMOSPHERE, _ROOM_TEMPERATURE) * heat,
            restrictor,
        )  # fmt: skip
        yield compare(
            ("peak power", peak_power), "at most", ("what the restrictor's air can burn", ceiling.shown_by(show))
        )
    flow = record.get("top_end.induction.rated_flow")
    depression = record.get("top_end.induction.rated_depression")
    if flow is not None and depression is not None:
        density = STANDARD_ATMOSPHERE / (GAS_CONSTANT_DRY_AIR * _ROOM_TEMPERATURE)
        ceiling = combine(
            lambda q, p: breathing.flow_at_depression(q, p, _MOST_DEPRESSION) * density * heat, flow, depression
        )
        yield compare(
            ("peak power", peak_power), "at most", ("what the carburetor's air can burn", ceiling.shown_by(show))
        )


def _heat_of_air(record: RecordValues) -> float:
    """Return the most work that one kilogram of air can make [J/kg]."""
    engine = record.build.build.engine
    heat = _HEAT_OF_AIR
    if engine.fuel is not None and engine.fuel.heating_value is not None and engine.fuel.stoichiometric:
        heat = engine.fuel.heating_value.si / engine.fuel.stoichiometric
    return heat * MOST_EFFICIENCY[engine.ignition]


@define.check("heat_of_air", "Fuel")
def _fuel(record: RecordValues) -> Comparison:
    """Return heating value against air-fuel ratio: every liquid fuel gives much the same heat for its air."""
    heating_value, ratio = (
        record.value("build.engine.fuel.heating_value"),
        record.value("build.engine.fuel.stoichiometric"),
    )
    usual = (ratio * 2.98e6).shown_by(heating_value.show)
    return compare(("heating value", heating_value), "equals", ("usual for that air-fuel ratio", usual), share=0.08)


@define.check("brake_thermal_efficiency", "Brake thermal efficiency")
def _brake_thermal_efficiency(record: RecordValues) -> Iterator[Comparison]:
    efficiency = record.figure("brake_thermal_efficiency")
    most = MOST_EFFICIENCY[record.build.build.engine.ignition]
    yield compare(("efficiency", efficiency), "at most", ("any engine of that kind", exactly(most, efficiency)))
    yield compare(("efficiency", efficiency), "at least", ("any engine in order", exactly(0.1, efficiency)))


@define.check("volumetric_efficiency", "Volumetric efficiency")
def _volumetric_efficiency(record: RecordValues) -> Iterator[Comparison]:
    efficiency = record.figure("volumetric_efficiency")
    boost = record.build.get("top_end.induction.boost")
    pressure_ratio = 1 + (boost.si / STANDARD_ATMOSPHERE if boost is not None else 0.0)
    if record.build.build.engine.induction in ("turbocharged", "supercharged") and boost is None:
        return
    most = exactly(_MOST_VOLUMETRIC_EFFICIENCY * pressure_ratio, efficiency)
    yield compare(("volumetric efficiency", efficiency), "at most", ("what the induction allows", most))
    yield compare(
        ("volumetric efficiency", efficiency), "at least", ("any engine at full throttle", exactly(0.3, efficiency))
    )


@define.check("restrictor", "Restrictor")
def _restrictor(record: RecordValues) -> Comparison:
    """Return the air taken in at peak power against the most that the restrictor can pass."""
    share = record.figure("restrictor_use")
    return compare(
        ("air over the most it can pass", share), "at most", ("choked flow", exactly(1.0, share)), share=0.03
    )


@define.check("injectors", "Injectors")
def _injectors(record: RecordValues) -> Iterator[Comparison]:
    duty = record.figure("injector_duty")
    yield compare(("injector duty", duty), "at most", ("an injector that is always open", exactly(1.15, duty)))
    yield compare(("injector duty", duty), "at least", ("any engine at full load", exactly(0.08, duty)))


@define.check("mean_pressure", "Torque and displacement")
def _mean_pressure(record: RecordValues) -> Iterator[Comparison]:
    """Yield BMEP against what engines make at full load, which a slip in bore, stroke or log leaves."""
    pull, _ = _strongest(record)
    path, torque = f"dyno.pulls.{pull.index}.file", pull.peaks.torque.value
    show = record.in_unit(TORQUE)
    logged = record.constant(path, show(torque), torque, show, f"peak torque of {pull.name}")
    turns = record.build.revolutions_per_cycle
    pressure = combine(
        lambda made, volume: power.bmep(made, volume, turns), logged, record.figure("displacement")
    ).shown_by(record.in_unit(BMEP))
    name = "BMEP at peak torque"
    yield compare((name, pressure), "at least", ("any engine at full load", exactly(3e5, pressure)))
    if record.build.build.engine.induction in (None, "naturally aspirated"):
        most = 17e5 if turns == 2 else 14e5
        yield compare((name, pressure), "at most", ("any engine without boost", exactly(most, pressure)))
