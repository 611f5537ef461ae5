"""The parts that a plan leaves to choose from, read from plan.yaml: each candidate with the fields that it sets."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import prod

from builder.record.changes import Change, ChangeError, find_field, read_change
from builder.record.models.build import Build
from builder.record.problem import Problem

MOST_COMBINATIONS = 2000


@dataclass(frozen=True)
class Candidate:
    """One part that could be used: its name, and the fields that it sets."""

    name: str
    changes: tuple[Change, ...]


@dataclass(frozen=True)
class Choice:
    """A place in the engine that one of several candidates takes."""

    part: str
    candidates: tuple[Candidate, ...]


def read_alternatives(build: Build) -> tuple[tuple[Choice, ...], list[Problem]]:
    """Return what plan.yaml leaves to choose, and what is wrong with it; candidates with an error are left out."""
    choices: list[Choice] = []
    problems: list[Problem] = []
    set_by: dict[str, str] = {}
    for part, candidates in ((build.plan.alternatives if build.plan else None) or {}).items():
        read: list[Candidate] = []
        paths: set[str] = set()
        for name, values in candidates.items():
            changes: list[Change] = []
            for field, given in values.items():
                where = build.where(f"plan.alternatives.{part}.{name}.{field}")
                try:
                    path = find_field(field)
                    if set_by.get(path, part) != part:
                        raise ChangeError(f"{field} is set by {set_by[path]} too: choose it in one place")
                    changes.append(read_change(build, path, given))
                    paths.add(path)
                except ChangeError as error:
                    problems.append(Problem(*where, f"{part}, {name}: {error}"))
            read.append(Candidate(name, tuple(changes)))
        set_by |= dict.fromkeys(paths, part)
        choices.append(Choice(part, tuple(read)))
    if (count := combinations_of(choices)) > MOST_COMBINATIONS:
        problems.append(Problem(*build.where("plan.alternatives"), _too_many(choices, count), "warning"))
    return tuple(choices), problems


def combinations_of(choices: Sequence[Choice]) -> int:
    """Return how many combinations there are; none where nothing is to choose."""
    return prod(len(choice.candidates) for choice in choices) if choices else 0


def _too_many(choices: Sequence[Choice], count: int) -> str:
    counts = ", ".join(f"{len(choice.candidates)} {choice.part}" for choice in choices)
    largest = max(choices, key=lambda choice: len(choice.candidates))
    return (
        f"{count:,} combinations ({counts}), and at most {MOST_COMBINATIONS:,} are compared: decide on one part first, "
        f"or leave out candidates of {largest.part}; `millbook plan SLUG --set FIELD=VALUE` tries one by itself"
    )
