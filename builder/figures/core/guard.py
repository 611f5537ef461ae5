"""Keep an error in one item of a build from taking the others with it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import TypeVar

from builder.record.problem import Problem, Severity

T = TypeVar("T")
D = TypeVar("D")

_MAX_ERROR_LENGTH = 200


class Guard:
    """Runs the parts of a computation; an error in one becomes a problem with the build's folder, once."""

    def __init__(self, slug: str, verb: str = "computed", severity: Severity = "error") -> None:
        """Start without a problem; ``verb`` is what cannot be done with an item."""
        self.slug, self.verb, self.severity = slug, verb, severity
        self._problems: dict[Problem, None] = {}

    @property
    def problems(self) -> tuple[Problem, ...]:
        """The problems so far."""
        return tuple(self._problems)

    def run(self, item: str, compute: Callable[[], T], otherwise: D) -> T | D:
        """Return what ``compute`` returns, or ``otherwise`` where it raises an error."""
        try:
            return compute()
        except Exception as error:
            self.report(item, error)
            return otherwise

    def collect(self, item: str, compute: Callable[[], Iterable[T]]) -> Iterator[T]:
        """Yield what ``compute`` yields, up to an error."""
        try:
            yield from compute()
        except Exception as error:
            self.report(item, error)

    def report(self, item: str, error: Exception) -> None:
        """Add the problem that an item is left out because of an error."""
        reason = " ".join(f"{type(error).__name__}: {error}".split())[:_MAX_ERROR_LENGTH]
        message = f"{item} cannot be {self.verb} and is left out: look at the values it depends on ({reason})"
        self._problems[Problem(Path("builds") / self.slug, 1, message, self.severity)] = None
