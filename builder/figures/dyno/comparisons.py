"""Pull against pull: repeats and their noise, what each change was worth, and swept settings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from builder.engine.comparison import (
    CONFIDENCE,
    Gain,
    PullGroup,
    Repeatability,
    SpeedRange,
    gain,
    repeatability,
)
from builder.engine.curves import mean_over, overlap
from builder.engine.optimum import BestSetting, best_setting
from builder.engine.pull_scatter import DRIFT_CONFIDENCE, Drift, RepeatGroup, Variance, drift
from builder.engine.uncertainty import effective_freedom
from builder.figures.core import display_units
from builder.figures.core.display_units import DisplayUnit, System
from builder.figures.dyno.common_range import covers, repeats_over
from builder.figures.dyno.pull import PullResult
from builder.figures.dyno.pull_scatter import PullScatter, relative_means
from builder.record.quantities.unit_table import printed_unit
from builder.record.quantities.units import to_unit
from builder.record.wording import count_of

EXTRAPOLATION_CAUTION = (
    "More is not better just because the curve still rises: detonation, heat and stress do not show in these "
    "numbers. Before going further: small steps, listen for detonation, read plugs and exhaust temperature "
    "each time, and never go beyond the manufacturer's limit for the engine and its fuel."
)
"""Goes with every setting whose best lies at or beyond the end of what was tested."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Repeats:
    """Pulls with nothing changed between them: how far they differ, and whether they drift [N m per pull]."""

    names: tuple[str, ...]
    indices: tuple[int, ...]
    repeatability: Repeatability
    drift: Drift
    text: str


_PERCENT = f"{100 * CONFIDENCE:.0f} %"

_SEVERAL = (",", ";", "+", "&", " and ")
"""Marks of a line that may hold more than one change."""

DriftCorrection = Literal["none", "removed", "baseline not repeated"]
"""Of a comparison: no drift seen; removed, as the baseline was pulled again; or seen, and the baseline not repeated."""


@dataclass(frozen=True, eq=False, kw_only=True)
class ComparisonResult:
    """What one change was worth in torque. ``gain`` is None where the two cannot be compared (``text`` says why).

    ``changes``: how many things were changed at once, None where the record leaves that open.
    ``before`` and ``after`` name the pulls on either side, repeats included; ``mean_text`` is the mean gain with
    its interval, ``drift_text`` what was done about drift.
    """

    name: str
    index: int
    since: str
    changed: str
    changes: int | None
    text: str
    before: tuple[str, ...] = ()
    after: tuple[str, ...] = ()
    gain: Gain | None = None
    mean_text: str = ""
    drift: DriftCorrection = "none"
    drift_text: str = ""


@dataclass(frozen=True, kw_only=True)
class SettingFit:
    """One result (peak power, mean torque ...) against a setting."""

    quantity: str
    display_unit: DisplayUnit
    levels: tuple[float, ...]
    values: tuple[float, ...]
    indices: tuple[int, ...]
    best: BestSetting | None
    text: str


@dataclass(frozen=True)
class SettingTrials:
    """A swept setting, in the unit it was written in; ``caution`` where the best lies outside what was tested."""

    name: str
    unit: str
    fits: tuple[SettingFit, ...]
    caution: str = ""


def group_repeats(pulls: Sequence[PullResult]) -> tuple[tuple[PullResult, ...], ...]:
    """Return the counted pulls in groups with nothing changed within; most groups hold one pull."""
    first_of: dict[str, str] = {}
    groups: dict[str, list[PullResult]] = {}
    for pull in pulls:
        repeated = pull.record.repeat_of
        first_of[pull.name] = first_of.get(repeated, repeated) if repeated else pull.name
        if pull.counted:
            groups.setdefault(first_of[pull.name], []).append(pull)
    return tuple(tuple(group) for group in groups.values())


def measure_repeats(
    groups: Sequence[Sequence[PullResult]], low: float, high: float, system: System
) -> tuple[Repeats, ...]:
    """Return how far the pulls of each group of two or more differ between two speeds [rev/s]; short ones left out."""
    results = []
    for group in groups:
        pulls, shared = repeats_over(group, low, high)
        if len(pulls) < 2:
            continue
        means = relative_means(group, low, high)
        if not means.value:
            continue
        spread = repeatability([pull.corrected.torque_curve for pull in pulls], *shared)
        level = float(np.mean([mean_over(pull.corrected.torque_curve, *shared) for pull in pulls]))
        resolution = max(pull.resolution.of_mean for pull in pulls)
        trend = drift(RepeatGroup(position=means.position, value=tuple(level * v for v in means.value)), resolution)
        results.append(
            Repeats(
                names=tuple(pull.name for pull in pulls),
                indices=tuple(pull.index for pull in pulls),
                repeatability=spread,
                drift=trend,
                text=_repeats_text(pulls, spread, trend, system),
            )
        )
    return tuple(results)


