"""Channels along each pull against the shop's guidelines. Breaking one is a caution, never an error."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from builder.engine.constants import REV_PER_MINUTE
from builder.engine.validation import Array
from builder.figures.core import display_units
from builder.figures.core.display_units import DisplayUnit, System
from builder.figures.core.engine_data import EngineData
from builder.figures.dyno.pull import PullResult, by_cylinder, lambda_of
from builder.figures.review.guideline_defaults import GuidelineValue, guideline_value, mixture_guideline
from builder.record.models.shop import Shop

_FULL_LOAD = 0.9
"""Throttle opening from which the mixture is held against its guideline, where the throttle was logged (common
practice, no source)."""


@dataclass(frozen=True, kw_only=True)
class Violation:
    """One guideline broken in one pull.

    ``channel`` is what was logged or worked out; ``side`` says whether it fell below or rose above ``limit``;
    ``value`` is the worst, at ``speed`` [rev/s]; ``ranges`` are all speeds at which it happens. ``guideline``:
    whose rule it is, and the rule as it is written. ``worst_text``: the worst value and its speed, in the shop's
    units; ``worst_and_limit_text``: the same, with the guideline at that speed and a remark.
    """

    pull: str
    index: int
    channel: str
    title: str
    side: Literal["below", "above"]
    limit: float
    value: float
    speed: float
    ranges: tuple[tuple[float, float], ...]
    guideline: str
    worst_text: str
    worst_and_limit_text: str
    text: str


def summarize_violations(violations: Iterable[Violation]) -> Iterator[tuple[str, Violation]]:
    """Yield each broken guideline once, for all pulls that broke it, as a sentence and its worst violation."""
    by_channel: dict[tuple[str, str], list[Violation]] = {}
    for violation in violations:
        by_channel.setdefault((violation.channel, violation.side), []).append(violation)
    for alike in by_channel.values():
        worst = max(alike, key=lambda violation: abs(violation.value - violation.limit))
        text = worst.text
        if len(alike) > 1:
            names = ", ".join(violation.pull for violation in alike)
            text = (
                f"{worst.title} {worst.side} the guideline on {len(alike)} pulls ({names}); "
                f"worst on {worst.pull}: {worst.worst_and_limit_text}"
            )
        yield text, worst


@dataclass(frozen=True, eq=False)
class GuidelineTrace:
    """One channel of one pull with the guideline it is held against; either limit may be missing (NaN)."""

    channel: str
    title: str
    display_unit: DisplayUnit
    values: Array
    guideline: str
    low: Array | float = float("nan")
    high: Array | float = float("nan")
    remark: str = ""


def find_violations(
    pulls: Sequence[PullResult], shop: Shop, engine: EngineData, system: System
) -> tuple[Violation, ...]:
    """Return every guideline broken along every pull, with the speeds at which it happens."""
    return tuple(
        violation
        for pull in pulls
        for trace in guideline_traces(pull, shop, engine)
        for violation in _violations(pull, trace, system)
    )


def guideline_traces(pull: PullResult, shop: Shop, engine: EngineData) -> Iterator[GuidelineTrace]:
    """Yield what a pull logged that has a guideline, with its limits along the speed."""
    channels = pull.channels
    if "oil_pressure" in channels:
        least = guideline_value(shop, "least_oil_pressure_per_1000_rpm")
        limits = pull.corrected.speed / (1000 * REV_PER_MINUTE) * least.value
        rule = _rule_text("at least {} for every 1000 rpm", least)
        yield GuidelineTrace(
            "oil_pressure", "oil pressure", display_units.PRESSURE, channels["oil_pressure"], rule, limits
        )
    for slug, title in (("oil_temperature", "oil temperature"), ("coolant_temperature", "coolant temperature")):
        if slug in channels:
            most = guideline_value(shop, f"most_{slug}")
            rule = _rule_text("at most {}", most)
            yield GuidelineTrace(slug, title, display_units.TEMPERATURE, channels[slug], rule, high=most.value)
    yield from _supply_traces(pull, shop, engine)
    yield from _heat_traces(pull, shop, engine)
    if "spark_advance" in channels:
        most = guideline_value(shop, "most_timing")
        rule = _rule_text("at most {}", most)
        yield GuidelineTrace(
            "spark_advance", "spark advance", display_units.ANGLE, channels["spark_advance"], rule, high=most.value
        )
    if "turbo_speed" in channels and engine.turbo_speed_limit is not None:
        limit = display_units.SPEED.text(engine.turbo_speed_limit, "metric")
        yield GuidelineTrace(
            "turbo_speed",
            "turbocharger speed",
            display_units.SPEED,
            channels["turbo_speed"],
            f"manufacturer of the turbocharger: at most {limit}",
            high=engine.turbo_speed_limit,
        )
    mixture = None if engine.compression_ignition else lambda_of(channels, engine)
    window = mixture_guideline(shop, engine.fuel)
    if mixture is not None and window is not None:
        if "throttle" in channels:
            mixture = np.where(channels["throttle"] >= _FULL_LOAD, mixture, np.nan)
        rich, lean = window
        rule = _rule_text(f"lambda {{}} to {{}} on {engine.fuel}", rich, lean)
        yield GuidelineTrace(
            "lambda", "lambda at full load", display_units.RATIO, mixture, rule, rich.value, lean.value
        )
    between = lambda_spread(pull)
    if between is not None:
        most = guideline_value(shop, "most_lambda_spread")
        title, rule = "lambda between cylinders", _rule_text("at most {} apart", most)
        yield GuidelineTrace("lambda_spread", title, display_units.RATIO, between, rule, high=most.value)
    spread = exhaust_spread(pull)
    if spread is not None:
        values, hottest, coldest = spread
        most = guideline_value(shop, "most_exhaust_spread")
        remark, rule = f"cylinder {hottest} hottest, {coldest} coldest", _rule_text("at most {} °C apart", most)
        title, unit = "exhaust temperature between cylinders", display_units.TEMPERATURE_STEP
        yield GuidelineTrace("exhaust_spread", title, unit, values, rule, high=most.value, remark=remark)
    share = blow_by_share(pull)
    if share is not None:
        most = guideline_value(shop, "most_blow_by_share")
        title, rule = "blow-by as a share of the air", _rule_text("at most {} of the air", most)
        yield GuidelineTrace("blow_by_share", title, display_units.PERCENT, share, rule, high=most.value)


def _supply_traces(pull: PullResult, shop: Shop, engine: EngineData) -> Iterator[GuidelineTrace]:
    """Yield what feeds the engine: fuel pressure and battery against their own highest, vacuum at full throttle."""
    channels = pull.channels
    if "fuel_pressure" in channels and not engine.compression_ignition:
        pressure, most = channels["fuel_pressure"], guideline_value(shop, "most_fuel_pressure_drop")
        low = _less(pressure, most.value)
        if "boost_pressure" in channels:
            # A regulator that follows the boost keeps the difference; what falls with the boost is no fault.
            boost = channels["boost_pressure"]
            low = np.fmin(low, _less(pressure - boost, most.value) + boost)
        rule = _rule_text("falls by at most {} of its highest", most)
        yield GuidelineTrace("fuel_pressure", "fuel pressure", display_units.PRESSURE, pressure, rule, low)
    if "battery_voltage" in channels:
        volts, most = channels["battery_voltage"], guideline_value(shop, "most_battery_drop")
        rule = _rule_text("falls by at most {} of its highest", most)
        yield GuidelineTrace("battery_voltage", "battery", display_units.VOLTAGE, volts, rule, _less(volts, most.value))
    if engine.boosted:
        yield from _boost_trace(pull, shop)
    if engine.boosted or engine.compression_ignition or engine.restricted:
        return
    most, unit = guideline_value(shop, "most_full_throttle_vacuum"), display_units.AIR_PRESSURE
    rule = _rule_text("at most {} of vacuum at full throttle", most)
    if "manifold_vacuum" in channels:
        vacuum = _at_full_throttle(channels["manifold_vacuum"], channels)
        yield GuidelineTrace("manifold_vacuum", "manifold vacuum", unit, vacuum, rule, high=most.value)
    elif "manifold_pressure" in channels and pull.conditions.pressure is not None:
        absolute = _at_full_throttle(channels["manifold_pressure"], channels)
        least = pull.conditions.pressure - most.value
        yield GuidelineTrace("manifold_pressure", "manifold pressure", display_units.PRESSURE, absolute, rule, least)


def _boost_trace(pull: PullResult, shop: Shop) -> Iterator[GuidelineTrace]:
    """Yield the boost, as logged or as manifold pressure, where the shop has set a limit."""
    most, barometer = guideline_value(shop, "most_boost"), pull.conditions.pressure
    rule = _rule_text("at most {} of boost", most)
    if most.value <= 0:
        return
    for slug, title, outside in (
        ("boost_pressure", "boost", 0.0),
        ("manifold_pressure", "manifold pressure", barometer),
    ):
        if slug in pull.channels and outside is not None:
            limit, unit = outside + most.value, display_units.PRESSURE
            yield GuidelineTrace(slug, title, unit, pull.channels[slug], rule, high=limit)
            return


def _heat_traces(pull: PullResult, shop: Shop, engine: EngineData) -> Iterator[GuidelineTrace]:
    """Yield inlet air, charge and exhaust temperature, the hottest cylinder where they were logged one by one."""
    channels, corrected_with = pull.channels, pull.conditions.temperature
    # Behind a compressor the same sensor reads the charge, which is warmer than the air outside.
    if "air_temperature" in channels and corrected_with is not None and not engine.boosted:
        most = guideline_value(shop, "most_inlet_air_difference")
        rule = _rule_text("within {} °C of the temperature that the result is corrected with", most)
        yield GuidelineTrace(
            "air_temperature",
            "inlet air",
            display_units.TEMPERATURE,
            channels["air_temperature"],
            rule,
            corrected_with - most.value,
            corrected_with + most.value,
        )
    if "charge_temperature" in channels:
        most = guideline_value(shop, "most_charge_temperature")
        values, rule = channels["charge_temperature"], _rule_text("at most {}", most)
        yield GuidelineTrace(
            "charge_temperature", "charge temperature", display_units.TEMPERATURE, values, rule, high=most.value
        )
    hottest = hottest_exhaust(pull)
    slug, exhaust = ("exhaust_temperature", channels.get("exhaust_temperature"))
    if hottest is not None:
        slug, exhaust = "hottest_exhaust", hottest
    if exhaust is not None:
        name = "most_diesel_exhaust_temperature" if engine.compression_ignition else "most_exhaust_temperature"
        most = guideline_value(shop, name)
        rule = _rule_text("at most {}", most)
        yield GuidelineTrace(slug, "exhaust temperature", display_units.TEMPERATURE, exhaust, rule, high=most.value)


def _less(values: Array, share: float) -> Array:
    """Return the highest of the values less a share of it, at every speed."""
    highest = float(np.fmax.reduce(values, initial=-np.inf))
    return np.full(values.shape, highest * (1 - share) if np.isfinite(highest) else np.nan)


def _at_full_throttle(values: Array, channels: Mapping[str, Array]) -> Array:
    """Return the values where the throttle is open, where it was logged; elsewhere NaN."""
    return np.where(channels["throttle"] >= _FULL_LOAD, values, np.nan) if "throttle" in channels else values


def _rule_text(template: str, *limits: GuidelineValue) -> str:
    return f"{limits[0].authority}: {template.format(*(limit.text for limit in limits))}"


def exhaust_spread(pull: PullResult) -> tuple[Array, int, int] | None:
    """Return the hottest less the coldest exhaust [K] along the speed, and which cylinders at its widest."""
    return _spread(by_cylinder(pull.channels, "exhaust_temperature"))


def lambda_spread(pull: PullResult) -> Array | None:
    """Return the leanest less the richest cylinder's lambda [-] along the speed; None for fewer than two cylinders."""
    spread = _spread(by_cylinder(pull.channels, "lambda"))
    return None if spread is None else spread[0]


