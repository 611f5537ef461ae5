"""Pull against pull: repeats and their noise, what each change was worth, and settings tried at several levels."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from builder.engine.comparison import Drift, Gain, Repeatability, SpeedRange, drift, gain, repeatability
from builder.engine.curves import Curve
from builder.engine.optimum import BestSetting, best_setting
from builder.figures.core import display_units
from builder.figures.core.display_units import DisplayUnit, System
from builder.figures.dyno.pull import PullResult
from builder.record.quantities.unit_table import printed_unit
from builder.record.quantities.units import to_unit

EXTRAPOLATION_CAUTION = (
    "Further is not better just because the curve still rises: detonation, heat and stress do not show in these "
    "numbers. Before anyone goes further: small steps, listening for detonation, plugs and exhaust temperature "
    "read each time, and never beyond the maker's limit for the engine and its fuel."
)
"""Goes with every setting whose best lies at or beyond the end of what was tried."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Repeats:
    """Pulls with nothing changed between them: how far they differ, and whether they crept."""

    names: tuple[str, ...]
    indices: tuple[int, ...]
    repeatability: Repeatability
    drift: Drift
    text: str


@dataclass(frozen=True, eq=False, kw_only=True)
class ComparisonResult:
    """What one change was worth in torque. ``gain`` is None where the two cannot be compared (``verdict`` says why).

    ``before`` and ``after`` name the pulls on either side, repeats included; ``mean_text`` is the mean gain with
    its interval, ``noise_text`` says where the noise comes from. ``power``: the same in power.
    """

    name: str
    index: int
    since: str
    changed: str
    verdict: str
    before: tuple[str, ...] = ()
    after: tuple[str, ...] = ()
    gain: Gain | None = None
    power: Gain | None = None
    mean_text: str = ""
    noise_text: str = ""


@dataclass(frozen=True, kw_only=True)
class SettingFit:
    """One result (peak power, mean torque ...) against the levels of a setting."""

    quantity: str
    display_unit: DisplayUnit
    levels: tuple[float, ...]
    values: tuple[float, ...]
    indices: tuple[int, ...]
    best: BestSetting | None
    verdict: str


@dataclass(frozen=True)
class SettingTrials:
    """A setting tried at several levels, in the unit it was written in; ``caution`` where the best lies outside."""

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
    """Return how far the pulls of each group of two or more differ between two speeds [rev/s]."""
    results = []
    for group in groups:
        if len(group) < 2:
            continue
        curves = [pull.corrected.torque_curve for pull in group]
        try:
            spread, trend = repeatability(curves, low, high), drift(curves, low, high)
        except ValueError:
            continue
        results.append(
            Repeats(
                names=tuple(pull.name for pull in group),
                indices=tuple(pull.index for pull in group),
                repeatability=spread,
                drift=trend,
                text=_repeats_text(group, spread, trend, system),
            )
        )
    return tuple(results)


def _repeats_text(group: Sequence[PullResult], spread: Repeatability, trend: Drift, system: System) -> str:
    text = (
        f"{len(group)} pulls with nothing changed differ by {torque_text(spread.overall, system)} at any one speed and "
        f"{torque_text(spread.of_means, system)} in their means (standard deviations)"
    )
    moved = f"rom the first to the last they moved by {signed_torque(trend.change, system)}"
    if trend.beyond_noise:
        text += f". They drift: f{moved}, more than the readings within a pull scatter"
    else:
        text += f". F{moved}, no more than the readings within a pull scatter"
    changes = _condition_changes(group[0], group[-1], system)
    return text + (f"; meanwhile {changes}." if changes else ".")


def _condition_changes(first: PullResult, last: PullResult, system: System) -> str:
    """Say what else moved between two pulls: the oil, the coolant, the air."""
    changes = []
    for slug, name in (("oil_temperature", "oil"), ("coolant_temperature", "coolant")):
        means = [
            float(np.nanmean(pull.channels[slug]))
            for pull in (first, last)
            if slug in pull.channels and np.isfinite(pull.channels[slug]).any()
        ]
        if len(means) == 2 and abs(means[1] - means[0]) >= 1.0:
            texts = (display_units.TEMPERATURE.text(mean, system) for mean in means)
            changes.append(f"the {name} went from {' to '.join(texts)}")
    for before, after, name, unit, threshold in (
        (first.conditions.temperature, last.conditions.temperature, "the air", display_units.TEMPERATURE, 0.5),
        (first.conditions.pressure, last.conditions.pressure, "the barometer", display_units.AIR_PRESSURE, 30.0),
    ):
        if before is not None and after is not None and abs(after - before) >= threshold:
            changes.append(f"{name} went from {unit.text(before, system)} to {unit.text(after, system)}")
    return ", ".join(changes)


