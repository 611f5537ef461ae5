"""Problems with the record as values: the file, the line, what is wrong and what to write instead."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import Literal

from builder.record.wording import printable

Severity = Literal["error", "warning"]

_MAX_COMPARED_LENGTH, _MAX_COMPARED_NAMES = 100, 800


@dataclass(frozen=True, slots=True, order=True)
class Problem:
    """One thing wrong with the record.

    An error keeps its build from being published; a warning does not.
    """

    path: Path
    line: int
    message: str
    severity: Severity = "error"
    fields: tuple[str, ...] = ()
    """Paths of the fields it is about, where that is known: `bottom_end.block.bores.measured.2`."""

    def __str__(self) -> str:
        """One line that any terminal can show: `path:line: error: message`."""
        return printable(f"{self.path.as_posix()}:{self.line}: {self.severity}: {self.message}")


def errors_in(problems: Iterable[Problem]) -> list[Problem]:
    """Return the problems that keep a build from being published."""
    return [problem for problem in problems if problem.severity == "error"]


def did_you_mean(name: str, names: Iterable[str], otherwise: str = "", *, cutoff: float = 0.6) -> str:
    """Return the question whether the nearest of some names was meant; `otherwise` where none is near.

    A name too long to be typed, and names after the first few hundred, are not compared: that would take minutes.
    """
    if len(name) > _MAX_COMPARED_LENGTH:
        return otherwise
    matches = difflib.get_close_matches(name, [*islice(names, _MAX_COMPARED_NAMES)], n=1, cutoff=cutoff)
    return f"did you mean {matches[0]!r}?" if matches else otherwise
