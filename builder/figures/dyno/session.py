"""The dyno session of one build, corrected and judged."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from builder.engine.correction import STANDARDS, Standard
from builder.engine.curves import Peak, overlap
from builder.figures.core.display_units import system_for
from builder.figures.core.engine_data import engine_facts
from builder.figures.dyno.comparisons import (
    ComparisonResult,
    Repeats,
    SettingSweep,
    compare_changes,
    fit_settings,
    group_repeats,
    measure_repeats,
)
from builder.figures.dyno.correction import target_standard
from builder.figures.dyno.guideline_traces import Violation, find_violations
from builder.figures.dyno.pull import PullResult, UncorrectedPull, correct_pull, load_pull, with_range_means
from builder.record.models.build import Build
from builder.record.models.shop import Shop
from builder.record.problem import Problem


@dataclass(frozen=True, eq=False)
class DynoSession:
    """What the pulls of one build came to.

    ``pulls``: every pull whose log makes a curve, in the order of the record. ``standard``: what the results
    are in; the shop's, unless no pull could be corrected to it (then ``remarks`` says so). ``range``: speeds
    [rev/s] over which means and gains are taken, ``range_from`` where that range comes from. ``repeats``,
    ``changes``, ``settings``, ``health``: see there. ``problems``: with file and line.
    """

    pulls: tuple[PullResult, ...]
    best: PullResult | None
    standard: Standard
    corrected: bool
    range: tuple[float, float] | None
    range_from: str
    repeats: tuple[Repeats, ...]
    changes: tuple[ComparisonResult, ...]
    settings: tuple[SettingSweep, ...]
    violations: tuple[Violation, ...]
    remarks: tuple[str, ...]
    problems: tuple[Problem, ...]

    @property
    def counted(self) -> tuple[PullResult, ...]:
        """The pulls that results are taken from, in the order of the record."""
        return tuple(pull for pull in self.pulls if pull.counted)

    @property
    def best_first(self) -> tuple[PullResult, ...]:
        """The counted pulls, the best one in front: it stands for the engine."""
        return tuple(sorted(self.counted, key=lambda pull: pull is not self.best))

    @property
    def last(self) -> PullResult | None:
        """The last pull that counts: the engine as it left the brake, which need not be the best pull."""
        return self.counted[-1] if self.counted else None

    @property
    def peak_power(self) -> Peak | None:
        """Peak power of the best pull."""
        return self.best.peak_power if self.best else None

    @property
    def peak_torque(self) -> Peak | None:
        """Peak torque of the best pull, which need not be the highest of any pull."""
        return self.best.peak_torque if self.best else None

    def pull(self, name: str) -> PullResult | None:
        """The pull of that name."""
        return next((pull for pull in self.pulls if pull.name == name), None)


def analyse_session(build: Build, shop: Shop) -> DynoSession | None:
    """Correct and judge every pull; None where no pull has a log.

    The best pull is the one with the highest peak power of those that count: not left out, units in
    agreement, and in the standard that the session is shown in.
    """
    indices = [index for index, pull in enumerate(build.pulls) if pull.name in build.logs]
    if not indices:
        return None
    system = system_for(build, shop)
    facts = engine_facts(build)
    wanted, remark = target_standard(build, shop.correction)
    prepared, problems = [], list[Problem]()
    for index in indices:
        made = load_pull(build, index, wanted, facts, system)
        if isinstance(made, UncorrectedPull):
            prepared.append(made)
        else:
            problems += made
    standard, corrected = _session_standard(prepared, wanted)
    pulls = tuple(correct_pull(each, standard, facts) for each in prepared)
    counted = [pull for pull in pulls if pull.counted]
    low_high, range_from = _range(build, shop, counted)
    if low_high is not None:
        pulls = tuple(with_range_means(pull, *low_high) for pull in pulls)
        counted = [pull for pull in pulls if pull.counted]
    low, high = low_high or (-np.inf, np.inf)
    groups = group_repeats(pulls)
    repeats = measure_repeats(groups, low, high, system)
    problems += [problem for pull in pulls for problem in pull.problems]
    problems += _missing_inputs_warnings(build, prepared, wanted)
    remarks = [remark] if remark else []
    if not corrected and pulls:
        remarks.append(f"no pull could be corrected to {_name(wanted)}: results are {standard.name}")
    return DynoSession(
        pulls,
        max(counted, key=lambda pull: pull.peak_power.value, default=None),
        standard,
        corrected,
        low_high,
        range_from,
        repeats,
        compare_changes(pulls, groups, low, high, system),
        fit_settings(pulls, repeats, system),
        find_violations(pulls, shop, facts, system),
        tuple(remarks),
        tuple(sorted(dict.fromkeys(problems))),
    )


def _session_standard(prepared: Sequence[UncorrectedPull], wanted: str) -> tuple[Standard, bool]:
    """The standard of the results, and whether it is the shop's: else the one most pulls are stated in."""
    usable = [each for each in prepared if not each.exclusion_reason] or list(prepared)
    done = [each.applied.standard for each in usable if not each.applied.needs]
    if done:
        return done[0], True
    stated = [each.applied.standard for each in usable]
    if not stated:
        return STANDARDS.get(wanted, STANDARDS["observed"]), False
    commonest = Counter(standard.slug for standard in stated).most_common(1)[0][0]
    return next(standard for standard in stated if standard.slug == commonest), False


def _name(wanted: str) -> str:
    return STANDARDS[wanted].name if wanted in STANDARDS else "UN Regulation 85, compression ignition"


def _range(build: Build, shop: Shop, counted: Sequence[PullResult]) -> tuple[tuple[float, float] | None, str]:
    """The speeds over which means are taken: the session's, else the shop's, else what all pulls share."""
    for stated, said in ((build.dyno.range if build.dyno else None, "dyno.yaml"), (shop.range, "shop.yaml")):
        if stated is not None and stated.least.si < stated.most.si:
            return (stated.least.si, stated.most.si), said
    shared = overlap([pull.torque_curve for pull in counted]) if counted else None
    return shared, "the speeds that all pulls have in common" if shared else ""


def _missing_inputs_warnings(build: Build, prepared: Sequence[UncorrectedPull], wanted: str) -> list[Problem]:
    """One warning for all pulls that lack the same things."""
    lacking: dict[tuple[str, ...], list[UncorrectedPull]] = {}
    for each in prepared:
        if each.applied.needs and not each.record.left_out:
            lacking.setdefault(each.applied.needs, []).append(each)
    problems = []
    for needs, pulls in lacking.items():
        whole = len(pulls) == len(prepared) > 1
        place = build.where("dyno.pulls" if whole else f"dyno.pulls.{pulls[0].index}.file")
        names = "no pull" if whole else ", ".join(repr(each.record.name) for each in pulls)
        message = f"{names} can be corrected to {_name(wanted)}" if whole else (
            f"{names} cannot be corrected to {_name(wanted)}"
        )  # fmt: skip
        problems.append(Problem(*place, f"{message}; shown as logged. Record {'; '.join(needs)}", "warning"))
    return problems


__all__ = ["ComparisonResult", "DynoSession", "PullResult", "Repeats", "SettingSweep", "Violation", "analyse_session"]
