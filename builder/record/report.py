"""What a command reports."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from builder.record.problem import Problem


@dataclass(frozen=True)
class CommandReport:
    """What a command found: problems of the records, lines to print, and whether all is well."""

    problems: Sequence[Problem]
    lines: Sequence[str]
    ok: bool
