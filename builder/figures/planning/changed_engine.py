"""An engine with other values: every figure as it becomes, next to what it is."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from builder.figures.core.display_units import system_for
from builder.figures.core.solver import Solver
from builder.figures.core.types import Caution, Figure, FigureSheet
from builder.figures.evaluate import evaluate, solver_for
from builder.figures.planning.carried import Engine, StaleMeasurement, carry_along
from builder.record.build_profile import profile_of
from builder.record.changes import Change, is_below, with_changes
from builder.record.consistency import check_consistency
from builder.record.models.build import Build
from builder.record.models.shop import Shop
from builder.record.plausibility import check_plausibility
from builder.record.problem import Problem

_DYNO_RESULTS = "dyno.pulls"


@dataclass(frozen=True, kw_only=True)
class ChangedEngine:
    """A build with some values changed, and the measurements that no longer hold."""

    build: Build
    stale: tuple[StaleMeasurement, ...]


@dataclass(frozen=True, kw_only=True)
class FigureChange:
    """One figure as it is and as it becomes; None where it is not known."""

    before: Figure | None
    after: Figure | None
    is_carried: bool
    """Whether it was calculated from a measurement that was carried along."""

    @property
    def figure(self) -> Figure:
        """Return the figure as it becomes, else as it is."""
        figure = self.after or self.before
        assert figure is not None  # one of the two is there
        return figure

    @property
    def differs(self) -> bool:
        """Return whether anything of it changes that can be seen."""
        if self.before is None or self.after is None:
            return True
        return self.before.display_with_range != self.after.display_with_range


@dataclass(frozen=True, kw_only=True)
class PlannedChange:
    """What some changes lead to."""

    changes: tuple[Change, ...]
    build: Build
    """The build with the changes."""
    before: FigureSheet
    after: FigureSheet
    figures: tuple[FigureChange, ...]
    """Every figure, in page order; those that differ say so."""
    stale: tuple[StaleMeasurement, ...]
    new_cautions: tuple[Caution, ...]
    gone_cautions: tuple[Caution, ...]
    remaining_cautions: tuple[Caution, ...]
    """As they read after the change."""
    problems: tuple[Problem, ...]
    """What the reader would say of the changed record, and does not of the record as it is."""


def changed_engine(build: Build, values: Mapping[str, Any], shop: Shop) -> ChangedEngine:
    """Return a build with other values at some full paths; what no longer holds is carried along or set aside."""
    after, stale = carry_along(Engine(build, profile_of(build, shop)), with_changes(build, values), values)
    return ChangedEngine(build=after, stale=stale)


def without_dyno_results(build: Build) -> Build:
    """Return a build without the pulls of its dyno session, which were made with the engine as it was."""
    if build.dyno is None:
        return build
    return with_changes(build, {_DYNO_RESULTS: (), "dyno.delivered": None, "dyno.before_work": None})


def changed_figures(build: Build, changes: Sequence[Change], shop: Shop) -> PlannedChange:
    """Return every figure, caution and measurement as the changes make them, next to what they are.

    Where the changes make dyno results no longer hold, both sides are without them.
    """
    changed = changed_engine(build, {change.path: change.value for change in changes}, shop)
    is_dyno_stale = any(item.path == _DYNO_RESULTS for item in changed.stale)
    before_build = without_dyno_results(build) if is_dyno_stale else build
    after_build = without_dyno_results(changed.build) if is_dyno_stale else changed.build
    before_solver = solver_for(before_build, shop)
    after_solver = solver_for(after_build, _with_units_of(before_build, after_build, shop))
    with np.errstate(all="ignore"):
        before = evaluate(before_solver, with_findings=False)
        after = evaluate(after_solver, with_findings=False)
    carried = tuple(item.path for item in changed.stale if item.is_carried)
    slugs = dict.fromkeys((*(figure.slug for figure in before.figures), *(figure.slug for figure in after.figures)))
    cautions = open_cautions(before), open_cautions(after)
    order = {slug: index for index, slug in enumerate(after_solver.context.registry.figures)}
    return PlannedChange(
        changes=tuple(changes),
        build=changed.build,
        before=before,
        after=after,
        figures=tuple(
            FigureChange(
                before=before.get(slug),
                after=after.get(slug),
                is_carried=slug in after and depends_on(after_solver, slug, carried),
            )
            for slug in sorted(slugs, key=order.__getitem__)
        ),
        stale=changed.stale,
        new_cautions=tuple(caution for key, caution in cautions[1].items() if key not in cautions[0]),
        gone_cautions=tuple(caution for key, caution in cautions[0].items() if key not in cautions[1]),
        remaining_cautions=tuple(caution for key, caution in cautions[1].items() if key in cautions[0]),
        problems=new_problems(before_build, after_build),
    )


def _with_units_of(before: Build, after: Build, shop: Shop) -> Shop:
    """Return the profile by which a changed build is shown in the units of the build as it is.

    A bore written in the other system would else turn all units over.
    """
    system = system_for(before, profile_of(before, shop))
    return shop if system_for(after, profile_of(after, shop)) == system else shop.model_copy(update={"units": system})


def depends_on(solver: Solver, slug: str, paths: Sequence[str]) -> bool:
    """Return whether a figure goes back to anything that the record holds at one of some paths."""
    inputs = solver.context.registry.inputs
    recorded_paths = [inputs[name].path for name in solver.root_inputs(slug)]
    return any(is_below(path, known) or is_below(known, path) for known in paths for path in recorded_paths)


def open_cautions(sheet: FigureSheet) -> dict[tuple[str, str, int], Caution]:
    """Return the cautions that nobody accepted, by what they are about: name, subject and how many before it."""
    cautions: dict[tuple[str, str, int], Caution] = {}
    for caution in sheet.cautions:
        if not caution.is_accepted:
            number = sum(key[:2] == (caution.name, caution.subject) for key in cautions)
            cautions[caution.name, caution.subject, number] = caution
    return cautions


def new_problems(before: Build, after: Build) -> tuple[Problem, ...]:
    """Return what the reader would say of the changed record alone."""
    known = {problem.message for problem in (*check_consistency(before), *check_plausibility(before))}
    problems = (*check_consistency(after), *check_plausibility(after))
    return tuple(problem for problem in problems if problem.message not in known)