def compare_changes(
    pulls: Sequence[PullResult], groups: Sequence[Sequence[PullResult]], low: float, high: float, system: System
) -> tuple[ComparisonResult, ...]:
    """Return a comparison for every pull that names an earlier one, between two speeds [rev/s]."""
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
        before, after = group_of[since.name], group_of[pull.name]
        others = [group for group in groups if group is not before and group is not after]
        results.append(_compare(pull, before, after, others, low, high, system))
    return tuple(results)


def _not_comparable(pull: PullResult, since: PullResult | None) -> str:
    """Say why two pulls cannot be compared; empty where they can."""
    excluded = next((side for side in (since, pull) if side is not None and not side.counted), None)
    if excluded is not None:
        return f"{excluded.name}: {excluded.exclusion_reason}"
    return f"{pull.record.since} has no log" if since is None else ""


def _comparison(pull: PullResult, verdict: str) -> ComparisonResult:
    changed = pull.record.changed or "not said what was changed"
    return ComparisonResult(
        name=pull.name, index=pull.index, since=pull.record.since or "", changed=changed, verdict=verdict
    )


def _compare(
    pull: PullResult,
    before: Sequence[PullResult],
    after: Sequence[PullResult],
    others: Sequence[Sequence[PullResult]],
    low: float,
    high: float,
    system: System,
) -> ComparisonResult:
    def torque(group: Sequence[PullResult]) -> list[Curve]:
        return [item.corrected.torque_curve for item in group]

    def power(group: Sequence[PullResult]) -> list[Curve]:
        return [item.corrected.power_curve for item in group]

    before_names, after_names = tuple(item.name for item in before), tuple(item.name for item in after)
    try:
        torque_gain, power_gain = (
            gain(curves(before), curves(after), low, high, repeats=[curves(group) for group in others])
            for curves in (torque, power)
        )
    except ValueError as error:
        result = _comparison(pull, f"cannot be compared: {error}")
        return replace(result, before=before_names, after=after_names)
    return replace(
        _comparison(pull, verdict_text(torque_gain, system)),
        before=before_names,
        after=after_names,
        gain=torque_gain,
        power=power_gain,
        mean_text=_mean_text(torque_gain, system),
        noise_text=_noise_text(torque_gain),
    )


def verdict_text(gain: Gain, system: System) -> str:
    """Say what a change was worth: `worth 7 lbf ft from 3,200 rpm up; below that no more than the noise`."""
    if gain.verdict == "noise not known":
        return f"{signed_torque(gain.mean, system)} on average; too few readings to tell that from noise"
    if not gain.significant_ranges:
        span = f"{_rpm_text(gain.low)} to {_rpm_text(gain.high)} rpm"
        if not gain.beyond_noise:
            return f"no more than the noise anywhere from {span}"
        return f"{_worth_text(gain.mean, system)} on average over {span}, though at no one speed more than the noise"
    slack = float(gain.speed[1] - gain.speed[0]) if gain.speed.size > 1 else 0.0
    ranges = gain.significant_ranges
    parts = [f"{_worth_text(part.mean, system)} {_range_text(part, gain, slack)}" for part in ranges]
    at_bottom, at_top = ranges[0].low <= gain.low + slack, ranges[-1].high >= gain.high - slack
    if len(ranges) > 1:
        rest = "; elsewhere no more than the noise"
    elif at_bottom and at_top:
        rest = ""
    else:
        rest = f"; {'above that' if at_bottom else 'below that' if at_top else 'elsewhere'} no more than the noise"
    return " and ".join(parts) + rest


def _worth_text(mean: float, system: System) -> str:
    return f"{'worth' if mean > 0 else 'costs'} {torque_text(abs(mean), system)}"


def _range_text(part: SpeedRange, gain: Gain, slack: float) -> str:
    at_bottom, at_top = part.low <= gain.low + slack, part.high >= gain.high - slack
    if at_bottom and at_top:
        return f"over the whole range, {_rpm_text(gain.low)} to {_rpm_text(gain.high)} rpm"
    if at_top:
        return f"from {_rpm_text(part.low)} rpm up"
    return (
        f"up to {_rpm_text(part.high)} rpm"
        if at_bottom
        else f"from {_rpm_text(part.low)} to {_rpm_text(part.high)} rpm"
    )


def _rpm_text(speed: float) -> str:
    return f"{round(60 * speed / 25) * 25:,}"


def _mean_text(gain: Gain, system: System) -> str:
    text = f"{signed_torque(gain.mean, system)} on average over {_rpm_text(gain.low)} to {_rpm_text(gain.high)} rpm"
    if np.isfinite(gain.half_width):
        text += f", give or take {torque_text(gain.half_width, system)} (95 %)"
    return text


def _noise_text(gain: Gain) -> str:
    if gain.basis == "repeats":
        return f"noise from repeat pulls, {gain.freedom:.0f} degree{'s' if gain.freedom != 1 else ''} of freedom"
    if gain.basis == "readings":
        return (
            "noise from the scatter of the readings along the two pulls, as nothing was pulled twice: "
            "what a repeat would have shown is not known"
        )
    return "noise not known: too few readings, and nothing was pulled twice"


