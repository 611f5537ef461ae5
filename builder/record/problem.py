"""A reader's problem is a value: which file, which line, what is wrong, what to write instead."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

Severity = Literal["error", "warning"]


@dataclass(frozen=True, slots=True, order=True)
class Problem:
    """One thing wrong with the record.

    An error keeps its build from being published; a warning does not.
    """

    path: Path
    line: int
    message: str
    severity: Severity = "error"

    def __str__(self) -> str:
        return f"{self.path}:{self.line}: {self.severity}: {self.message}"
