"""What `millbook plan` prints: a plan so far, what changes lead to, what would give a wanted value."""

from __future__ import annotations

import json
import textwrap
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from builder.figures.core.display_units import System
from builder.figures.core.guard import Guard
from builder.figures.core.types import Caution, Figure
from builder.figures.definitions import REGISTRY
from builder.figures.export import goal_as_json
from builder.figures.planning.alternatives import Combinations, alternatives
from builder.figures.planning.carried import StaleMeasurement
from builder.figures.planning.changed_engine import FigureChange, PlannedChange, changed_figures
from builder.figures.planning.overview import PlanOverview, plan_overview
from builder.figures.planning.solve import Meeting, Solution, SolvedTarget, read_target, solve_for
from builder.publish.pages.build.goals_section import goal_rows
from builder.record.alternatives import MOST_COMBINATIONS, combinations_of, read_alternatives
from builder.record.changes import Change, ChangeError, read_assignment
from builder.record.load import errors_in, read_build, read_shop, select_folders
from builder.record.models.build import Build
from builder.record.models.shop import Shop
from builder.record.quantities.readings import Reading
from builder.record.quantities.units import Quantity
from builder.record.wording import count_of, in_sentence, join_and, plain_spaces

_MOST_WAITS = 8
_MOST_COMBINATIONS = 20
_MOST_TITLES = 4


@dataclass(frozen=True, kw_only=True)
class PlanQuestion:
    """What is asked of a plan, as it was written on the command line."""

    changes: Sequence[str] = ()
    target: str | None = None
    meeting: Meeting = "mean"
    show_all: bool = False


@dataclass(frozen=True, kw_only=True)
class PlanReport:
    """Problems of the record or of the question, the lines of the answer, and whether there is one."""

    problems: tuple[object, ...]
    lines: tuple[str, ...]
    ok: bool


def plan_report(archive: Path, slug: str, question: PlanQuestion, width: int, *, as_json: bool) -> PlanReport:
    """Answer a question about one build, as lines of a width or as JSON in SI units."""
    shop, problems = read_shop(archive)
    folders, unknown = select_folders(archive, (slug,))
    problems += unknown
    guard = Guard(slug, "planned")
    lines: tuple[str, ...] = ()
    messages: tuple[str, ...] = ()
    for folder in folders:
        build, build_problems = guard.run("the build", partial(read_build, folder, archive), (None, []))
        problems += build_problems
        if build is None:
            continue
        try:
            answer = _Answer(build, shop, question)
        except ChangeError as error:
            messages = (f"Error: {error}",)
            continue
        if as_json:
            lines = (json.dumps(answer.as_json(), indent=2, ensure_ascii=False),)
        else:
            lines = tuple(plain_spaces(line) for line in answer.lines(width))
    shown = (*problems, *guard.problems, *messages)
    ok = not messages and not errors_in([*problems, *guard.problems])
    return PlanReport(problems=shown, lines=lines, ok=ok)


