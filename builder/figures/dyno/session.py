"""The dyno session of one build: its pulls corrected, compared and held against the guidelines."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from builder.engine.correction import OBSERVED, STANDARDS, Standard
from builder.figures.core.display_units import system_for
from builder.figures.core.engine_data import read_engine_data
from builder.figures.core.guard import Guard
from builder.figures.dyno.before_after import BeforeAfter, compare_before_after
from builder.figures.dyno.common_range import usual_range
from builder.figures.dyno.comparisons import (
    ComparisonResult,
    Repeats,
    SettingTrials,
    compare_changes,
    fit_settings,
    group_repeats,
    measure_repeats,
)
from builder.figures.dyno.correction import target_standard, withheld_factor_note
from builder.figures.dyno.engine_state import EngineState, engine_states
from builder.figures.dyno.guideline_traces import Violation, find_violations
from builder.figures.dyno.pull import PullResult, UncorrectedPull, correct_pull, load_pull, with_range_means
from builder.figures.dyno.pull_scatter import PullScatter, prior_scatter, session_scatter
from builder.figures.dyno.uncertainty_budget import shared_uncertainty
from builder.record.models.build import Build
from builder.record.models.shop import Shop
from builder.record.problem import Problem


@dataclass(frozen=True, eq=False, kw_only=True)
class DynoSession:
    """The results of the pulls of one build.

    ``pulls``: every pull whose log makes a curve, in the order of the record. ``states``: the counted pulls, those
    with nothing changed between them as one state, the delivered state first. ``delivered``: the engine as it left
    the shop, which every headline describes; None where no pull counts. ``before_after``: it against the state before
    the work, where the record names that. ``standard``: what the results
    are in; the shop's, unless no pull could be corrected to it (then ``remarks`` says so). ``range``: speeds
    [rev/s] over which means and gains are taken, ``range_from`` where that range comes from. ``scatter``: how far
    a pull scatters with nothing changed. ``problems``: with file and line.
    """

    pulls: tuple[PullResult, ...]
    states: tuple[EngineState, ...]
    delivered: EngineState | None
    before_after: BeforeAfter | None
    standard: Standard
    corrected: bool
    range: tuple[float, float] | None
    range_from: str
    scatter: PullScatter
    repeats: tuple[Repeats, ...]
    changes: tuple[ComparisonResult, ...]
    settings: tuple[SettingTrials, ...]
    violations: tuple[Violation, ...]
    remarks: tuple[str, ...]
    problems: tuple[Problem, ...]

    @property
    def is_corrected(self) -> bool:
        """Return whether its results are in a standard that corrects for the weather."""
        return self.corrected and self.standard is not OBSERVED

    @property
    def counted(self) -> tuple[PullResult, ...]:
        """Return the pulls that results are taken from, in the order of the record."""
        return tuple(pull for pull in self.pulls if pull.counted)

    def is_delivered(self, pull: PullResult) -> bool:
        """Return whether a pull shows the engine as delivered."""
        return self.delivered is not None and any(pull is item for item in self.delivered.pulls)

    @property
    def delivered_violations(self) -> tuple[Violation, ...]:
        """Return the guidelines that were broken with the engine as delivered."""
        indices = {pull.index for pull in self.delivered.pulls} if self.delivered else set()
        return tuple(violation for violation in self.violations if violation.index in indices)

    @property
    def earlier_violations(self) -> tuple[Violation, ...]:
        """Return the guidelines that were broken in pulls of another state than the delivered one."""
        delivered = set(map(id, self.delivered_violations))
        return tuple(violation for violation in self.violations if id(violation) not in delivered)

    @property
    def best(self) -> EngineState | None:
        """Return the state of the highest peak power, where that is measurably above the delivered state's."""
        best = max(self.states, key=lambda state: state.peaks.power.value, default=None)
        if best is None or self.delivered is None:
            return None
        return best if best.makes_more_power_than(self.delivered) else None


