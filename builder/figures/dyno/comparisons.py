"""Pull against pull: repeats and their noise, what each change was worth, and settings that were swept."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

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


@dataclass(frozen=True, eq=False)
class Repeats:
    """Pulls with nothing changed between them: how far they differ, and whether they crept."""

    names: tuple[str, ...]
    indices: tuple[int, ...]
    repeatability: Repeatability
    drift: Drift
    text: str


@dataclass(frozen=True, eq=False)
class ComparisonResult:
    """What one change was worth in torque. ``gain`` is None where the two cannot be compared (``verdict`` says why).

    ``before`` and ``after`` name the pulls on either side, repeats included; ``mean`` is the mean gain with its
    interval in words, ``noise`` says where the noise comes from. ``power``: the same in power.
    """

    name: str
    index: int
    since: str
    changed: str
    before: tuple[str, ...]
    after: tuple[str, ...]
    gain: Gain | None
    power: Gain | None
    verdict: str
    mean_text: str = ""
    noise_text: str = ""


@dataclass(frozen=True)
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
class SettingSweep:
    """A setting tried at several levels, in the unit it was written in; ``caution`` where the best lies outside."""

    name: str
    unit: str
    fits: tuple[SettingFit, ...]
    caution: str = ""


def group_repeats(pulls: Sequence[PullResult]) -> tuple[tuple[PullResult, ...], ...]:
    """The counted pulls in groups with nothing changed within; most groups hold one pull."""
    root: dict[str, str] = {}
    groups: dict[str, list[PullResult]] = {}
    for each in pulls:
        first = each.record.repeat_of
        root[each.name] = root.get(first, first) if first else each.name
        if each.counted:
            groups.setdefault(root[each.name], []).append(each)
    return tuple(tuple(group) for group in groups.values())


def measure_repeats(
    groups: Sequence[Sequence[PullResult]], low: float, high: float, system: System
) -> tuple[Repeats, ...]:
    """How far the pulls of each group of two or more differ."""
    found = []
    for group in groups:
        if len(group) < 2:
            continue
        curves = [each.torque_curve for each in group]
        try:
            spread, crept = repeatability(curves, low, high), drift(curves, low, high)
        except ValueError:
            continue
        words = _repeats_text(group, spread, crept, system)
        names, indices = tuple(each.name for each in group), tuple(each.index for each in group)
        found.append(Repeats(names, indices, spread, crept, words))
    return tuple(found)


def _repeats_text(group: Sequence[PullResult], spread: Repeatability, crept: Drift, system: System) -> str:
    words = (
        f"{len(group)} pulls with nothing changed differ by {torque_text(spread.overall, system)} at any one speed and "
        f"{torque_text(spread.of_means, system)} in their means (standard deviations)"
    )
    change = f"From the first to the last they moved by {signed_torque(crept.change, system)}"
    if crept.beyond_noise:
        words += f". They drift: {change[0].lower()}{change[1:]}, more than the readings within a pull scatter"
    else:
        words += f". {change}, no more than the readings within a pull scatter"
    meanwhile = _condition_changes(group[0], group[-1], system)
    return words + (f"; meanwhile {meanwhile}." if meanwhile else ".")


def _condition_changes(first: PullResult, last: PullResult, system: System) -> str:
    """What else moved between two pulls: the oil, the coolant, the air."""
    said = []
    for slug, name in (("oil_temperature", "oil"), ("coolant_temperature", "coolant")):
        ends = [
            float(np.nanmean(each.channels[slug]))
            for each in (first, last)
            if slug in each.channels and np.isfinite(each.channels[slug]).any()
        ]
        if len(ends) == 2 and abs(ends[1] - ends[0]) >= 1.0:
            said.append(f"the {name} went from {' to '.join(display_units.TEMPERATURE.text(v, system) for v in ends)}")
    for then, now, name, kind, least in (
        (first.conditions.temperature, last.conditions.temperature, "the air", display_units.TEMPERATURE, 0.5),
        (first.conditions.pressure, last.conditions.pressure, "the barometer", display_units.AIR_PRESSURE, 30.0),
    ):
        if then is not None and now is not None and abs(now - then) >= least:
            said.append(f"{name} went from {kind.text(then, system)} to {kind.text(now, system)}")
    return ", ".join(said)


def compare_changes(
    pulls: Sequence[PullResult],
    groups: Sequence[Sequence[PullResult]],
    low: float,
    high: float,
    system: System,
) -> tuple[ComparisonResult, ...]:
    """Every pull that names an earlier one it is to be compared with."""
    by_name = {each.name: each for each in pulls}
    group_of = {each.name: group for group in groups for each in group}
    return tuple(
        _compare(each, by_name.get(each.record.since), group_of, groups, low, high, system)
        for each in pulls
        if each.record.since is not None
    )


def _compare(
    of: PullResult,
    since: PullResult | None,
    group_of: dict[str, Sequence[PullResult]],
    groups: Sequence[Sequence[PullResult]],
    low: float,
    high: float,
    system: System,
) -> ComparisonResult:
    named = of.record.since or ""
    changed = of.record.changed or "not said what was changed"
    if since is None or not since.counted or not of.counted:
        culprit = next((each for each in (since, of) if each is not None and not each.counted), None)
        reason = f"{culprit.name}: {culprit.exclusion_reason}" if culprit else f"{named} has no log"
        return ComparisonResult(of.name, of.index, named, changed, (), (), None, None, f"cannot be compared: {reason}")
    before, after = group_of[since.name], group_of[of.name]
    others = [group for group in groups if group is not before and group is not after]
    sides = tuple(each.name for each in before), tuple(each.name for each in after)
    try:
        torque = _gain(before, after, others, low, high, "torque_curve")
        power = _gain(before, after, others, low, high, "power_curve")
    except ValueError as refused:
        return ComparisonResult(of.name, of.index, named, changed, *sides, None, None, f"cannot be compared: {refused}")
    return ComparisonResult(
        of.name, of.index, named, changed, *sides, torque, power, verdict_text(torque, system),
        _mean_text(torque, system), _noise_text(torque, system),
    )  # fmt: skip


def _gain(
    before: Sequence[PullResult],
    after: Sequence[PullResult],
    others: Sequence[Sequence[PullResult]],
    low: float,
    high: float,
    which: str,
) -> Gain:
    def curves(group: Sequence[PullResult]) -> list[Curve]:
        return [getattr(each, which) for each in group]

    return gain(curves(before), curves(after), low, high, repeats=[curves(group) for group in others])


def verdict_text(of: Gain, system: System) -> str:
    """`worth 7 lbf ft from 3,200 rpm up; below that no more than the noise`."""
    if of.verdict == "noise not known":
        return f"{signed_torque(of.mean, system)} on average; too few readings to tell that from noise"
    if not of.significant_ranges:
        span = f"{_rpm_text(of.low)} to {_rpm_text(of.high)} rpm"
        if not of.beyond_noise:
            return f"no more than the noise anywhere from {span}"
        return f"{_worth_text(of.mean, system)} on average over {span}, though at no one speed more than the noise"
    slack = float(of.speed[1] - of.speed[0]) if of.speed.size > 1 else 0.0
    parts = [f"{_worth_text(each.mean, system)} {_range_text(each, of, slack)}" for each in of.significant_ranges]
    bottom, top = of.significant_ranges[0].low <= of.low + slack, of.significant_ranges[-1].high >= of.high - slack
    if len(of.significant_ranges) > 1:
        rest = "; elsewhere no more than the noise"
    elif bottom and top:
        rest = ""
    else:
        rest = f"; {'above that' if bottom else 'below that' if top else 'elsewhere'} no more than the noise"
    return " and ".join(parts) + rest


def _worth_text(mean: float, system: System) -> str:
    return f"{'worth' if mean > 0 else 'costs'} {torque_text(abs(mean), system)}"


def _range_text(part: SpeedRange, of: Gain, slack: float) -> str:
    bottom, top = part.low <= of.low + slack, part.high >= of.high - slack
    if bottom and top:
        return f"over the whole range, {_rpm_text(of.low)} to {_rpm_text(of.high)} rpm"
    if top:
        return f"from {_rpm_text(part.low)} rpm up"
    return (
        f"up to {_rpm_text(part.high)} rpm" if bottom else f"from {_rpm_text(part.low)} to {_rpm_text(part.high)} rpm"
    )


def _rpm_text(speed: float) -> str:
    return f"{round(60 * speed / 25) * 25:,}"


def _mean_text(of: Gain, system: System) -> str:
    words = f"{signed_torque(of.mean, system)} on average over {_rpm_text(of.low)} to {_rpm_text(of.high)} rpm"
    if np.isfinite(of.half_width):
        words += f", give or take {torque_text(of.half_width, system)} (95 %)"
    return words


def _noise_text(of: Gain, system: System) -> str:
    if of.basis == "repeats":
        return f"noise from repeat pulls, {of.freedom:.0f} degree{'s' if of.freedom != 1 else ''} of freedom"
    if of.basis == "readings":
        return (
            "noise from the scatter of the readings along the two pulls, as nothing was pulled twice: "
            "what a repeat would have shown is not known"
        )
    return "noise not known: too few readings, and nothing was pulled twice"


def torque_text(value: float, system: System) -> str:
    """A torque or a difference of torques, with no more digits than a brake gives."""
    return display_units.TORQUE.text(value, system)


def signed_torque(value: float, system: System) -> str:
    """A difference of torques with its sign."""
    text = torque_text(value, system)
    return text if text.startswith("−") or value <= 0 else f"+{text}"


def fit_settings(pulls: Sequence[PullResult], repeats: Sequence[Repeats], system: System) -> tuple[SettingSweep, ...]:
    """Every setting tried at two or more levels."""
    names: dict[str, list[PullResult]] = {}
    for each in pulls:
        if each.counted and each.record.setting is not None:
            names.setdefault(each.record.setting.name.casefold(), []).append(each)
    return tuple(sweep for group in names.values() if (sweep := _fit_setting(group, repeats, system)) is not None)


def _fit_setting(group: Sequence[PullResult], repeats: Sequence[Repeats], system: System) -> SettingSweep | None:
    first = group[0].record.setting
    assert first is not None
    level, alike = first.level, []
    for each in group:
        setting = each.record.setting
        if setting is not None and setting.level.dimension == level.dimension:
            number = to_unit(setting.level.si, level.unit, level.dimension) if level.unit else setting.level.si
            alike.append((each, round(number, 9)))
    if len({number for _, number in alike}) < 2:
        return None
    unit = printed_unit(level.unit)
    spreads = [each.repeatability for each in repeats]
    freedom = sum(each.freedom for each in spreads)
    noise = float(np.sqrt(sum(s.freedom * s.of_means**2 for s in spreads) / freedom)) if freedom else None
    fits = []
    for what, kind, values in (
        ("peak power", display_units.POWER, [each.peak_power.value for each, _ in alike]),
        ("peak torque", display_units.TORQUE, [each.peak_torque.value for each, _ in alike]),
        ("mean torque", display_units.TORQUE, [each.mean_torque for each, _ in alike]),
    ):
        known = [(n, v, e.index) for (e, n), v in zip(alike, values, strict=True) if v is not None and np.isfinite(v)]
        if len({n for n, _, _ in known}) < 2:
            continue
        levels, results, indices = (tuple(column) for column in zip(*known, strict=True))
        best = None
        if len(set(levels)) >= 3:
            best = best_setting(levels, results, noise if what == "mean torque" else None)
        fits.append(SettingFit(what, kind, levels, results, indices, best, _fit_text(what, kind, best, unit, system)))
    tempting = any(fit.best is not None and _optimum_out_of_range(fit.best) for fit in fits)
    return SettingSweep(first.name, unit, tuple(fits), EXTRAPOLATION_CAUTION if tempting else "")


def _optimum_out_of_range(best: BestSetting) -> bool:
    """Whether the numbers ask for a level that nobody tried."""
    if best.optimum is not None:
        return not best.levels[0] <= best.optimum <= best.levels[-1]
    return best.verdict in ("still rising", "still falling")


def _fit_text(what: str, kind: DisplayUnit, best: BestSetting | None, unit: str, system: System) -> str:
    if best is None:
        return f"{what}: two levels only, and a curve needs three"
    same = "; all levels differ by no more than the noise of a pull" if best.within_noise else ""
    last, lowest = level_text(best.levels[-1], unit), level_text(best.levels[0], unit)
    if best.verdict == "optimum" and best.optimum is not None and best.optimum_value is not None:
        step = max(np.diff(best.levels))
        decimals = max(0, int(np.ceil(-np.log10(step))) + 1)
        at = level_text(round(best.optimum, decimals), unit)
        words = f"{what}: best at about {at} by the curve through the levels ({kind.text(best.optimum_value, system)})"
        if best.optimum > best.levels[-1]:
            words += f", beyond the last level tried ({last}), where nobody has been"
        elif best.optimum < best.levels[0]:
            words += f", below the lowest level tried ({lowest}), where nobody has been"
        return words + same
    tried = f"best of those tried {level_text(best.best_tried, unit)} ({kind.text(best.best_value, system)})"
    if best.verdict == "still rising":
        return f"{what}: still rising at the last level tried, {last}; {tried}{same}"
    if best.verdict == "still falling":
        return f"{what}: still falling from the lowest level tried, {lowest}; {tried}{same}"
    return f"{what}: the levels do not make a curve that bends down, so no optimum is named; {tried}{same}"


def level_text(level: float, unit: str) -> str:
    """A level in the unit it was written in."""
    number = f"{level:g}".replace("-", "−")
    return f"{number}{'' if unit in ('', '°') else chr(0xA0)}{unit}"
