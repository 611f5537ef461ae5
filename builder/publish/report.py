"""The report of a publish, and how its progress is reported meanwhile."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from builder.record.problem import Problem, errors_in
from builder.record.wording import count_of

Progress = Callable[[str, int, int], None]
"""Called with the step at work, how much of it is done, and how much there is (0 if that is not known)."""


def no_progress(step: str, done: int, total: int) -> None:
    """Report nothing."""


@dataclass(frozen=True)
class PublishReport:
    """What a publish came to."""

    out: Path
    published: tuple[str, ...]
    """The slugs of the builds on the site."""
    left_out: tuple[tuple[str, str], ...]
    """The slugs of the others, and why they are not on the site."""
    problems: tuple[Problem, ...]
    """What is wrong with the records that were read now."""
    warnings: tuple[str, ...]
    """What MkDocs warned of."""
    seconds: float
    changed: int = 0
    """How many builds were built again."""
    own_code: str = ""
    """A line that names what of the archive ran as code."""
    unchanged_problems: tuple[int, int] = (0, 0)
    """How many errors and warnings there are in records that were not read again, because nothing in them changed."""

    @property
    def ok(self) -> bool:
        """Return whether no error kept anything off the site."""
        return not errors_in(self.problems) and not self.unchanged_problems[0]

    @property
    def lines(self) -> tuple[str, ...]:
        """Return the report as lines for the terminal."""
        count = len(self.published)
        rebuilt = f", {self.changed} rebuilt" if 0 < self.changed < count else ""
        rebuilt = ", no changes" if count and not self.changed else rebuilt
        lines = [f"{count_of(count, 'build')} published to {self.out} in {self.seconds:.1f} s{rebuilt}"]
        lines += [self.own_code] if self.own_code else []
        lines += [f"skipped: {slug} ({why})" for slug, why in self.left_out]
        lines += [f"site: {warning}" for warning in self.warnings]
        unchanged = [
            count_of(number, name)
            for number, name in zip(self.unchanged_problems, ("error", "warning"), strict=True)
            if number
        ]
        if unchanged:
            lines.append(f"in unchanged records: {' and '.join(unchanged)}; run `millbook check`")
        return tuple(lines)
