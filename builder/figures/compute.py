"""Every figure of one build."""

from __future__ import annotations

from builder.figures.catalogue import catalogue
from builder.figures.figure import Figure, FigureSheet, Need
from builder.figures.inputs import Source
from builder.figures.session_cautions import session_cautions
from builder.figures.solve import Solver
from builder.record.build import Build
from builder.record.shop import Shop


def compute(build: Build, shop: Shop) -> FigureSheet:
    """Solve the whole catalogue for a build.

    Figures that lack an input are listed with what they need; inputs that cannot all be true are problems
    with file and line, and the other figures are still there.
    """
    solver = Solver(Source(build, shop))
    results = [solver.figure(slug) for slug in catalogue()]
    figures = tuple(result for result in results if isinstance(result, Figure))
    needs = tuple(result for result in results if isinstance(result, Need))
    session = solver.source.session
    problems = (*solver.problems, *(session.problems if session else ()))
    cautions = session_cautions(build, session)
    return FigureSheet(figures, needs, problems, solver.source.system, session, cautions)