def analyse_session(build: Build, shop: Shop) -> DynoSession | None:
    """Return every pull corrected, compared and held against the guidelines; None where no pull has a log.

    The pulls that count are those not left out, with units in agreement, and in the standard that the session is
    shown in. The delivered state is the one that the record names; without a name, that of the last counted pull.
    """
    indices = [index for index, pull in enumerate(build.pulls) if pull.name in build.logs]
    if not indices:
        return None
    system = system_for(build, shop)
    engine = read_engine_data(build)
    target, remark = target_standard(build, shop.correction)
    guard = Guard(build.slug)
    uncorrected: list[UncorrectedPull] = []
    problems: list[Problem] = []
    for index in indices:
        loaded = guard.run(_pull_name(build, index), partial(load_pull, build, index, target, engine, system), ())
        if isinstance(loaded, UncorrectedPull):
            uncorrected.append(loaded)
        else:
            problems += loaded
    standard, corrected = _session_standard(uncorrected, target)
    corrected_pulls = (
        guard.run(_pull_name(build, pull.index), partial(correct_pull, pull, standard, engine), None)
        for pull in uncorrected
    )
    pulls = tuple(_with_withheld_factor(pull, build, shop) for pull in corrected_pulls if pull is not None)
    speed_range, range_source = _speed_range(build, shop, [pull for pull in pulls if pull.counted])
    low, high = speed_range or (-np.inf, np.inf)
    if speed_range is not None:
        pulls = tuple(
            guard.run(f"the means of {_pull_name(build, pull.index)}", partial(with_range_means, pull, low, high), pull)
            for pull in pulls
        )
    groups = group_repeats(pulls)
    prior = prior_scatter(shop)
    scatter = guard.run("the scatter between pulls", partial(session_scatter, groups, prior, low, high), prior)
    repeats = guard.run("the repeats", partial(measure_repeats, groups, low, high, system), ())
    drift_seen = any(item.drift.verdict == "seen" for item in repeats)
    compare = partial(compare_changes, pulls, groups, scatter, low, high, system, drift_seen=drift_seen)
    changes = guard.run("what changes were worth", compare, ())
    settings = guard.run("the settings that were tried", lambda: fit_settings(pulls, scatter, system), ())
    violations = guard.run("the guidelines of the pulls", lambda: find_violations(pulls, shop, engine, system), ())
    problems += _missing_inputs_warnings(build, uncorrected, target)
    states = tuple(_with_shared(state, build, shop, guard) for state in engine_states(pulls, scatter))
    states, delivered = _delivered_first(build, states)
    before = _state_before_work(build, states, delivered)
    problems += _named_pull_warnings(build, pulls, delivered, before)
    before_after = None
    if before is not None and delivered is not None:
        compare_states = partial(compare_before_after, before, delivered, low, high)
        before_after = guard.run("the engine before the work", compare_states, None)
    problems += [*(problem for pull in pulls for problem in pull.problems), *guard.problems]
    remarks = [remark] if remark else []
    if not corrected and pulls:
        remarks.append(f"no pull could be corrected to {_standard_name(target)}: results are {standard.name}")
    return DynoSession(
        pulls=pulls,
        states=states,
        delivered=delivered,
        before_after=before_after,
        standard=standard,
        corrected=corrected,
        range=speed_range,
        range_from=range_source,
        scatter=scatter,
        repeats=repeats,
        changes=changes,
        settings=settings,
        violations=violations,
        remarks=tuple(remarks),
        problems=tuple(sorted(dict.fromkeys(problems))),
    )


def _with_withheld_factor(pull: PullResult, build: Build, shop: Shop) -> PullResult:
    """Return the pull with a note of the factor it would have had, where its boost is held to an absolute pressure."""
    note = withheld_factor_note(build, shop.correction, pull.conditions)
    return replace(pull, notes=(*pull.notes, note)) if note else pull


def _with_shared(state: EngineState, build: Build, shop: Shop, guard: Guard) -> EngineState:
    """Return the state with the uncertainty that all its pulls share."""
    uncertainty = partial(shared_uncertainty, build, shop, state)
    return replace(state, shared=guard.run(f"the uncertainty of {state.name!r}", uncertainty, 0.0))


