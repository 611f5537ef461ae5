"""The plan on the page of a planned build, in the shop's edition: what to measure next, what to change."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from builder.archive.shop_notes import part_waits
from builder.archive.summary import WaitItem
from builder.figures.core.types import FigureSheet
from builder.figures.planning.alternatives import Combinations, alternatives
from builder.figures.planning.overview import Wait, overview_of
from builder.figures.planning.solve import SolvedTarget, Target, solve_for
from builder.figures.review.goals import FIGURE_OF_GOAL
from builder.publish.plan_report import figure_number, mean_text, short_title
from builder.record.alternatives import MOST_COMBINATIONS, combinations_of, read_alternatives
from builder.record.models.build import Build
from builder.record.models.goals import Target as Goal
from builder.record.models.shop import Shop
from builder.record.wording import in_sentence

_OTHER_WAITS = 8
"""How many readings are listed that no goal asks for."""
_COMBINATIONS = 20
"""How many combinations are listed."""


@dataclass(frozen=True)
class PlanTable:
    """A table of the plan: its title, sentences below it, column titles, rows, and how many rows are left out."""

    title: str
    sentences: tuple[str, ...]
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    remarks: tuple[tuple[str, ...], ...]
    """Of each row what is to be said below its first cell."""
    hidden: int = 0
    impossible: tuple[str, ...] = ()
    """What cannot be changed, with why."""


@dataclass(frozen=True)
class PlanSection:
    """What the page of a planned build shows of the plan."""

    wanted: tuple[Wait, ...]
    """The readings that figures of the goals wait for."""
    others: tuple[Wait, ...]
    parts: tuple[WaitItem, ...]
    tables: tuple[PlanTable, ...]


def plan_section(build: Build, sheet: FigureSheet, shop: Shop) -> PlanSection:
    """Return the plan of a build as read, with its figures."""
    waits = overview_of(sheet).waits
    return PlanSection(
        wanted=tuple(wait for wait in waits if wait.wanted),
        others=tuple(wait for wait in waits if not wait.wanted)[:_OTHER_WAITS],
        parts=tuple(part_waits(build)),
        tables=tuple(_tables(build, shop)),
    )


def _tables(build: Build, shop: Shop) -> Iterator[PlanTable]:
    choices, _ = read_alternatives(build)
    if choices and combinations_of(choices) <= MOST_COMBINATIONS:
        yield _combination_table(alternatives(build, choices, shop))
    for goal in build.build.goals.read_targets if build.build.goals else ():
        slug = FIGURE_OF_GOAL.get(goal.quantity)
        value = _wanted_value(goal)
        if slug is not None and value is not None:
            yield _target_table(solve_for(build, Target(slug=slug, value=value, text=goal.text), shop))


def _wanted_value(goal: Goal) -> float | None:
    """Return the value that a goal is solved for: the middle of a range, else its limit."""
    ends = [end for end in (goal.minimum, goal.maximum) if end is not None and math.isfinite(end)]
    return sum(ends) / len(ends) if ends else None


def _target_table(solved: SolvedTarget) -> PlanTable:
    shown = solved.shown
    rows, remarks = [], []
    for item in solved.possible:
        figures = {figure.slug: figure_number(figure, solved.system) for figure in item.figures}
        rows.append((item.title, mean_text(item), item.change, *(figures.get(slug, "") for slug in shown)))
        remarks.append((*item.notes, *(f"caution: {caution.text}" for caution in item.new_cautions)))
    now = f"Now {solved.now.display}." if solved.now else "Not known now."
    needs = f"It needs {solved.needs.text}." if solved.now is None and solved.needs is not None else ""
    rule = "Change one of these, all else as it is; where there is a value for each cylinder, all by the same amount."
    return PlanTable(
        title=f"{solved.target.title}: {solved.target.text} wanted",
        sentences=tuple(filter(None, (now, needs, rule if rows else "Nothing that is recorded moves it."))),
        head=("Change", "To", "By", *(_title(slug) for slug in shown)),
        rows=tuple(rows),
        remarks=tuple(remarks),
        impossible=tuple(
            f"{item.title}{f' {mean_text(item)}' if item.texts else ''}: {item.impossible}"
            for item in solved.solutions
            if item.impossible
        ),
    )


def _combination_table(found: Combinations) -> PlanTable:
    shown = found.combinations[:_COMBINATIONS]
    slugs = list(dict.fromkeys(slug for item in shown for slug in item.figures))
    rows = []
    for item in shown:
        figures = [figure_number(item.figures[slug], found.system) if slug in item.figures else "" for slug in slugs]
        goals = "" if not found.goals else f"{item.unmet} not met" if item.unmet else "met"
        names = ", ".join(dict.fromkeys(caution.name.replace("_", " ") for caution in item.cautions))
        rows.append((*(candidate.name for candidate in item.candidates), *figures, goals, names))
    order = (
        f"Sorted by {', '.join(in_sentence(name) for name in found.goals)}, then by cautions."
        if found.goals
        else "Sorted by cautions: no goal that a plan can tell."
    )
    open_goals = f"Not compared: {', '.join(in_sentence(name) for name in found.open_goals)}; the dyno will show."
    return PlanTable(
        title=f"Alternatives: {len(found.combinations):,} combinations, best first",
        sentences=(order, *((open_goals,) if found.open_goals else ())),
        head=(*(_capital(choice.part) for choice in found.choices), *map(_title, slugs), "Goals", "Cautions"),
        rows=tuple(rows),
        remarks=((),) * len(rows),
        hidden=len(found.combinations) - len(shown),
    )


def _title(slug: str) -> str:
    return _capital(short_title(slug))


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