class _Answer:
    """What was computed for a question."""

    def __init__(self, build: Build, shop: Shop, question: PlanQuestion) -> None:
        aliases = {name: item.path for name, item in REGISTRY.inputs.items() if item.get is None}
        changes = [_read(build, text, aliases) for text in question.changes]
        self.build, self.question = build, question
        self.change = changed_figures(build, changes, shop) if changes else None
        self.target: SolvedTarget | None = None
        if question.target is not None:
            planned = self.change.build if self.change else build
            self.target = solve_for(planned, read_target(question.target), shop, question.meeting)
        self.overview: PlanOverview | None = None
        self.combinations: Combinations | None = None
        if self.change is None and self.target is None:
            self.overview = plan_overview(build, shop)
            choices, _ = read_alternatives(build)
            if combinations_of(choices) > MOST_COMBINATIONS:
                raise ChangeError(
                    f"more than {MOST_COMBINATIONS:,} combinations are not compared: see the warning above"
                )
            self.combinations = alternatives(build, choices, shop) if choices else None

    def lines(self, width: int) -> Iterator[str]:
        """Yield the answer for the terminal."""
        status = str(self.build.build.status)
        yield f"{self.build.build.title} ({status})"
        if self.build.build.status not in ("planned", "in progress") and (self.change or self.target):
            yield f"This engine is {status}: what follows is a what-if, nothing in its record is changed."
        if self.change is not None:
            yield from _change_lines(self.build, self.change, width, show_all=self.question.show_all)
        if self.target is not None:
            yield from _target_lines(self.target, width)
        if self.overview is not None:
            yield from _overview_lines(self.overview, width, show_all=self.question.show_all)
        if self.combinations is not None:
            yield from _combination_lines(self.combinations, width, show_all=self.question.show_all)

    def as_json(self) -> dict[str, Any]:
        """Return the answer for other programs; values SI."""
        answer: dict[str, Any] = {"build": self.build.slug, "status": str(self.build.build.status)}
        if self.change is not None:
            answer |= _change_as_json(self.change)
        if self.target is not None:
            answer["for"] = _target_as_json(self.target)
        if self.overview is not None:
            answer |= _overview_as_json(self.overview)
        if self.combinations is not None:
            answer["alternatives"] = _combinations_as_json(self.combinations)
        return answer


def _read(build: Build, text: str, aliases: dict[str, str]) -> Change:
    try:
        return read_assignment(build, text, aliases)
    except ChangeError as error:
        raise ChangeError(f"--set {text}: {error}") from None


def _overview_lines(overview: PlanOverview, width: int, *, show_all: bool) -> Iterator[str]:
    if overview.goals:
        yield "\nGoals"
        rows = []
        for goal, need in zip(goal_rows(overview.sheet), overview.goal_needs, strict=True):
            unknown = "not known yet" if need else "for the dyno to show"
            rows.append([goal.name, goal.wanted, f"{goal.outcome}: {goal.result}" if goal.result else unknown])
        yield from _table(rows, width)
    yield "\nKnown"
    yield from _table([[figure.title, f"{figure.display}{_lift(figure)}"] for figure in overview.known], width)
    if not overview.known:
        yield "  nothing yet"
    if overview.unknown:
        yield "\nNot known yet"
        yield from _wrapped(", ".join(in_sentence(need.title) for need in overview.unknown), width, "  ", "  ")
    if overview.waits:
        yield "\nWhat to record next, and what waits for it"
        waits = overview.waits if show_all else overview.waits[:_MOST_WAITS]
        for wait in waits:
            titles = list(wait.figures[:_MOST_TITLES])
            if len(wait.figures) > _MOST_TITLES:
                titles.append(f"{len(wait.figures) - _MOST_TITLES} more")
            mark = " (a goal)" if wait.wanted else ""
            yield from _wrapped(f"{wait.hint}{mark}: {', '.join(titles)}", width, "  ", "      ")
        if len(overview.waits) > len(waits):
            yield f"  and {len(overview.waits) - len(waits)} more: --all lists them"


def _lift(figure: Figure) -> str:
    """Return the lift that a figure of cam timing is for, such as ` at 0.050 in`; nothing for other figures."""
    if figure.axis != "lift":
        return ""
    return next((f" at {position.label}" for position in figure.positions if position.value == figure.value), "")


