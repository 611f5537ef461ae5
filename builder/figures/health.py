"""The engine's health along each pull, against the shop's guidelines. Breaking one is a caution, never an error."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from builder.engine.values import Array
from builder.figures import shown
from builder.figures.engine_facts import EngineFacts
from builder.figures.pulls import PullResult, lambda_of
from builder.figures.shown import Shown, System
from builder.record.channels import CYLINDERS
from builder.record.shop import Guidelines
from builder.record.units import Quantity, parse_quantity

# The usual values where the shop set none: common practice, no source.
OIL_PRESSURE_PER_1000_RPM = parse_quantity("10 psi", "pressure").si
OIL_TEMPERATURE = parse_quantity("275 degF", "temperature").si
COOLANT_TEMPERATURE = parse_quantity("220 degF", "temperature").si
RICHEST_LAMBDA, LEANEST_LAMBDA = 0.80, 0.95
EXHAUST_SPREAD = 55.0
BLOW_BY_SHARE = 0.015

SHARE = shown.PERCENT
_FULL_LOAD = 0.9
"""Throttle opening from which on the mixture is judged, where the throttle was logged."""
_TEMPERATURE_STEP = Shown("temperature difference", "K", shown.Scale("°F", 0, 1 / 1.8), shown.Scale("°C", 0, 1.0))


@dataclass(frozen=True)
class Breach:
    """One guideline broken in one pull.

    ``channel`` is what was logged or worked out; ``side`` says whether it fell below or rose above ``limit``;
    ``value`` is the worst, at ``speed`` [rev/s]; ``ranges`` are all speeds at which it happens.
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
    shown: Shown
    words: str


@dataclass(frozen=True, eq=False)
class Judged:
    """One channel of one pull with the guideline it is held against; either limit may be missing (NaN)."""

    channel: str
    title: str
    shown: Shown
    values: Array
    low: Array | float = float("nan")
    high: Array | float = float("nan")
    remark: str = ""


def breaches_of(
    pulls: Sequence[PullResult], guidelines: Guidelines, facts: EngineFacts, system: System
) -> tuple[Breach, ...]:
    """Every guideline broken along every pull, with the speeds at which it happens."""
    return tuple(
        breach
        for pull in pulls
        for judged in judged_of(pull, guidelines, facts)
        for breach in _breaches(pull, judged, system)
    )


def judged_of(pull: PullResult, guidelines: Guidelines, facts: EngineFacts) -> Iterator[Judged]:
    """What a pull logged that there is a guideline for, with its limits along the speed."""
    channels = pull.channels
    if "oil_pressure" in channels:
        per_1000 = _si(guidelines.least_oil_pressure_per_1000_rpm, OIL_PRESSURE_PER_1000_RPM)
        yield Judged(
            "oil_pressure", "oil pressure", shown.PRESSURE, channels["oil_pressure"], pull.speed * 0.06 * per_1000
        )
    for slug, title, limit in (
        ("oil_temperature", "oil temperature", _si(guidelines.most_oil_temperature, OIL_TEMPERATURE)),
        ("coolant_temperature", "coolant temperature", _si(guidelines.most_coolant_temperature, COOLANT_TEMPERATURE)),
    ):
        if slug in channels:
            yield Judged(slug, title, shown.TEMPERATURE, channels[slug], high=limit)
    mixture = None if facts.compression_ignition else lambda_of(channels, facts)
    if mixture is not None:
        if "throttle" in channels:
            mixture = np.where(channels["throttle"] >= _FULL_LOAD, mixture, np.nan)
        rich, lean = guidelines.least_lambda or RICHEST_LAMBDA, guidelines.most_lambda or LEANEST_LAMBDA
        yield Judged("lambda", "lambda at full load", shown.RATIO, mixture, rich, lean)
    spread = exhaust_spread(pull)
    if spread is not None:
        values, hottest, coldest = spread
        limit = guidelines.most_exhaust_spread or EXHAUST_SPREAD
        remark = f"cylinder {hottest} hottest, {coldest} coldest"
        yield Judged("exhaust_spread", "exhaust temperature between cylinders", _TEMPERATURE_STEP, values, high=limit,
                     remark=remark)  # fmt: skip
    share = blow_by_share(pull)
    if share is not None:
        limit = guidelines.most_blow_by_share or BLOW_BY_SHARE
        yield Judged("blow_by_share", "blow-by as a share of the air", SHARE, share, high=limit)


