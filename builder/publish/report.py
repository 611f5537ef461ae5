"""What a publish came to, and how it says where it is."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from builder.record.problem import Problem
from builder.record.read import errors_in

Progress = Callable[[str, int, int], None]
"""Called with what is being done, how much of it is done, and how much there is."""


@dataclass(frozen=True)
class Report:
    """What a publish came to. ``changed`` counts the builds that were made again."""

    out: Path
    published: tuple[str, ...]
    left_out: tuple[tuple[str, str], ...]
    problems: tuple[Problem, ...]
    warnings: tuple[str, ...]
    seconds: float
    changed: int = 0

    @property
    def clean(self) -> bool:
        """Whether nothing that should be on the site was kept off it by an error."""
        return not errors_in(self.problems)

    @property
    def lines(self) -> tuple[str, ...]:
        """The report in words."""
        count = len(self.published)
        again = f", {self.changed} of them made anew" if 0 < self.changed < count else ""
        again = ", nothing had changed" if count and not self.changed else again
        said = [f"{count} build{'s' if count != 1 else ''} published to {self.out} in {self.seconds:.1f} s{again}"]
        said += [f"left out: {slug}, because {why}" for slug, why in self.left_out]
        said += [f"site: {warning}" for warning in self.warnings]
        return tuple(said)
