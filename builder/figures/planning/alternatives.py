"""Every combination of the parts that a plan leaves to choose from, sorted by how well it meets the goals.

A figure is computed once for each combination of the parts that it depends on, and not at all where nothing asks for
it: two thousand combinations of three parts hold a few hundred different figures.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache, partial
from itertools import product

import numpy as np

from builder.figures.core.display_units import System, system_for
from builder.figures.core.inputs import Context
from builder.figures.core.positions import figure_positions
from builder.figures.core.solver import Solved, Solver
from builder.figures.core.types import Caution, Figure, FigureSheet, InputValue, MissingInputs
from builder.figures.definitions import REGISTRY
from builder.figures.planning.carried import Engine, carry_along
from builder.figures.planning.changed_engine import open_cautions, without_dyno_results
from builder.figures.planning.solve import SHOWN, followers_of, static_inputs
from builder.figures.review.cautions import build_cautions
from builder.figures.review.clearance_checks import CheckedClearance, check_clearances
from builder.figures.review.goals import FIGURE_OF_GOAL, GoalResult, goal_results
from builder.record.alternatives import Candidate, Choice
from builder.record.build_profile import profile_of
from builder.record.changes import is_below, with_changes
from builder.record.models.build import Build
from builder.record.models.goals import Goals
from builder.record.models.shop import Shop


@dataclass(frozen=True, kw_only=True)
class Combination:
    """One candidate for each part, and the engine that they make."""

    candidates: tuple[Candidate, ...]
    goals: tuple[GoalResult, ...]
    figures: Mapping[str, Figure]
    """The figures of the goals, and those of `SHOWN`."""
    cautions: tuple[Caution, ...]

    @property
    def unmet(self) -> int:
        """Return how many goals it is known not to meet."""
        return sum(goal.outcome in ("not met", "not in every cylinder") for goal in self.goals)

    @property
    def miss(self) -> float:
        """Return how far it misses its goals, as shares of what is wanted, added up."""
        return sum(miss_of(goal) for goal in self.goals)


@dataclass(frozen=True, kw_only=True)
class Combinations:
    """Every combination, the one that meets the goals best first."""

    choices: tuple[Choice, ...]
    goals: tuple[str, ...]
    """The names of the goals that the combinations are sorted by."""
    open_goals: tuple[str, ...]
    """The names of the goals that a plan cannot tell: the dyno shows them."""
    combinations: tuple[Combination, ...]
    system: System


def miss_of(goal: GoalResult) -> float:
    """Return by which share of what is wanted a goal is missed at the worst cylinder; 0 where it is met or unknown."""
    finding, target = goal.finding, goal.target
    if finding is None:
        return 0.0
    below = 0.0 if target.minimum is None else max(0.0, target.minimum - finding.lowest)
    above = 0.0 if target.maximum is None else max(0.0, finding.highest - target.maximum)
    return max(below, above) / abs(target.wanted[0].si)


def alternatives(build: Build, choices: Sequence[Choice], shop: Shop) -> Combinations:
    """Return every combination of the candidates, sorted: goals not met, how far they are missed, cautions."""
    planned = _with_wanted_ratio(without_dyno_results(build))
    with np.errstate(all="ignore"):
        combinations = list(_Evaluator(planned, choices, profile_of(planned, shop)).combinations())
    combinations.sort(key=lambda item: (item.unmet, round(item.miss, 9), len(item.cautions)))
    known = [
        goal.target.name
        for goal in (combinations[0].goals if combinations else ())
        if goal.target.quantity in FIGURE_OF_GOAL
    ]
    every = [goal.target.name for goal in (combinations[0].goals if combinations else ())]
    return Combinations(
        choices=tuple(choices),
        goals=tuple(known),
        open_goals=tuple(name for name in every if name not in known),
        combinations=tuple(combinations),
        system=system_for(build, shop),
    )


def _with_wanted_ratio(build: Build) -> Build:
    """Return a build whose target compression ratio is a goal, where its goals name none."""
    wanted = build.build.engine.compression_wanted
    goals = build.build.goals or Goals()
    named = any(target.quantity == "compression ratio" for target in goals.read_targets)
    if wanted is None or named:
        return build
    targets = {**(goals.targets or {}), "compression ratio": f"{wanted:g}"}
    return with_changes(build, {"build.goals": goals.model_copy(update={"targets": targets})})


@dataclass(frozen=True, kw_only=True)
class _LazySheet(FigureSheet):
    """A sheet whose figures are computed when something asks for them."""

    find: Callable[[str], Figure | None]

    def __getitem__(self, slug: str) -> Figure:
        figure = self.find(slug)
        if figure is None:
            raise KeyError(slug)
        return figure


Chosen = tuple[int, ...]
"""Which candidate of each choice that matters is taken."""


@dataclass
class _Known:
    """What was computed so far, by its name and by which candidates it depends on."""

    figures: dict[str, dict[Chosen, Solved | MissingInputs]] = field(default_factory=dict)
    inputs: dict[str, dict[Chosen, InputValue | None]] = field(default_factory=dict)
    shown: dict[str, dict[Chosen, Figure | None]] = field(default_factory=dict)
    """Figures with their positions, as the reviews read them."""
    clearances: dict[Chosen, tuple[CheckedClearance, ...]] = field(default_factory=dict)


class _Evaluator:
    """Computes the combinations of one build."""

    def __init__(self, build: Build, choices: Sequence[Choice], shop: Shop) -> None:
        self.engine, self.choices, self.shop = Engine(build, shop), choices, shop
        self.known = _Known()
        self.affecting: dict[str, tuple[int, ...]] = {}
        paths = [{change.path for item in choice.candidates for change in item.changes} for choice in choices]
        self.touched = [each | {name for path in each for name in followers_of(path)} for each in paths]
        self.measured = frozenset(
            name for each in paths for path in each for name in followers_of(path) if build.get(name) is not None
        )

    def combinations(self) -> Iterator[Combination]:
        """Yield every combination, in the order of the candidates."""
        for numbers in product(*(range(len(choice.candidates)) for choice in self.choices)):
            yield self._combination(numbers)

    def _combination(self, numbers: Chosen) -> Combination:
        candidates = tuple(choice.candidates[number] for choice, number in zip(self.choices, numbers, strict=True))
        values = {change.path: change.value for item in candidates for change in item.changes}
        build = with_changes(self.engine.build, values)
        if self.measured:
            build, _ = carry_along(self.engine, build, values, self.measured)
        solver = self._solver(build, numbers)
        seeded = frozenset((*solver.inputs, *solver.solved))
        sheet = _LazySheet(
            figures=(), needs=(), problems=(), system=solver.context.system, find=partial(self._shown, solver, numbers)
        )
        guard = solver.context.guard
        key = tuple(numbers[index] for index in self._affecting(("assembly", "work", "bottom_end", "build", "cam")))
        if key not in self.known.clearances:
            self.known.clearances[key] = check_clearances(build, self.shop, sheet, guard)
        sheet = replace(sheet, clearances=self.known.clearances[key])
        sheet = replace(sheet, cautions=build_cautions(build, self.shop, sheet, guard))
        goals = tuple(goal_results(build, sheet))
        slugs = (*(FIGURE_OF_GOAL.get(goal.target.quantity, "") for goal in goals), *SHOWN)
        figures = {slug: figure for slug in slugs if slug and (figure := sheet.get(slug)) is not None}
        self._store(solver, numbers, seeded)
        return Combination(
            candidates=candidates, goals=goals, figures=figures, cautions=tuple(open_cautions(sheet).values())
        )

    def _shown(self, solver: Solver, numbers: Chosen, slug: str) -> Figure | None:
        """Return a figure as the reviews read it: at every position, with the digits it is shown with."""
        known, chosen = self.known.shown.setdefault(slug, {}), self._chosen(slug, numbers)
        if chosen not in known:
            known[chosen] = _with_positions(solver, slug)
        return known[chosen]

    def _solver(self, build: Build, numbers: Chosen) -> Solver:
        """Return the solver of a combination, with everything that an earlier one computed for it."""
        inputs = {
            name: results[chosen]
            for name, results in self.known.inputs.items()
            if (chosen := self._chosen(name, numbers)) in results
        }
        solved = {
            slug: results[chosen]
            for slug, results in self.known.figures.items()
            if (chosen := self._chosen(slug, numbers)) in results
        }
        context = Context(build, self.shop, REGISTRY)
        return Solver(context, inputs, with_uncertainty=False, solved=solved)

    def _store(self, solver: Solver, numbers: Chosen, seeded: frozenset[str]) -> None:
        """Store what the solver computed besides what it was given."""
        for name, value in solver.inputs.items():
            if name in seeded:
                continue
            self.known.inputs.setdefault(name, {}).setdefault(self._chosen(name, numbers), value)
        for slug, result in solver.solved.items():
            if slug in seeded:
                continue
            self.known.figures.setdefault(slug, {}).setdefault(self._chosen(slug, numbers), result)

    def _chosen(self, name: str, numbers: Chosen) -> Chosen:
        return tuple(numbers[index] for index in self._affecting_of(name))

    def _affecting_of(self, name: str) -> tuple[int, ...]:
        """Return which choices an input or a figure depends on."""
        if name not in self.affecting:
            paths = _paths_behind(name)
            self.affecting[name] = tuple(range(len(self.choices))) if paths is None else self._affecting(paths)
        return self.affecting[name]

    def _affecting(self, paths: Sequence[str]) -> tuple[int, ...]:
        return tuple(
            index
            for index, touched in enumerate(self.touched)
            if any(is_below(path, known) or is_below(known, path) for path in paths for known in touched)
        )


def _with_positions(solver: Solver, slug: str) -> Figure | None:
    definition = REGISTRY.figures[slug]
    if definition.applies is not None and not definition.applies(solver.context.build):
        return None
    figure, value = solver.figure(slug), solver.input(slug)
    if not isinstance(figure, Figure) or value is None:
        return None
    unit, system = definition.description.display_unit, solver.context.system
    shown = replace(figure, shown=unit.as_shown(figure.value, system), step=unit.last_digit(system))
    if value.axis is None:
        return shown
    values = np.asarray(value.values, dtype=np.float64)
    positions = figure_positions(definition.description, value.axis, values, np.zeros(len(values)), system, None)
    return replace(shown, positions=positions, axis=value.axis.kind)


@cache
def _paths_behind(name: str) -> tuple[str, ...] | None:
    """Return the paths of the record that an input or a figure may go back to; None where it may be anything."""
    paths: set[str] = set()
    for input_name in static_inputs(name):
        item = REGISTRY.inputs[input_name]
        if item.path.startswith("dyno."):
            continue  # a plan has no pulls
        known = item.known_paths
        if known is None:
            return None
        paths |= set(known)
    return tuple(sorted(paths))