def exhaust_spread(pull: PullResult) -> tuple[Array, int, int] | None:
    """Hottest less coldest exhaust [K] along the speed, and which cylinders those are where it is widest."""
    logged = [
        (number, pull.channels[slug])
        for number in range(1, CYLINDERS + 1)
        if (slug := f"exhaust_temperature_{number}") in pull.channels
    ]
    if len(logged) < 2:
        return None
    values = np.stack([each for _, each in logged])
    known = np.isfinite(values).sum(axis=0) >= 2
    if not known.any():
        return None
    high = np.where(known, np.fmax.reduce(values), np.nan)
    low = np.where(known, np.fmin.reduce(values), np.nan)
    widest = int(np.nanargmax(high - low))
    column = values[:, widest]
    return high - low, logged[int(np.nanargmax(column))][0], logged[int(np.nanargmin(column))][0]


def blow_by_share(pull: PullResult) -> Array | None:
    """Blow-by over the air taken in, both by volume [-]; None where either is not known."""
    if "blow_by" not in pull.channels:
        return None
    air = pull.channels.get("air_flow_volume")
    if air is None and "air_flow_mass" in pull.derived and pull.day.air is not None:
        air = pull.derived["air_flow_mass"] / pull.day.air.density
    if air is None:
        return None
    return np.where(air > 0, pull.channels["blow_by"] / np.where(air > 0, air, 1.0), np.nan)


def _si(quantity: Quantity | None, usual: float) -> float:
    return quantity.si if quantity is not None else usual


def _breaches(pull: PullResult, judged: Judged, system: System) -> Iterator[Breach]:
    sides: tuple[tuple[Literal["below", "above"], Array | float, float], ...] = (
        ("below", judged.low, -1.0),
        ("above", judged.high, 1.0),
    )
    for side, limit, sign in sides:
        limits = np.broadcast_to(np.asarray(limit, dtype=np.float64), judged.values.shape)
        beyond = sign * (judged.values - limits)
        broken = np.isfinite(beyond) & (beyond > 1e-9 * np.abs(limits))
        if not broken.any():
            continue
        worst = int(np.argmax(np.where(broken, beyond, -np.inf)))
        value, bound, speed = float(judged.values[worst]), float(limits[worst]), float(pull.speed[worst])
        ranges = _runs(pull.speed, broken)
        words = (
            f"{pull.name}: {judged.title} {side} the guideline {_spans(ranges)}; worst "
            f"{judged.shown.text(value, system)} at {60 * speed:,.0f} rpm, where the guideline is "
            f"{judged.shown.text(bound, system)}"
        )
        if judged.remark:
            words += f" ({judged.remark})"
        yield Breach(
            pull.name, pull.index, judged.channel, judged.title, side, bound, value, speed, ranges, judged.shown, words
        )  # fmt: skip


def _runs(speed: Array, flag: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]) -> tuple[tuple[float, float], ...]:
    """Stretches of speed in which the flag is up."""
    padded = np.concatenate([[False], flag, [False]])
    change = np.flatnonzero(padded[1:] != padded[:-1])
    return tuple(
        (float(speed[start]), float(speed[stop - 1])) for start, stop in zip(change[::2], change[1::2], strict=True)
    )


def _spans(ranges: Sequence[tuple[float, float]]) -> str:
    said = [
        f"at {60 * low:,.0f} rpm" if high == low else f"from {60 * low:,.0f} to {60 * high:,.0f} rpm"
        for low, high in ranges[:3]
    ]
    if len(ranges) > 3:
        said.append(f"and {len(ranges) - 3} more stretches")
    return ", ".join(said)