def _change_lines(build: Build, change: PlannedChange, width: int, *, show_all: bool) -> Iterator[str]:
    yield "\nChanged"
    for item in change.changes:
        before = build.get(item.path)
        same = "  (as it is)" if before == item.value else ""
        yield f"  {item.path}: {_value_text(before)} -> {_value_text(item.value)}{same}"
    rows = [
        [
            f"{item.figure.title}{' *' if item.is_carried else ''}",
            item.before.display if item.before else "not known",
            item.after.display if item.after else "no longer known",
        ]
        for item in change.figures
        if (show_all or item.differs) and item.figure.description.is_listed
    ]
    yield f"\n{'Every figure' if show_all else 'Figures that change'}"
    if rows:
        yield from _table([["", "now", "changed"], *rows], width)
    else:
        yield "  none"
    if any(item.is_carried and item.differs for item in change.figures):
        yield f"  * {' or '.join(sorted({item.mark for item in change.stale if item.is_carried}))}"
    if change.stale:
        yield "\nValues that no longer hold"
        for stale in change.stale:
            yield from _wrapped(_stale_text(stale), width, "  ", "      ")
    yield from _caution_block("New cautions", change.new_cautions, width)
    yield from _caution_block("No longer", change.gone_cautions, width)
    yield from _caution_block("Still there", change.remaining_cautions, width)
    if change.problems:
        yield "\nLook again"
        for problem in change.problems:
            yield from _wrapped(problem.message, width, "  ", "      ")


def _stale_text(item: StaleMeasurement) -> str:
    if not item.is_carried:
        return f"{item.title}: to be measured again"
    note = f"; {item.note}" if item.note else ""
    if isinstance(item.before, (Reading, Quantity)):
        return f"{item.title}: {_value_text(item.before)} -> {_value_text(item.after)}, {item.mark}{note}"
    return f"{item.title}: moved along, {item.mark}{note}"


def _value_text(value: Any) -> str:
    """Return a value of the record as text: a reading with several values as its range."""
    if value is None:
        return "not recorded"
    if isinstance(value, Quantity):
        return value.text
    if isinstance(value, Reading):
        low, high = (end(value.preferred, key=lambda item: item.si) for end in (min, max))
        return low.text if low.text == high.text else f"{low.number} to {high.text}"
    if isinstance(value, tuple):
        return f"{len(value)} entries"
    return f"{value:g}" if isinstance(value, float) else str(value)


def _target_lines(solved: SolvedTarget, width: int) -> Iterator[str]:
    now = f"now {solved.now.display}" if solved.now else "not known now"
    yield f"\n{solved.target.title}, {solved.target.text} wanted; {now}"
    if any(len(item.before) > 1 for item in solved.solutions):
        yield from _wrapped(_MEETING_TEXTS[solved.meeting], width, "  ", "  ")
    if solved.now is None and solved.needs is not None:
        yield from _wrapped(f"It needs {solved.needs.text}", width, "  ", "      ")
    if not solved.solutions:
        yield "  Nothing that is recorded, or missing by itself, moves it."
        return
    shown = solved.shown
    by = [] if solved.meeting == "each" else ["by"]
    head = ["change one of these", "to", *by, *(short_title(slug) for slug in shown)]
    rows: list[list[str]] = [head]
    below: list[list[str]] = [[]]
    for item in solved.possible:
        figures = {figure.slug: figure_number(figure, solved.system) for figure in item.figures}
        change = [item.change] if by else []
        rows.append([item.title, mean_text(item), *change, *(figures.get(slug, "") for slug in shown)])
        below.append(_below(item, solved.meeting))
    for line, more in zip(_table(rows, width) if solved.possible else (), below, strict=False):
        yield line
        for text in more:
            yield from _wrapped(text, width, "      ", "        ")
    impossible = [item for item in solved.solutions if item.impossible]
    if impossible:
        yield "\n  Not possible"
        for item in impossible:
            value = f" {mean_text(item)}:" if item.texts else ""
            yield from _wrapped(f"{item.title}:{value} {item.impossible}", width, "    ", "      ")


