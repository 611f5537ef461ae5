"""The plan on the page of a planned build, in the shop's edition: what to measure next, what to change."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from builder.archive.shop_notes import part_waits
from builder.archive.summary import WaitItem
from builder.figures.core.types import FigureSheet
from builder.figures.definitions import REGISTRY
from builder.figures.planning.alternatives import Combinations, alternatives
from builder.figures.planning.changed_engine import PlannedChange, changed_figures
from builder.figures.planning.overview import MAIN_FIGURES, Wait, overview_of
from builder.figures.planning.solve import SolvedTarget, Target, solve_for
from builder.figures.review.goals import FIGURE_OF_GOAL
from builder.publish.plan_report import figure_number, mean_text, short_title
from builder.record.alternatives import MOST_COMBINATIONS, Choice, combinations_of, read_alternatives
from builder.record.models.build import Build
from builder.record.models.goals import Target as Goal
from builder.record.models.shop import Shop
from builder.record.wording import capitalize, in_sentence

_OTHER_WAITS = 8
"""How many readings are listed that no goal asks for."""
_COMBINATIONS = 20
"""How many combinations are listed."""
_CANDIDATES = 6
"""How many candidates for one part are compared with the record as it is."""


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
        tables=tuple(_tables(build, sheet, shop)),
    )


def _tables(build: Build, sheet: FigureSheet, shop: Shop) -> Iterator[PlanTable]:
    choices, _ = read_alternatives(build)
    if choices and combinations_of(choices) <= MOST_COMBINATIONS:
        yield _combination_table(alternatives(build, choices, shop))
    for choice in choices:
        yield _candidates_table(build, choice, shop)
    for goal in sheet.goals:
        slug = FIGURE_OF_GOAL.get(goal.target.quantity)
        value = _wanted_value(goal.target)
        if slug is not None and value is not None:
            solved = solve_for(build, Target(slug=slug, value=value, text=goal.target.text), shop)
            yield _target_table(solved, is_met=goal.outcome == "met")


def _candidates_table(build: Build, choice: Choice, shop: Shop) -> PlanTable:
    """Return what each candidate for one part makes of the main figures, all else as the record has it."""
    changed = {item.name: changed_figures(build, item.changes, shop) for item in choice.candidates[:_CANDIDATES]}
    same = [name for name, change in changed.items() if not _changed_slugs(change)]
    others = {name: change for name, change in changed.items() if name not in same}
    rows = []
    for slug in (slug for slug in MAIN_FIGURES if any(slug in _changed_slugs(change) for change in others.values())):
        before = next(iter(others.values())).before
        sheets = (before, *(change.after for change in others.values()))
        rows.append((REGISTRY.figures[slug].description.title, *(_number(sheet, slug) for sheet in sheets)))
    if any(change.new_cautions or change.gone_cautions for change in others.values()):
        rows.append(("Cautions", "", *map(_caution_names, others.values())))
    sentences = (
        "One at a time, all else as recorded." if rows else "",
        f"No main figure changes with {', '.join(same)}." if same else "",
        f"Not shown here: {', '.join(item.name for item in choice.candidates[_CANDIDATES:])}."
        if len(choice.candidates) > _CANDIDATES
        else "",
    )
    return PlanTable(
        title=f"{capitalize(choice.part)}: what each changes",
        sentences=tuple(filter(None, sentences)),
        head=("Figure", "Now", *others),
        rows=tuple(rows),
        remarks=((),) * len(rows),
    )


def _number(sheet: FigureSheet, slug: str) -> str:
    figure = sheet.get(slug)
    return figure_number(figure, sheet.system) if figure else "not known"


def _changed_slugs(change: PlannedChange) -> set[str]:
    """Return the main figures that a change is seen in."""
    return {item.figure.slug for item in change.figures if item.differs and item.figure.slug in MAIN_FIGURES}


def _caution_names(change: PlannedChange) -> str:
    """Return the names of the cautions that come and go with a change."""
    new, gone = (
        dict.fromkeys(caution.name.replace("_", " ") for caution in cautions)
        for cautions in (change.new_cautions, change.gone_cautions)
    )
    return ", ".join((*(f"new: {name}" for name in new), *(f"no longer: {name}" for name in gone)))


def _wanted_value(goal: Goal) -> float | None:
    """Return the value that a goal is solved for: the middle of a range, else its limit."""
    ends = [end for end in (goal.minimum, goal.maximum) if end is not None and math.isfinite(end)]
    return sum(ends) / len(ends) if ends else None


def _target_table(solved: SolvedTarget, *, is_met: bool) -> PlanTable:
    shown = solved.shown
    rows, remarks = [], []
    for item in solved.possible:
        figures = {figure.slug: figure_number(figure, solved.system) for figure in item.figures}
        rows.append((item.title, mean_text(item), item.change, *(figures.get(slug, "") for slug in shown)))
        remarks.append((*item.notes, *(f"caution: {caution.text}" for caution in item.new_cautions)))
    met = ", which meets it; what follows goes to what was asked" if is_met else ""
    now = f"Now {solved.now.display}{met}." if solved.now else "Not known now."
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


def _combination_table(combinations: Combinations) -> PlanTable:
    shown = combinations.combinations[:_COMBINATIONS]
    slugs = list(dict.fromkeys(slug for item in shown for slug in item.figures))
    rows = []
    for item in shown:
        figures = [
            figure_number(item.figures[slug], combinations.system) if slug in item.figures else "" for slug in slugs
        ]
        goals = "" if not combinations.goals else f"{item.unmet} not met" if item.unmet else "met"
        names = ", ".join(dict.fromkeys(caution.name.replace("_", " ") for caution in item.cautions))
        rows.append((*(candidate.name for candidate in item.candidates), *figures, goals, names))
    order = (
        f"Sorted by {', '.join(in_sentence(name) for name in combinations.goals)}, then by cautions."
        if combinations.goals
        else "Sorted by cautions: no goal that a plan can tell."
    )
    open_goals = (
        f"Not compared: {', '.join(in_sentence(name) for name in combinations.open_goals)}; the dyno will show."
    )
    return PlanTable(
        title=f"Alternatives: {len(combinations.combinations):,} combinations, best first",
        sentences=(order, *((open_goals,) if combinations.open_goals else ())),
        head=(*(capitalize(choice.part) for choice in combinations.choices), *map(_title, slugs), "Goals", "Cautions"),
        rows=tuple(rows),
        remarks=((),) * len(rows),
        hidden=len(combinations.combinations) - len(shown),
    )


def _title(slug: str) -> str:
    return capitalize(short_title(slug))
