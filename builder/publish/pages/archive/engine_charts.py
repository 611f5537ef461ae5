"""The charts on the page of an engine: power and torque of every build, and readings after delivery over the hours."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from builder.archive.engine_build import EngineBuild
from builder.archive.engine_dyno import DynoState
from builder.archive.summary import Summary
from builder.draw.charts.engine_history import HoursSeries, OverHours, over_hours
from builder.draw.charts.power import Peak, PowerCurves, PullCurves, power_curves
from builder.draw.style import NARROW
from builder.figures.core import display_units as units
from builder.figures.core.display_units import DisplayUnit, System
from builder.publish.pages.build.page_chart import PageChart
from builder.publish.pages.build.readout import (
    Readout,
    ReadoutPanel,
    ReadoutSeries,
    between_speeds,
    in_units,
    readout_units,
)
from builder.record.models.fields import title_of
from builder.record.models.service import OilElements
from builder.record.models.shop import Shop

CURVES = "engine_power"
Section = Literal["curves", "leak-down", "compression", "oil"]
_SPEED_STEP = 50.0
"""Between two speeds at which curves of several sessions are read off [rpm]."""
_DASHED = " Dashed: our limit."
_LEAK_DOWN, _COMPRESSION = "assembly.checks.leak_down", "assembly.checks.cranking_compression"


def engine_charts(builds: Sequence[Summary], shop: Shop, system: System, *, both: bool) -> Iterator[PageChart]:
    """Yield the charts of an engine's builds, oldest first."""
    yield from _power(builds, system, both=both)
    yield from _by_cylinder(builds, "leak-down", "Leak-down", _LEAK_DOWN, units.WHOLE_PERCENT, system)
    yield from _by_cylinder(builds, "compression", "Cranking compression", _COMPRESSION, units.PRESSURE, system)
    yield from _oil(builds, shop)


@dataclass(frozen=True)
class NamedState:
    """A state of the engine on the dyno with its name, and whether it is that of a delivery."""

    name: str
    state: DynoState
    delivered: bool


def states_of(builds: Sequence[Summary]) -> list[NamedState]:
    """Return every state of the engine on the dyno, oldest first."""
    states = []
    for build in builds:
        engine = build.engine
        if engine is not None and engine.before is not None:
            states.append(NamedState(f"{name_of(build)}, as returned", engine.before, delivered=False))
        if engine is not None and engine.as_delivered is not None:
            states.append(NamedState(f"{name_of(build)}, as delivered", engine.as_delivered, delivered=True))
    return states


def name_of(build: Summary) -> str:
    """Return how a build of an engine is named where all have the engine in common: its number, else its year."""
    return build.number or build.date or build.slug


def _power(builds: Sequence[Summary], system: System, *, both: bool) -> Iterator[PageChart]:
    states = states_of(builds)
    if not states:
        return

    def number(unit: DisplayUnit, value: float) -> float:
        return float(unit.number(value, system))

    def curves(index: int, name: str, state: DynoState) -> PullCurves:
        return PullCurves(
            name,
            units.SPEED.number(1.0, system) * state.speeds,
            in_units(units.TORQUE, readout_units(units.TORQUE, system, both=False), state.torque)[0],
            in_units(units.POWER, readout_units(units.POWER, system, both=False), state.power)[0],
            peak_torque=Peak(number(units.SPEED, state.peak_torque_speed), number(units.TORQUE, state.peak_torque)),
            peak_power=Peak(number(units.SPEED, state.peak_power_speed), number(units.POWER, state.peak_power)),
            position=index,
        )

    latest = len(states) - 1
    data = PowerCurves(
        tuple(curves(index, item.name, item.state) for index, item in enumerate(states)),
        latest,
        tuple(range(max(0, latest - 2), latest)),
        torque_unit=units.TORQUE.label(system),
        power_unit=units.POWER.label(system),
        labels=False,
    )
    standards = list(dict.fromkeys(item.state.standard for item in states))
    caption = f"Torque and power, {' and '.join(standards)}. Bold: the latest state."
    if len(standards) > 1:
        caption += " Curves of different standards are not comparable."
    request = power_curves.request(data, name=CURVES, responsive=True)
    yield PageChart("curves", request, caption, readout=_readout(states, system, both=both), inline=True)


