"""Wear of an engine between two builds: the change of each reading, its rate, and how long until its limit.

Wear counts positive in the direction in which a reading wears: a bore grows, a journal shrinks. Arrays have one entry
for each position (cylinder, journal, lobe); intervals between builds come first where there are several.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from builder.engine.uncertainty import COVERAGE
from builder.engine.validation import Array, Value, require_not_negative, require_positive, unwrap_scalar

MAX_RELATIVE_UNCERTAINTY = 0.5
"""A rate from one interval is good for an outlook only where its expanded uncertainty is no more of it than this
(common practice, no source)."""

NotStated = Literal[
    "", "no limit", "no measurable wear", "too uncertain", "uncertainty not stated", "beyond the limit"
]  # fmt: skip
"""Why there is no outlook; empty where there is one."""


def wear(built: Value, returned: Value, direction: int) -> Value:
    """Return how far a reading has worn since it was built, positive in the direction of wear.

    ``direction`` is 1 for what grows and -1 for what shrinks. Shape and unit: as the readings.
    """
    return unwrap_scalar(direction * (np.asarray(returned) - np.asarray(built)))


def wear_uncertainty(built: Value, returned: Value) -> Value:
    """Return the standard uncertainty of a wear from those of its two readings, taken as independent.

    Independent is the cautious side: an error that one gauge makes twice cancels. Shape and unit: as given.
    Raises ValueError for a negative uncertainty. Source: JCGM 100, 5.1.2.
    """
    require_not_negative(uncertainty_as_built=built, uncertainty_as_returned=returned)
    return unwrap_scalar(np.hypot(built, returned))


def resolvable_wear(uncertainty: Value, step: float = 0.0) -> Value:
    """Return the most that the gauges may differ by with nothing worn: the expanded uncertainty (k = 2) of the wear.

    ``uncertainty`` is the standard one. It is never less than ``step``, the last digit: two equal lengths may always
    be read one apart. Shape and unit: as the uncertainty. Source: JCGM 100, 6.2.1.
    """
    return unwrap_scalar(np.maximum(COVERAGE * np.asarray(uncertainty), step))


def is_measurable(worn: Value, uncertainty: Value, step: float = 0.0) -> Array:
    """Return where a wear is more than the gauges may differ by, as ``resolvable_wear`` has it."""
    result: Array = np.abs(np.asarray(worn)) > np.asarray(resolvable_wear(uncertainty, step)) * (1 + 1e-9)
    return result


def wear_rate(worn: Value, running: float) -> Value:
    """Return wear over the time [h] or distance [m] it took. Raises ValueError unless that is above zero."""
    require_positive(running=running)
    return unwrap_scalar(np.asarray(worn) / running)


def wear_rate_uncertainty(worn: Value, uncertainty: Value, running: float, running_uncertainty: float = 0.0) -> Value:
    """Return the standard uncertainty of a wear rate, from those of the wear and of the time or distance.

    u(r)^2 = (u(w)/t)^2 + (w u(t)/t^2)^2. Shape: as the wear. Raises ValueError unless ``running`` is above zero.
    Source: JCGM 100, 5.1.2.
    """
    require_positive(running=running)
    require_not_negative(uncertainty=uncertainty, running_uncertainty=running_uncertainty)
    by_running = np.asarray(worn) * running_uncertainty / running**2
    return unwrap_scalar(np.hypot(np.asarray(uncertainty) / running, by_running))


@dataclass(frozen=True)
class RateRange:
    """The rate of wear at each position: over all intervals together, and the least and most that it may be."""

    value: Array
    least: Array
    most: Array
    intervals: int
    is_measurable: Array
    """Where the wear over all intervals is more than the gauges may differ by."""


def rate_range(
    worn: Array, uncertainty: Array, running: Array, running_uncertainty: Array | None = None, step: float = 0.0
) -> RateRange:
    """Return the rate of wear over several intervals.

    The value is all wear over all running. Least and most are the lowest and highest of any interval, each with its
    expanded uncertainty (k = 2): the range holds both what the gauges may err by and how the intervals differ.

    Parameters
    ----------
    worn, uncertainty : array, shape (intervals, positions)
        Wear of each interval and its standard uncertainty, one unit.
    running, running_uncertainty : array, shape (intervals,)
        Time [h] or distance [m] of each interval and its standard uncertainty.
    step
        The last digit of the readings.

    Raises ValueError where a running time or distance is not above zero.
    """
    without = np.zeros(len(running)) if running_uncertainty is None else running_uncertainty
    rates = [np.atleast_1d(wear_rate(item, float(time))) for item, time in zip(worn, running, strict=True)]
    half_widths = [
        COVERAGE * np.atleast_1d(wear_rate_uncertainty(item, given, float(time), float(time_uncertainty)))
        for item, given, time, time_uncertainty in zip(worn, uncertainty, running, without, strict=True)
    ]
    total, total_uncertainty = np.sum(worn, axis=0), np.sqrt(np.sum(np.square(uncertainty), axis=0))
    return RateRange(
        value=total / float(np.sum(running)),
        least=np.min(np.subtract(rates, half_widths), axis=0),
        most=np.max(np.add(rates, half_widths), axis=0),
        intervals=len(rates),
        is_measurable=(total > 0) & is_measurable(total, total_uncertainty, step),
    )


def trend(rate: RateRange) -> RateRange | None:
    """Return the rate of what need not change evenly (a leak, a pressure, a spring's force); None where none is seen.

    Measurable where every one of two or more intervals shows a change in the direction of wear beyond its expanded
    uncertainty: then no rate of the range is zero or below. A single interval shows a change and no trend.
    """
    is_measurable = np.logical_and(rate.is_measurable, rate.least > 0)
    return replace(rate, is_measurable=is_measurable) if rate.intervals > 1 and is_measurable.any() else None


@dataclass(frozen=True)
class Outlook:
    """How much longer until a position reaches its limit at the rate seen, in the unit of the running; or why not.

    An estimate: it holds only as long as the engine is run as it was.
    """

    value: float = float("nan")
    least: float = float("nan")
    most: float = float("nan")
    reason: NotStated = ""


def running_to_limit(
    margin: Array | None, margin_uncertainty: Array, rate: RateRange, *, is_uncertainty_stated: bool = True
) -> tuple[Outlook, ...]:
    """Return the outlook of each position: (limit - now) / rate, with the interval of both.

    ``margin`` is how far each position may still wear, positive inside the limit; None without a limit. Stated only
    where the wear is measurable, no rate of the range is zero or below, and, from a single interval, the rate is known
    to ``MAX_RELATIVE_UNCERTAINTY`` from gauges whose uncertainty or resolution is stated: the last digit alone is less
    than a gauge errs by.
    """
    if margin is None:
        return tuple(Outlook(reason="no limit") for _ in rate.value)
    return tuple(
        _outlook(
            float(margin[index]),
            float(margin_uncertainty[index]),
            float(rate.value[index]),
            float(rate.least[index]),
            float(rate.most[index]),
            bool(rate.is_measurable[index]),
            rate.intervals,
            is_uncertainty_stated,
        )
        for index in range(len(rate.value))
    )


def _outlook(
    margin: float,
    uncertainty: float,
    rate: float,
    least: float,
    most: float,
    measurable: bool,
    intervals: int,
    stated: bool,
) -> Outlook:
    if margin <= 0:
        return Outlook(reason="beyond the limit")
    if not measurable:
        return Outlook(reason="no measurable wear")
    if intervals < 2 and not stated:
        return Outlook(reason="uncertainty not stated")
    half_width = (most - least) / 2
    if least <= 0 or (intervals < 2 and half_width > MAX_RELATIVE_UNCERTAINTY * rate):
        return Outlook(reason="too uncertain")
    expanded = COVERAGE * uncertainty
    return Outlook(margin / rate, max(0.0, margin - expanded) / most, (margin + expanded) / least)
