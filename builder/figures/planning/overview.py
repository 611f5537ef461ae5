"""What a plan has so far: the goals, what is known, and what still waits for what."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from builder.figures.core.types import Figure, FigureSheet, MissingInputs
from builder.figures.definitions import REGISTRY
from builder.figures.evaluate import evaluate, solver_for
from builder.figures.planning.changed_engine import open_cautions
from builder.figures.review.goals import FIGURE_OF_GOAL, GoalResult
from builder.record.models.build import Build
from builder.record.models.shop import Shop

MAIN_FIGURES = (
    "displacement",
    "compression_ratio",
    "effective_compression_ratio",
    "deck_clearance",
    "quench",
    "mean_piston_speed",
    "valve_lift",
    "overlap",
    "coil_bind_clearance",
    "piston_to_valve",
    "seat_load",
    "open_load",
    "air_demand",
    "planned_fuel_flow",
    "injector_size_needed",
    "restrictor_choked_flow",
    "pushrod_length",
    "piston_clearance",
    "top_ring_gap",
)
"""The figures that a plan is decided by, in page order."""


@dataclass(frozen=True, kw_only=True)
class Wait:
    """One value that the record does not hold, and the figures that wait for it."""

    hint: str
    """Where to write it: `top_end.yaml: gasket.thickness`."""
    figures: tuple[str, ...]
    """The titles of the figures, in page order."""
    wanted: bool
    """Whether a goal asks for one of them."""


@dataclass(frozen=True, kw_only=True)
class PlanOverview:
    """What a plan has so far."""

    sheet: FigureSheet
    goals: tuple[GoalResult, ...]
    goal_needs: tuple[MissingInputs | None, ...]
    """For each goal what its figure waits for; None where that is known or comes from the dyno."""
    known: tuple[Figure, ...]
    """The main figures that are known."""
    unknown: tuple[MissingInputs, ...]
    """The main figures that are not."""
    waits: tuple[Wait, ...]
    """What is not recorded: first what a goal waits for, then what most figures wait for."""


def plan_overview(build: Build, shop: Shop) -> PlanOverview:
    """Return what a plan has so far."""
    with np.errstate(all="ignore"):
        return overview_of(evaluate(solver_for(build, shop), with_findings=False))


def overview_of(sheet: FigureSheet) -> PlanOverview:
    """Return what a plan with these figures has so far."""
    missing = {need.slug: need for need in sheet.needs}
    wanted = [FIGURE_OF_GOAL.get(goal.target.quantity) for goal in sheet.goals]
    needs = tuple(missing.get(slug) if slug else None for slug in wanted)
    return PlanOverview(
        sheet=sheet,
        goals=sheet.goals,
        goal_needs=needs,
        known=tuple(sheet[slug] for slug in REGISTRY.figures if slug in MAIN_FIGURES and slug in sheet),
        unknown=tuple(missing[slug] for slug in REGISTRY.figures if slug in MAIN_FIGURES and slug in missing),
        waits=_waits(sheet.needs, {slug for slug in wanted if slug}),
    )


def _waits(needs: tuple[MissingInputs, ...], wanted: set[str]) -> tuple[Wait, ...]:
    """Return what figures wait for: the goals first, then the main figures; what only a dyno shows is not planned."""
    waiting: dict[str, list[MissingInputs]] = {}
    for need in needs:
        is_shown_by_dyno = any(hint.startswith("dyno.") for hint in need.needs)
        if REGISTRY.figures[need.slug].description.is_listed and not is_shown_by_dyno:
            for hint in need.needs:
                waiting.setdefault(hint, []).append(need)

    def rank(hint: str) -> tuple[bool, bool, int]:
        slugs = {need.slug for need in waiting[hint]}
        return not slugs & wanted, not slugs & set(MAIN_FIGURES), -len(slugs)

    return tuple(
        Wait(
            hint=hint,
            figures=tuple(need.title for need in waiting[hint]),
            wanted=any(need.slug in wanted for need in waiting[hint]),
        )
        for hint in sorted(waiting, key=rank)
    )


def caution_lines(sheet: FigureSheet) -> tuple[str, ...]:
    """Return the cautions that nobody accepted, as text."""
    return tuple(caution.text for caution in open_cautions(sheet).values())