def _readout(states: Sequence[NamedState], system: System, *, both: bool) -> Readout:
    speeds = [units.SPEED.number(1.0, system) * item.state.speeds for item in states]
    low, high = min(speed[0] for speed in speeds), max(speed[-1] for speed in speeds)
    x = np.arange(_SPEED_STEP * np.ceil(low / _SPEED_STEP), high + 1, _SPEED_STEP)

    def panel(title: str, unit: DisplayUnit, values: Sequence[npt.ArrayLike]) -> ReadoutPanel:
        shown = readout_units(unit, system, both=both)
        return ReadoutPanel(
            title,
            shown,
            tuple(
                tuple(between_speeds(x, speed, along) for along in in_units(unit, shown, value))
                for speed, value in zip(speeds, values, strict=True)
            ),
        )

    return Readout(
        x,
        tuple(
            ReadoutSeries(item.name, shown=index >= len(states) - 3, leads=index == len(states) - 1 > 0)
            for index, item in enumerate(states)
        ),
        (
            panel("Torque", units.TORQUE, [item.state.torque for item in states]),
            panel("Power", units.POWER, [item.state.power for item in states]),
        ),
        float(x[x.size // 2]),
    )


def _by_cylinder(
    builds: Sequence[Summary], section: Section, title: str, path: str, unit: DisplayUnit, system: System
) -> Iterator[PageChart]:
    """Yield the worst cylinder over the hours since each delivery: as delivered, at services, as returned."""
    worst: Callable[[tuple[float, ...]], float] = max if section == "leak-down" else min
    series, limits = [], []
    for build, later in zip(builds, [*builds[1:], None], strict=True):
        engine = build.engine
        assert engine is not None
        points = []
        reading = next((item for item in engine.readings if item.path == path), None)
        if reading is not None and reading.built:
            points.append((0.0, worst(reading.built)))
            limits.append(reading.maximum if section == "leak-down" else reading.minimum)
        for service in engine.services:
            values = service.leak_down if section == "leak-down" else service.cranking_compression
            if values and service.hours is not None:
                points.append((service.hours, worst(values)))
        if later is not None and later.engine is not None:
            points += _as_returned(later.engine, path, worst)
        if points:
            series.append(_series(build, points, unit, system))
    if not any(len(one.hours) > 1 for one in series):
        return
    limit = limits[-1] if limits else None
    cylinder = "worst cylinder" if section == "leak-down" else "lowest cylinder"
    data = OverHours(
        f"{title}, {cylinder}",
        unit.label(system),
        tuple(series),
        None if limit is None else unit.number(limit, system),
        limit_is_least=section == "compression",
        decimals=unit.scale(system).decimals,
    )
    caption = f"{title} over the hours since delivery: as delivered, at services, and as the engine came back."
    caption += _DASHED if limit is not None else ""
    yield PageChart(section, over_hours.request(data, name=section.replace("-", "_"), size=NARROW), caption)


def _as_returned(
    engine: EngineBuild, path: str, worst: Callable[[tuple[float, ...]], float]
) -> list[tuple[float, float]]:
    reading = next((item for item in engine.readings if item.path == path), None)
    if reading is None or not reading.returned or engine.hours is None:
        return []
    return [(engine.hours, worst(reading.returned))]


def _series(build: Summary, points: Sequence[tuple[float, float]], unit: DisplayUnit, system: System) -> HoursSeries:
    ordered = sorted(points)
    return HoursSeries(
        f"after {name_of(build)}",
        tuple(hours for hours, _ in ordered),
        tuple(unit.number(value, system) for _, value in ordered),
    )


def _oil(builds: Sequence[Summary], shop: Shop) -> Iterator[PageChart]:
    """Yield a small chart for each element in the oil that has a limit, or that was measured more than once."""
    limits: Mapping[str, float] = shop.oil_limits.model_dump(exclude_none=True) if shop.oil_limits else {}
    for element, info in OilElements.model_fields.items():
        series = []
        for build in builds:
            assert build.engine is not None
            points = sorted(
                (service.hours, service.elements[element])
                for service in build.engine.services
                if element in service.elements and service.hours is not None
            )
            if points:
                hours, values = zip(*points, strict=True)
                series.append(HoursSeries(f"after {name_of(build)}", hours, values))
        if not series or (element not in limits and all(len(one.hours) < 2 for one in series)):
            continue
        title = title_of(element, info)
        data = OverHours(title, "ppm", tuple(series), limits.get(element), decimals=0)
        yield PageChart(
            "oil",
            over_hours.request(data, name=f"oil_{element}", size=NARROW),
            f"{title} in the oil.{_DASHED if element in limits else ''}",
        )