def _delivered_first(
    build: Build, states: tuple[EngineState, ...]
) -> tuple[tuple[EngineState, ...], EngineState | None]:
    """Return the engine's states, the delivered one first, and the delivered one: named, or that of the last pull."""
    if not states:
        return (), None
    named = build.dyno.delivered if build.dyno else None
    delivered = next((state for state in states if any(pull.name == named for pull in state.pulls)), None)
    if delivered is None:
        latest = max(states, key=lambda state: state.last.index)
        delivered = replace(latest, assumed=True)
        states = tuple(delivered if state is latest else state for state in states)
    return (delivered, *(state for state in states if state is not delivered)), delivered


def _state_before_work(
    build: Build, states: Sequence[EngineState], delivered: EngineState | None
) -> EngineState | None:
    """Return the state of the pull that the record names as made before the work; None where there is none."""
    named = build.dyno.before_work if build.dyno else None
    others = (state for state in states if state is not delivered)
    return next((state for state in others if any(pull.name == named for pull in state.pulls)), None)


def _named_pull_warnings(
    build: Build, pulls: Sequence[PullResult], delivered: EngineState | None, before: EngineState | None
) -> list[Problem]:
    """Return a warning for each pull that the record names but that no result can be taken from."""
    if build.dyno is None or delivered is None:
        return []
    problems = []
    for name, unused, consequence in (
        ("delivered", delivered.assumed, f"{delivered.name!r} is shown as delivered"),
        ("before_work", before is None, "the engine is not compared with it"),
    ):
        named = getattr(build.dyno, name)
        if named is None or not unused:
            continue
        pull = next((pull for pull in pulls if pull.name == named), None)
        if pull is not None and pull.counted:
            reason = "it shows the engine as delivered"
        else:
            reason = pull.exclusion_reason if pull is not None else "its log makes no curve"
        message = f"{name}: {named!r} does not count ({reason}); {consequence}. "
        message += "Correct that pull, or name one that counts"
        problems.append(Problem(*build.where(f"dyno.{name}"), message, "warning"))
    return problems


def _pull_name(build: Build, index: int) -> str:
    return f"the pull {build.pulls[index].name!r}"


def _session_standard(pulls: Sequence[UncorrectedPull], target: str) -> tuple[Standard, bool]:
    """Return the standard of the results, and whether it is the shop's: else the one most pulls are stated in."""
    usable = [pull for pull in pulls if not pull.exclusion_reason] or list(pulls)
    corrected = [pull.applied.standard for pull in usable if not pull.applied.needs]
    if corrected:
        return corrected[0], True
    stated = [pull.applied.standard for pull in usable]
    if not stated:
        return STANDARDS.get(target, STANDARDS["observed"]), False
    commonest = Counter(standard.slug for standard in stated).most_common(1)[0][0]
    return next(standard for standard in stated if standard.slug == commonest), False


def _standard_name(slug: str) -> str:
    return STANDARDS[slug].name if slug in STANDARDS else "UN Regulation 85, compression ignition"


def _speed_range(build: Build, shop: Shop, counted: Sequence[PullResult]) -> tuple[tuple[float, float] | None, str]:
    """Return the speeds over which means are taken: the session's, else the shop's, else what all pulls share."""
    for stated, source in ((build.dyno.range if build.dyno else None, "dyno.yaml"), (shop.range, "shop.yaml")):
        if stated is not None and stated.minimum.si < stated.maximum.si:
            return (stated.minimum.si, stated.maximum.si), source
    shared = usual_range(counted)
    return shared, "the speeds that the pulls share" if shared else ""


def _missing_inputs_warnings(build: Build, pulls: Sequence[UncorrectedPull], target: str) -> list[Problem]:
    """Return one warning for all pulls that lack the same things."""
    by_needs: dict[tuple[str, ...], list[UncorrectedPull]] = {}
    for pull in pulls:
        if pull.applied.needs and not pull.record.left_out:
            by_needs.setdefault(pull.applied.needs, []).append(pull)
    problems = []
    for needs, lacking in by_needs.items():
        if len(lacking) == len(pulls) > 1:
            location, message = build.where("dyno.pulls"), "no pull can"
        else:
            location = build.where(f"dyno.pulls.{lacking[0].index}.file")
            message = f"{', '.join(repr(pull.record.name) for pull in lacking)} cannot"
        message += f" be corrected to {_standard_name(target)}; shown as logged. Record {'; '.join(needs)}"
        problems.append(Problem(*location, message, "warning"))
    return problems