def _combination_lines(combinations: Combinations, width: int, *, show_all: bool) -> Iterator[str]:
    count = len(combinations.combinations)
    shown = combinations.combinations if show_all else combinations.combinations[:_MOST_COMBINATIONS]
    parts = [choice.part for choice in combinations.choices]
    yield f"\nAlternatives: {count_of(count, 'combination')} of {join_and(parts)}, best first"
    goals = (
        f"sorted by {join_and([in_sentence(name) for name in combinations.goals])}"
        if combinations.goals
        else "no goal to sort by"
    )
    yield from _wrapped(f"{goals}, then by cautions.".capitalize(), width, "  ", "  ")
    if combinations.open_goals:
        names = join_and([in_sentence(name) for name in combinations.open_goals])
        yield from _wrapped(f"Not compared: {names}, which the dyno will show.", width, "  ", "  ")
    slugs = list(dict.fromkeys(slug for item in shown for slug in item.figures))
    rows = [[*parts, *(short_title(slug) for slug in slugs), "goals", "cautions"]]
    for item in shown:
        figures = [
            figure_number(item.figures[slug], combinations.system) if slug in item.figures else "" for slug in slugs
        ]
        goals = "" if not combinations.goals else f"{item.unmet} not met" if item.unmet else "met"
        names = ", ".join(dict.fromkeys(caution.name.replace("_", " ") for caution in item.cautions))
        rows.append([*(candidate.name for candidate in item.candidates), *figures, goals, names])
    yield from _table(rows, width)
    if count > len(shown):
        yield f"  and {count - len(shown):,} more: --all lists them"


def short_title(slug: str) -> str:
    """Return the title of a figure for the head of a column."""
    return _SHORT_TITLES.get(slug) or in_sentence(REGISTRY.figures[slug].description.title)


def _below(item: Solution, meeting: Meeting) -> list[str]:
    texts = list(item.notes)
    if meeting == "each" and len(set(item.texts)) > 1:
        texts.insert(0, ", ".join(f"{index}: {text}" for index, text in enumerate(item.texts, 1)))
    return [*texts, *(f"caution: {caution.text}" for caution in item.new_cautions)]


_MEETING_TEXTS: dict[Meeting, str] = {
    "mean": "Where there is a value for each cylinder, all change by the same amount, so that the mean comes to it.",
    "lowest": "Where there is a value for each cylinder, all change by the same amount, so that the lowest comes "
    "to it.",
    "highest": "Where there is a value for each cylinder, all change by the same amount, so that the highest comes "
    "to it.",
    "each": "Where there is a value for each cylinder, each is brought to it by itself.",
}
_SHORT_TITLES = {
    "compression_ratio": "ratio",
    "quench": "quench",
    "effective_compression_ratio": "dynamic",
}


def figure_number(figure: Figure, system: System) -> str:
    """Return a figure as calculated from nominal values, a ratio without its `:1`."""
    return figure.description.display_unit.text(figure.value, system, with_unit=figure.unit != ":1")


def mean_text(item: Solution) -> str:
    """Return the value, or of several the range."""
    if len(set(item.texts)) <= 1:
        return item.texts[0] if item.texts else ""
    low, high = (item.texts[item.values.index(end)] for end in (min(item.values), max(item.values)))
    return f"{plain_spaces(low).partition(' ')[0]} to {high}"


def _caution_block(title: str, cautions: Sequence[Caution], width: int) -> Iterator[str]:
    if cautions:
        yield f"\n{title}"
        for caution in cautions:
            yield from _wrapped(caution.text, width, "  ", "      ")


def _wrapped(text: str, width: int, first: str, later: str) -> Iterable[str]:
    return textwrap.wrap(
        plain_spaces(text),
        width,
        initial_indent=first,
        subsequent_indent=later,
        break_long_words=False,
        break_on_hyphens=False,
    )


def _table(rows: Sequence[Sequence[str]], width: int) -> list[str]:
    """Return rows with their columns aligned; the last column is cut by nothing."""
    if not rows:
        return []
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return [
        "  " + "  ".join(plain_spaces(cell).ljust(size) for cell, size in zip(row, widths, strict=True)).rstrip()
        for row in rows
    ]


