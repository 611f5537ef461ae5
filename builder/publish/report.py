"""What a publish came to, and how it says where it is."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from builder.record.problem import Problem, errors_in

Progress = Callable[[str, int, int], None]
"""Called with the step at work, how much of it is done, and how much there is (0 if that is not known)."""


def no_progress(step: str, done: int, total: int) -> None:
    """Report nothing."""


@dataclass(frozen=True)
class Report:
    """What a publish came to.

    ``changed`` counts the builds that were made again. ``standing`` are the errors and the warnings in records
    that were not read again, because nothing in them changed.
    """

    out: Path
    published: tuple[str, ...]
    left_out: tuple[tuple[str, str], ...]
    problems: tuple[Problem, ...]
    warnings: tuple[str, ...]
    seconds: float
    changed: int = 0
    unchanged_problems: tuple[int, int] = (0, 0)

    @property
    def ok(self) -> bool:
        """Whether nothing that should be on the site was kept off it by an error."""
        return not errors_in(self.problems) and not self.unchanged_problems[0]

    @property
    def lines(self) -> tuple[str, ...]:
        """The report in words."""
        count = len(self.published)
        again = f", {self.changed} of them made anew" if 0 < self.changed < count else ""
        again = ", nothing had changed" if count and not self.changed else again
        said = [f"{_plural(count, 'build')} published to {self.out} in {self.seconds:.1f} s{again}"]
        said += [f"left out: {slug}, because {why}" for slug, why in self.left_out]
        said += [f"site: {warning}" for warning in self.warnings]
        told = [
            _plural(number, name)
            for number, name in zip(self.unchanged_problems, ("error", "warning"), strict=True)
            if number
        ]
        if told:
            said.append(f"in records that did not change: {' and '.join(told)}; `millbook check` tells which")
        return tuple(said)


def _plural(count: int, thing: str) -> str:
    return f"{count} {thing}{'s' if count != 1 else ''}"