def _repeats_text(group: Sequence[PullResult], spread: Repeatability, trend: Drift, system: System) -> str:
    text = (
        f"Repeatability: {_size_text(spread.overall, system)} at any rpm, "
        f"{_size_text(spread.of_means, system)} averaged (1 SD, {len(group)} pulls). "
    )
    if trend.verdict == "cannot be told":
        text += f"{len(group)} pulls cannot show drift"
    else:
        slope = f"{signed_torque(trend.per_pull, system)} per pull, ±{_size_text(trend.half_width, system)}"
        seen = "" if trend.verdict == "seen" else "not measurable, "
        text += f"Drift: {seen}{slope} ({100 * DRIFT_CONFIDENCE:.0f} % confidence)"
    changes = _condition_changes(group[0], group[-1], system)
    return text + (f"; meanwhile {changes}." if changes else ".")


def _condition_changes(first: PullResult, last: PullResult, system: System) -> str:
    """Return what else moved between two pulls: the oil, the coolant, the air."""
    changes = []
    for slug, name in (("oil_temperature", "oil"), ("coolant_temperature", "coolant")):
        means = [
            float(np.nanmean(pull.channels[slug]))
            for pull in (first, last)
            if slug in pull.channels and np.isfinite(pull.channels[slug]).any()
        ]
        if len(means) == 2 and abs(means[1] - means[0]) >= 1.0:
            texts = (display_units.TEMPERATURE.text(mean, system) for mean in means)
            changes.append(f"{name} {' to '.join(texts)}")
    for before, after, name, unit, threshold in (
        (first.conditions.temperature, last.conditions.temperature, "air", display_units.TEMPERATURE, 0.5),
        (first.conditions.pressure, last.conditions.pressure, "barometer", display_units.AIR_PRESSURE, 30.0),
    ):
        if before is not None and after is not None and abs(after - before) >= threshold:
            changes.append(f"{name} {unit.text(before, system)} to {unit.text(after, system)}")
    return ", ".join(changes)


def compare_changes(
    pulls: Sequence[PullResult],
    groups: Sequence[Sequence[PullResult]],
    scatter: PullScatter,
    low: float,
    high: float,
    system: System,
    *,
    drift_seen: bool,
) -> tuple[ComparisonResult, ...]:
    """Return a comparison for every pull that names an earlier one, between two speeds [rev/s].

    ``drift_seen``: whether any repeats of the session drift.
    """
    by_name = {pull.name: pull for pull in pulls}
    group_of = {pull.name: group for group in groups for pull in group}
    results = []
    for pull in pulls:
        if pull.record.since is None:
            continue
        since = by_name.get(pull.record.since)
        if reason := _not_comparable(pull, since):
            results.append(_comparison(pull, f"cannot be compared: {reason}"))
            continue
        assert since is not None
        shared = overlap([item.corrected.torque_curve for item in (since, pull)], low, high)
        if shared is None:
            results.append(_comparison(pull, "cannot be compared: the pulls have no range of speeds in common"))
            continue
        before, after = (
            [item for item in group_of[side.name] if item is side or covers(item.corrected.torque_curve, *shared)]
            for side in (since, pull)
        )
        results.append(_compare(pull, before, after, groups, scatter, shared, system, drift_seen=drift_seen))
    return tuple(results)


def _not_comparable(pull: PullResult, since: PullResult | None) -> str:
    """Return why two pulls cannot be compared; empty where they can."""
    excluded = next((side for side in (since, pull) if side is not None and not side.counted), None)
    if excluded is not None:
        return f"{excluded.name}: {excluded.exclusion_reason}"
    return f"{pull.record.since} has no log" if since is None else ""


def _comparison(pull: PullResult, text: str) -> ComparisonResult:
    return ComparisonResult(
        name=pull.name,
        index=pull.index,
        since=pull.record.since or "",
        changed=pull.record.changed_text or "change not recorded",
        changes=_change_count(pull.record.changed),
        text=text,
    )


