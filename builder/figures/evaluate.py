"""Every figure of one build."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace
from functools import partial

import numpy as np

from builder.figures.core.inputs import Context
from builder.figures.core.solver import Solver
from builder.figures.core.types import Caution, Figure, FigureSheet, MissingInputs
from builder.figures.definitions import REGISTRY
from builder.figures.definitions.pull_inputs import session_of
from builder.figures.review.cautions import build_cautions, unused_answers
from builder.figures.review.clearance_checks import check_clearances
from builder.figures.review.cross_checks import find_contradictions
from builder.figures.review.discrepancies import find_discrepancies
from builder.figures.review.goals import goal_results
from builder.figures.review.instruments import unknown_instruments
from builder.figures.review.plausibility import plausibility_problems
from builder.record.build_profile import profile_of
from builder.record.models.build import Build
from builder.record.models.shop import Shop


def compute(build: Build, shop: Shop) -> FigureSheet:
    """Return every figure of a build, reviewed against the shop's guidelines.

    Figures that lack an input are listed with what they need; inputs that cannot all be true are problems with file
    and line, and the other figures are still there.
    """
    with np.errstate(all="ignore"):  # what comes to no finite number is a problem, not a warning of NumPy
        return evaluate(solver_for(build, shop))


def solver_for(build: Build, shop: Shop) -> Solver:
    """Return the solver of a build's figures."""
    return Solver(Context(build, profile_of(build, shop), REGISTRY))


def compute_some(build: Build, shop: Shop, slugs: Collection[str]) -> FigureSheet:
    """Return some figures of a build and its dyno session, without any review: for what needs no more, and is quick.

    The figures are those of `compute`. One that lacks an input, or does not apply to the engine, is left out.
    """
    with np.errstate(all="ignore"):
        solver = solver_for(build, shop)
        guard = solver.context.guard
        results = [
            guard.run(item.description.title, partial(solver.figure, slug), None)
            for slug, item in REGISTRY.figures.items()
            if slug in slugs and (item.applies is None or item.applies(build))
        ]
        return FigureSheet(
            figures=tuple(result for result in results if isinstance(result, Figure)),
            needs=tuple(result for result in results if isinstance(result, MissingInputs)),
            problems=tuple(solver.problems),
            system=solver.context.system,
            session=session_of(solver.context),
        )


def evaluate(solver: Solver, *, with_findings: bool = True) -> FigureSheet:
    """Return every figure of a solver's build, reviewed.

    Without findings the values of the record are not compared with each other, for an engine that is not yet recorded.
    """
    build, shop, guard = solver.context.build, solver.context.shop, solver.context.guard
    results = [
        guard.run(item.description.title, partial(solver.figure, slug), MissingInputs(slug, item.description.title, ()))
        for slug, item in REGISTRY.figures.items()
        if item.applies is None or item.applies(build)
    ]
    session = session_of(solver.context)
    sheet = FigureSheet(
        figures=tuple(result for result in results if isinstance(result, Figure)),
        needs=tuple(result for result in results if isinstance(result, MissingInputs)),
        problems=(),
        system=solver.context.system,
        session=session,
        discrepancies=find_discrepancies(solver) if with_findings else (),
        contradictions=find_contradictions(solver) if with_findings else (),
    )
    goals = guard.collect("the customer's goals", lambda: goal_results(build, sheet))
    sheet = replace(sheet, clearances=check_clearances(build, shop, sheet, guard), goals=tuple(goals))
    cautions = build_cautions(build, shop, sheet, guard)
    implausible = guard.collect("what is hardly possible", lambda: plausibility_problems(build, sheet))
    contradictory = (found.problem for found in sheet.contradictions)
    unknown = guard.collect("the instruments", lambda: unknown_instruments(build, shop))
    unused = guard.collect("the cautions that were accepted", lambda: unused_answers(build, cautions))
    session_problems = session.problems if session else ()
    problems = (*solver.problems, *session_problems, *implausible, *contradictory, *unknown, *unused, *guard.problems)
    return replace(sheet, figures=_with_cautions(sheet.figures, cautions), problems=problems, cautions=cautions)


def _with_cautions(figures: tuple[Figure, ...], cautions: tuple[Caution, ...]) -> tuple[Figure, ...]:
    """Return the figures with the cautions that are about them."""
    texts: dict[str, list[str]] = {}
    for caution in cautions:
        if not caution.is_shown:
            continue
        texts.setdefault(caution.subject, []).append(caution.text)
    return tuple(
        replace(figure, cautions=tuple(texts[figure.slug])) if figure.slug in texts else figure for figure in figures
    )