def _spread(logged: list[tuple[int, Array]]) -> tuple[Array, int, int] | None:
    """Return the highest less the lowest cylinder along the speed, and which those are where it is widest."""
    if len(logged) < 2:
        return None
    values = np.stack([channel for _, channel in logged])
    comparable = np.isfinite(values).sum(axis=0) >= 2
    if not comparable.any():
        return None
    high = np.where(comparable, np.fmax.reduce(values), np.nan)
    low = np.where(comparable, np.fmin.reduce(values), np.nan)
    column = values[:, int(np.nanargmax(high - low))]
    return high - low, logged[int(np.nanargmax(column))][0], logged[int(np.nanargmin(column))][0]


def hottest_exhaust(pull: PullResult) -> Array | None:
    """Return the exhaust temperature of the hottest cylinder at each speed [K]; None where no cylinder was logged."""
    logged = by_cylinder(pull.channels, "exhaust_temperature")
    return np.fmax.reduce([values for _, values in logged]) if logged else None


def blow_by_share(pull: PullResult) -> Array | None:
    """Return blow-by over the air taken in, both by volume [-]; None where either is not known."""
    if "blow_by" not in pull.channels:
        return None
    air = pull.channels.get("air_flow_volume")
    if air is None and "air_flow_mass" in pull.derived and pull.conditions.air is not None:
        air = pull.derived["air_flow_mass"] / pull.conditions.air.density
    if air is None:
        return None
    return np.where(air > 0, pull.channels["blow_by"] / np.where(air > 0, air, 1.0), np.nan)