def _change_count(changed: Sequence[str]) -> int | None:
    """Return how many things were changed; None where one line may hold several, or where nothing is recorded."""
    if len(changed) > 1:
        return len(changed)
    return 1 if changed and not any(mark in changed[0] for mark in _SEVERAL) else None


def _compare(
    pull: PullResult,
    before: Sequence[PullResult],
    after: Sequence[PullResult],
    groups: Sequence[Sequence[PullResult]],
    scatter: PullScatter,
    shared: tuple[float, float],
    system: System,
    *,
    drift_seen: bool,
) -> ComparisonResult:
    repeats = [[item.corrected.torque_curve for item in group] for group in groups if len(group) > 1]
    difference = gain(pull_group(before), pull_group(after), scatter.scatter, *shared, repeats=repeats)
    correction = _drift_correction(before, after, drift_seen=drift_seen)
    return replace(
        _comparison(pull, gain_text(difference, system)),
        before=tuple(item.name for item in before),
        after=tuple(item.name for item in after),
        gain=difference,
        mean_text=_mean_text(difference, system),
        drift=correction,
        drift_text=_drift_text(correction, difference, system),
    )


def pull_group(pulls: Sequence[PullResult]) -> PullGroup:
    """Return one side of a comparison: the torque curves of its pulls, when they were made, and their last digits."""
    return PullGroup(
        curves=tuple(pull.corrected.torque_curve for pull in pulls),
        position=tuple(float(pull.index) for pull in pulls),
        resolution=max(pull.resolution.of_mean for pull in pulls),
        step=max(pull.resolution.step for pull in pulls),
    )


def _drift_correction(
    before: Sequence[PullResult], after: Sequence[PullResult], *, drift_seen: bool
) -> DriftCorrection:
    """Return what became of the drift: removed where one side was pulled both before and after the other."""
    sides = [[pull.index for pull in side] for side in (before, after)]
    for inner, outer in (sides, sides[::-1]):
        if min(outer) < min(inner) and max(inner) < max(outer):
            return "removed"
    if min(sides[0]) < min(sides[1]) < max(sides[0]) < max(sides[1]):
        return "removed"
    return "baseline not repeated" if drift_seen else "none"


_DRIFT_WORTH_TELLING = 0.1
"""A drift below this share of the half width of the interval is no more than the interval covers."""


def _drift_text(correction: DriftCorrection, gain: Gain, system: System) -> str:
    if correction == "removed":
        return "baseline pulled again after the change: a steady drift is removed"
    texts = []
    if abs(gain.drift) > _DRIFT_WORTH_TELLING * gain.half_width:
        texts.append(f"drift taken off, as the repeats show it: {signed_torque(gain.drift, system)}")
    if correction == "baseline not repeated":
        texts.append("drift seen, and the baseline not pulled again after the change: pull it again to be sure")
    return "; ".join(texts)


def gain_text(gain: Gain, system: System) -> str:
    """Return what a change was worth: `+7.0 lbf ft from 3,200 rpm up; below that within scatter`."""
    span = f"{_rpm_text(gain.low)}–{_rpm_text(gain.high)} rpm"
    if gain.verdict == "not known":
        return f"too few readings to tell a change from scatter, {span}"
    if gain.verdict == "no measurable change":
        return f"no measurable change, {span}"
    ranges = gain.significant_ranges
    if not ranges:
        return f"{_mean_text(gain, system)}; within scatter at any one rpm"
    slack = float(gain.speed[1] - gain.speed[0]) if gain.speed.size > 1 else 0.0
    parts = [f"{signed_torque(part.mean, system)} {_range_text(part, gain, slack)}" for part in ranges]
    at_bottom, at_top = ranges[0].low <= gain.low + slack, ranges[-1].high >= gain.high - slack
    if len(ranges) > 1:
        rest = "; elsewhere within scatter"
    elif at_bottom and at_top:
        rest = ""
    else:
        rest = f"; {'above that' if at_bottom else 'below that' if at_top else 'elsewhere'} within scatter"
    return ", ".join(parts) + rest


def _range_text(part: SpeedRange, gain: Gain, slack: float) -> str:
    at_bottom, at_top = part.low <= gain.low + slack, part.high >= gain.high - slack
    if at_bottom and at_top:
        return f"over the whole range, {_rpm_text(gain.low)}–{_rpm_text(gain.high)} rpm"
    if at_top:
        return f"from {_rpm_text(part.low)} rpm up"
    return f"up to {_rpm_text(part.high)} rpm" if at_bottom else f"at {_rpm_text(part.low)}–{_rpm_text(part.high)} rpm"