def _change_as_json(change: PlannedChange) -> dict[str, Any]:
    return {
        "changes": [{"field": item.path, "written": item.text} for item in change.changes],
        "figures": [_figure_as_json(item) for item in change.figures],
        "no_longer_hold": [_stale_as_json(item) for item in change.stale],
        "new_cautions": [_caution_as_json(item) for item in change.new_cautions],
        "gone_cautions": [_caution_as_json(item) for item in change.gone_cautions],
        "remaining_cautions": [_caution_as_json(item) for item in change.remaining_cautions],
        "problems": [str(problem) for problem in change.problems],
    }


def _figure_as_json(item: FigureChange) -> dict[str, Any]:
    return {
        "slug": item.figure.slug,
        "title": item.figure.title,
        "unit": item.figure.description.display_unit.si,
        "before": item.before.value if item.before else None,
        "after": item.after.value if item.after else None,
        "display": [plain_spaces(figure.display) if figure else None for figure in (item.before, item.after)],
        "differs": item.differs,
        "from_a_carried_measurement": item.is_carried,
    }


def _stale_as_json(item: StaleMeasurement) -> dict[str, Any]:
    return {
        "field": item.path,
        "title": item.title,
        "carried": item.is_carried,
        "basis": item.basis,
        "before": _values(item.before),
        "after": _values(item.after),
        "because_of": list(item.changed),
        "note": item.note or None,
    }


def _values(value: Any) -> list[float] | None:
    if isinstance(value, Reading):
        return [float(number) for number in value.values]
    return [value.si] if isinstance(value, Quantity) else None


def _caution_as_json(caution: Caution) -> dict[str, Any]:
    return {"caution": caution.name, "about": caution.subject, "text": plain_spaces(caution.text)}


def _target_as_json(solved: SolvedTarget) -> dict[str, Any]:
    return {
        "figure": solved.target.slug,
        "wanted": solved.target.value,
        "unit": REGISTRY.figures[solved.target.slug].description.display_unit.si,
        "now": solved.now.value if solved.now else None,
        "at": solved.meeting,
        "needs": solved.needs.text if solved.needs else None,
        "solutions": [
            {
                "field": item.path,
                "title": item.title,
                "before": list(item.before),
                "values": list(item.values),
                "display": [plain_spaces(text) for text in item.texts],
                "impossible": item.impossible or None,
                "notes": [plain_spaces(note) for note in item.notes],
                "figures": {figure.slug: figure.value for figure in item.figures},
                "cautions": [_caution_as_json(caution) for caution in item.cautions],
                "new_cautions": [_caution_as_json(caution) for caution in item.new_cautions],
                "no_longer_hold": [_stale_as_json(stale) for stale in item.stale],
            }
            for item in solved.solutions
        ],
    }


def _combinations_as_json(combinations: Combinations) -> dict[str, Any]:
    return {
        "parts": {choice.part: [candidate.name for candidate in choice.candidates] for choice in combinations.choices},
        "sorted_by": list(combinations.goals),
        "not_compared": list(combinations.open_goals),
        "combinations": [
            {
                "candidates": [candidate.name for candidate in item.candidates],
                "goals": [goal_as_json(goal) for goal in item.goals],
                "not_met": item.unmet,
                "missed_by": item.miss,
                "figures": {slug: figure.value for slug, figure in item.figures.items()},
                "cautions": [_caution_as_json(caution) for caution in item.cautions],
            }
            for item in combinations.combinations
        ],
    }


def _overview_as_json(overview: PlanOverview) -> dict[str, Any]:
    return {
        "goals": [goal_as_json(goal) for goal in overview.goals],
        "known": [
            {"slug": figure.slug, "title": figure.title, "value": figure.value, "display": plain_spaces(figure.display)}
            for figure in overview.sheet.listed
        ],
        "not_known": [
            {"slug": need.slug, "title": need.title, "needs": list(need.needs)} for need in overview.sheet.needs
        ],
        "record_next": [
            {"where": wait.hint, "figures": list(wait.figures), "goal": wait.wanted} for wait in overview.waits
        ],
    }
