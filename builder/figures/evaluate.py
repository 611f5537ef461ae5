"""Every figure of one build."""

from __future__ import annotations

from dataclasses import replace

from builder.figures.core.inputs import Context
from builder.figures.core.registry import catalogue
from builder.figures.core.solver import Solver
from builder.figures.core.types import Caution, Figure, FigureSheet, MissingInputs
from builder.figures.review.cautions import build_cautions
from builder.figures.review.discrepancies import find_discrepancies
from builder.figures.review.plausibility import plausibility_problems
from builder.figures.review.session_cautions import session_cautions
from builder.record.models.build import Build
from builder.record.models.shop import Shop


def compute(build: Build, shop: Shop) -> FigureSheet:
    """Solve the whole catalogue for a build, and hold what comes of it against the shop's guidelines.

    Figures that lack an input are listed with what they need; inputs that cannot all be true are problems
    with file and line, and the other figures are still there.
    """
    solver = Solver(Context(build, shop))
    results = [solver.figure(slug) for slug in catalogue()]
    figures = tuple(result for result in results if isinstance(result, Figure))
    needs = tuple(result for result in results if isinstance(result, MissingInputs))
    session = solver.source.session
    sheet = FigureSheet(figures, needs, (), solver.source.system, session, discrepancies=find_discrepancies(solver))
    problems = (*solver.problems, *(session.problems if session else ()), *plausibility_problems(build, sheet))
    found = (*session_cautions(build, session), *build_cautions(build, shop, sheet))
    return replace(sheet, figures=_cautioned(figures, found), problems=problems, cautions=found)


def _cautioned(figures: tuple[Figure, ...], cautions: tuple[Caution, ...]) -> tuple[Figure, ...]:
    """The figures with the cautions that are about them."""
    about: dict[str, list[str]] = {}
    for caution in cautions:
        about.setdefault(caution.about, []).append(caution.text)
    return tuple(
        replace(figure, cautions=tuple(about[figure.slug])) if figure.slug in about else figure for figure in figures
    )