def _rpm_text(speed: float) -> str:
    return f"{round(60 * speed / 25) * 25:,}"


def _mean_text(gain: Gain, system: System) -> str:
    text = f"{signed_torque(gain.mean, system)} averaged over {_rpm_text(gain.low)}–{_rpm_text(gain.high)} rpm"
    if np.isfinite(gain.half_width):
        text += f", ±{_size_text(gain.half_width, system)} ({_PERCENT} confidence)"
    return text


def torque_text(value: float, system: System) -> str:
    """Return a torque or a difference of torques with no more digits than a dyno gives."""
    return display_units.TORQUE.text(value, system)


def signed_torque(value: float, system: System) -> str:
    """Return a difference of torques with its sign."""
    text = torque_text(value, system)
    return text if text.startswith("−") or display_units.TORQUE.rounds_to_zero(value, system, 0.0) else f"+{text}"


def _size_text(value: float, system: System) -> str:
    """Return an interval or a deviation, which is never zero: rounded to the last digit, or up to it."""
    scale = display_units.TORQUE.scale(system)
    if display_units.TORQUE.step(value, system) >= 0.5 * 10.0**-scale.decimals:
        return torque_text(value, system)
    return f"under {display_units.join_unit(f'{10.0**-scale.decimals:g}', display_units.TORQUE.label(system))}"


def scatter_text(scatter: PullScatter) -> str:
    """Return how far pulls are taken to scatter, and where that comes from."""
    size = f"Pull-to-pull scatter {100 * scatter.relative:.2g} % of torque"
    prior = {"assumed": "common practice", "shop": "the shop's own repeatability"}[scatter.prior]
    if scatter.source == "session":
        pulls = count_of(scatter.repeats, "repeat pull")
        return f"{size} (1 SD), from {pulls} of this session and {prior}."
    known = f"{size} (1 SD) is assumed ({prior})" if scatter.source == "assumed" else f"{size} (1 SD): {prior}"
    return f"{known}; no repeat pulls."


def fit_settings(pulls: Sequence[PullResult], scatter: PullScatter, system: System) -> tuple[SettingTrials, ...]:
    """Return every setting that was tested at two or more values, with the best by each result."""
    groups: dict[str, list[PullResult]] = {}
    for pull in pulls:
        if pull.counted and pull.record.setting is not None:
            groups.setdefault(pull.record.setting.name.casefold(), []).append(pull)
    sweeps = (_fit_setting(group, scatter, system) for group in groups.values())
    return tuple(sweep for sweep in sweeps if sweep is not None)


def _fit_setting(group: Sequence[PullResult], scatter: PullScatter, system: System) -> SettingTrials | None:
    first = group[0].record.setting
    assert first is not None
    tried: list[tuple[PullResult, float]] = []
    for pull in group:
        setting = pull.record.setting
        if setting is not None and setting.level.dimension == first.level.dimension:
            level = setting.level.si
            if first.level.unit:
                level = to_unit(level, first.level.unit, first.level.dimension)
            tried.append((pull, round(level, 9)))
    if len({level for _, level in tried}) < 2:
        return None
    unit = printed_unit(first.level.unit)
    fits = []
    for quantity, display_unit, values in (
        ("peak power", display_units.POWER, [pull.peaks.power.value for pull, _ in tried]),
        ("peak torque", display_units.TORQUE, [pull.peaks.torque.value for pull, _ in tried]),
        ("mean torque", display_units.TORQUE, [pull.mean_torque for pull, _ in tried]),
    ):
        points = [
            (level, value, pull)
            for (pull, level), value in zip(tried, values, strict=True)
            if value is not None and np.isfinite(value)
        ]
        if len({level for level, _, _ in points}) < 2:
            continue
        levels, results, swept = (tuple(column) for column in zip(*points, strict=True))
        best = None
        if len(set(levels)) >= 3:
            best = _best_setting(levels, results, swept, scatter, quantity)
        fits.append(
            SettingFit(
                quantity=quantity,
                display_unit=display_unit,
                levels=levels,
                values=results,
                indices=tuple(pull.index for pull in swept),
                best=best,
                text=_fit_text(quantity, display_unit, best, unit, system),
            )
        )
    extrapolates = any(fit.best is not None and _optimum_out_of_range(fit.best) for fit in fits)
    return SettingTrials(first.name, unit, tuple(fits), EXTRAPOLATION_CAUTION if extrapolates else "")