def torque_text(value: float, system: System) -> str:
    """Return a torque or a difference of torques with no more digits than a brake gives."""
    return display_units.TORQUE.text(value, system)


def signed_torque(value: float, system: System) -> str:
    """Return a difference of torques with its sign."""
    text = torque_text(value, system)
    return text if text.startswith("−") or value <= 0 else f"+{text}"


def fit_settings(pulls: Sequence[PullResult], repeats: Sequence[Repeats], system: System) -> tuple[SettingTrials, ...]:
    """Return every setting that was tried at two or more levels, with the best level by each result."""
    groups: dict[str, list[PullResult]] = {}
    for pull in pulls:
        if pull.counted and pull.record.setting is not None:
            groups.setdefault(pull.record.setting.name.casefold(), []).append(pull)
    return tuple(sweep for group in groups.values() if (sweep := _fit_setting(group, repeats, system)) is not None)


def _fit_setting(group: Sequence[PullResult], repeats: Sequence[Repeats], system: System) -> SettingTrials | None:
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
    noise = _pooled_deviation([item.repeatability for item in repeats])
    fits = []
    for quantity, display_unit, values in (
        ("peak power", display_units.POWER, [pull.peaks.power.value for pull, _ in tried]),
        ("peak torque", display_units.TORQUE, [pull.peaks.torque.value for pull, _ in tried]),
        ("mean torque", display_units.TORQUE, [pull.mean_torque for pull, _ in tried]),
    ):
        points = [
            (level, value, pull.index)
            for (pull, level), value in zip(tried, values, strict=True)
            if value is not None and np.isfinite(value)
        ]
        if len({level for level, _, _ in points}) < 2:
            continue
        levels, results, indices = (tuple(column) for column in zip(*points, strict=True))
        best = None
        if len(set(levels)) >= 3:
            best = best_setting(levels, results, noise if quantity == "mean torque" else None)
        fits.append(
            SettingFit(
                quantity=quantity,
                display_unit=display_unit,
                levels=levels,
                values=results,
                indices=indices,
                best=best,
                verdict=_fit_text(quantity, display_unit, best, unit, system),
            )
        )
    extrapolates = any(fit.best is not None and _optimum_out_of_range(fit.best) for fit in fits)
    return SettingTrials(first.name, unit, tuple(fits), EXTRAPOLATION_CAUTION if extrapolates else "")


def _pooled_deviation(spreads: Sequence[Repeatability]) -> float | None:
    """Return the standard deviation of the mean torque of a pull [N m] from all repeats; None without repeats."""
    freedom = sum(spread.freedom for spread in spreads)
    return float(np.sqrt(sum(s.freedom * s.of_means**2 for s in spreads) / freedom)) if freedom else None


def _optimum_out_of_range(best: BestSetting) -> bool:
    """Return whether the numbers ask for a level that nobody tried."""
    if best.optimum is not None:
        return not best.levels[0] <= best.optimum <= best.levels[-1]
    return best.verdict in ("still rising", "still falling")


def _fit_text(quantity: str, display_unit: DisplayUnit, best: BestSetting | None, unit: str, system: System) -> str:
    if best is None:
        return f"{quantity}: two levels only, and a curve needs three"
    noise = "; all levels differ by no more than the noise of a pull" if best.within_noise else ""
    highest, lowest = level_text(best.levels[-1], unit), level_text(best.levels[0], unit)
    if best.verdict == "optimum" and best.optimum is not None and best.optimum_value is not None:
        step = max(np.diff(best.levels))
        decimals = max(0, int(np.ceil(-np.log10(step))) + 1)
        level, value = level_text(round(best.optimum, decimals), unit), display_unit.text(best.optimum_value, system)
        text = f"{quantity}: best at about {level} by the curve through the levels ({value})"
        if best.optimum > best.levels[-1]:
            text += f", beyond the last level tried ({highest}), where nobody has been"
        elif best.optimum < best.levels[0]:
            text += f", below the lowest level tried ({lowest}), where nobody has been"
        return text + noise
    tried = f"best of those tried {level_text(best.best_tried, unit)} ({display_unit.text(best.best_value, system)})"
    if best.verdict == "still rising":
        return f"{quantity}: still rising at the last level tried, {highest}; {tried}{noise}"
    if best.verdict == "still falling":
        return f"{quantity}: still falling from the lowest level tried, {lowest}; {tried}{noise}"
    return f"{quantity}: the levels do not make a curve that bends down, so no optimum is named; {tried}{noise}"


def level_text(level: float, unit: str) -> str:
    """Return a level in the unit it was written in."""
    number = f"{level:g}".replace("-", "−")
    return f"{number}{'' if unit in ('', '°') else chr(0xA0)}{unit}"