def _violations(pull: PullResult, trace: GuidelineTrace, system: System) -> Iterator[Violation]:
    sides: tuple[tuple[Literal["below", "above"], Array | float, float], ...] = (
        ("below", trace.low, -1.0),
        ("above", trace.high, 1.0),
    )
    for side, limit, sign in sides:
        limits = np.broadcast_to(np.asarray(limit, dtype=np.float64), trace.values.shape)
        # What the page would show as equal to the limit does not break it.
        half_digit = trace.display_unit.last_digit(system) / 2
        excess = sign * (trace.values - limits)
        broken = np.isfinite(excess) & (excess >= half_digit)
        if not broken.any():
            continue
        worst = int(np.argmax(np.where(broken, excess, -np.inf)))
        value, limit_there, speed = (float(values[worst]) for values in (trace.values, limits, pull.corrected.speed))
        ranges = _speed_ranges(pull.corrected.speed, broken)
        worst_text = f"{trace.display_unit.text(value, system)} at {60 * speed:,.0f} rpm"
        detail = f"{worst_text}, where the guideline is {trace.display_unit.text(limit_there, system)}"
        if trace.remark:
            detail += f" ({trace.remark})"
        yield Violation(
            pull=pull.name,
            index=pull.index,
            channel=trace.channel,
            title=trace.title,
            side=side,
            limit=limit_there,
            value=value,
            speed=speed,
            ranges=ranges,
            guideline=trace.guideline,
            worst_text=worst_text,
            worst_and_limit_text=detail,
            text=f"{pull.name}: {trace.title} {side} the guideline {_ranges_text(ranges)}; worst {detail}",
        )


def _speed_ranges(
    speed: Array, flag: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]
) -> tuple[tuple[float, float], ...]:
    """Return the ranges of speed in which the flag is set."""
    padded = np.concatenate([[False], flag, [False]])
    change = np.flatnonzero(padded[1:] != padded[:-1])
    return tuple(
        (float(speed[start]), float(speed[stop - 1])) for start, stop in zip(change[::2], change[1::2], strict=True)
    )


def _ranges_text(ranges: Sequence[tuple[float, float]]) -> str:
    texts = [
        f"at {60 * low:,.0f} rpm" if high == low else f"from {60 * low:,.0f} to {60 * high:,.0f} rpm"
        for low, high in ranges[:3]
    ]
    if len(ranges) > 3:
        texts.append(f"and in {len(ranges) - 3} more range{'s' if len(ranges) > 4 else ''}")
    return ", ".join(texts)