def _best_setting(
    levels: Sequence[float], values: Sequence[float], pulls: Sequence[PullResult], scatter: PullScatter, quantity: str
) -> BestSetting:
    """Return the best setting, the session's drift taken off; the noise of a pull is known from the whole session."""
    model = scatter.scatter
    position = np.array([pull.index - pulls[0].index for pull in pulls], dtype=np.float64)
    size = float(np.mean(np.abs(values)))
    # The scatter of the session's repeats holds the noise of their readings already; what was known before does not.
    prior_share = 1 - model.repeats / model.variance.freedom
    readings, reading_freedom = _relative_reading_variance(pulls, quantity)
    between, within = model.variance.value, readings * prior_share
    freedom = effective_freedom((between, model.variance.freedom), (within, reading_freedom))
    variance = Variance(value=(between + within) * size**2, freedom=freedom)
    drift = np.sqrt(model.drift_variance * between / (between + within)) * position
    steady = np.asarray(values) - model.drift * size * position
    return best_setting(levels, [float(value) for value in steady], variance, [float(value) for value in drift])


def _relative_reading_variance(pulls: Sequence[PullResult], quantity: str) -> tuple[float, float]:
    """Return the mean variance of a result over its square, from readings and last digit, with degrees of freedom."""
    variances, freedom = [], 0.0
    for pull in pulls:
        top = pull.peaks.power if quantity == "peak power" else pull.peaks.torque
        digit = pull.resolution.of_mean if quantity == "mean torque" else pull.resolution.step / np.sqrt(12)
        # The mean over the range is known at least as well as the peak, so the noise of the peak serves for both.
        variances.append((top.deviation / top.value) ** 2 + (digit / pull.peaks.torque.value) ** 2)
        freedom += top.freedom
    return float(np.mean(variances)), max(freedom, 1.0)


def _optimum_out_of_range(best: BestSetting) -> bool:
    """Return whether the numbers ask for a setting outside those tested."""
    if best.optimum is not None:
        return not best.levels[0] <= best.optimum <= best.levels[-1]
    return best.verdict in ("still rising", "still falling")


def _fit_text(quantity: str, display_unit: DisplayUnit, best: BestSetting | None, unit: str, system: System) -> str:
    if best is None:
        return f"{quantity}: two settings only; an optimum needs three"
    if best.optimum is not None and best.optimum_value is not None and best.interval is not None:
        low, high = best.interval
        decimals = _interval_decimals(min(high, best.levels[-1]) - max(low, best.levels[0]))
        text = f"{quantity}: optimum about {level_text(round(best.optimum, decimals), unit)} (quadratic fit)"
        text += f", {_interval_text(low, high, best, decimals, unit)} ({_PERCENT} confidence)"
        text += f"; {display_unit.text(best.optimum_value, system)}"
        return text + (", outside the tested range" if _optimum_out_of_range(best) else "")
    tried = f"best tested {level_text(best.best_tried, unit)} ({display_unit.text(best.best_value, system)})"
    if best.verdict in ("still rising", "still falling"):
        last = best.levels[-1 if best.verdict == "still rising" else 0]
        end = "highest" if best.verdict == "still rising" else "lowest"
        return f"{quantity}: still improving at the {end} setting tested, {level_text(last, unit)}; {tried}"
    if best.verdict == "no measurable change":
        span = f"{level_text(best.levels[0], '')} to {level_text(best.levels[-1], unit)}"
        return f"{quantity}: no measurable change from {span}, so no optimum is named"
    return f"{quantity}: no optimum within the settings tested; {tried}"


def _interval_text(low: float, high: float, best: BestSetting, decimals: int, unit: str) -> str:
    """Return between which settings an optimum lies; an end beyond the settings tested is not stated as a number."""
    ends = (
        "below the lowest setting tested" if low < best.levels[0] else level_text(round(low, decimals), unit),
        "above the highest setting tested" if high > best.levels[-1] else level_text(round(high, decimals), unit),
    )
    return f"{ends[0]} to {ends[1]}"


def _interval_decimals(width: float) -> int:
    """Return with how many decimals an interval of this width is written: two digits of half of it."""
    return max(0, 1 - int(np.floor(np.log10(width / 2)))) if width > 0 else 3


def level_text(level: float, unit: str) -> str:
    """Return a setting in the unit it was written in."""
    number = f"{level:g}".replace("-", "−")
    return f"{number}{'' if unit in ('', '°') else chr(0xA0)}{unit}"
