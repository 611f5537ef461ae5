"""Values of the record that cannot all be true; how a check is written is in `comparison`."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

from builder.figures.core.solver import Solver
from builder.figures.core.types import Contradiction, RecordedValue
from builder.figures.review.cross_checks import engine_systems, output, paperwork, ports, short_block, valve_train
from builder.figures.review.cross_checks.comparison import run_checks
from builder.figures.review.cross_checks.record_values import RecordValues

_MODULES = (short_block, valve_train, ports, engine_systems, paperwork, output)
CHECKS = tuple(check for module in _MODULES for check in module.define.checks)


def find_contradictions(solver: Solver) -> tuple[Contradiction, ...]:
    """Return every contradiction between the values of a build, in the order of the checks.

    A value that more of the checks name than any other of its contradiction is the most likely slip; that it is far
    from its neighbors is left out where it is the most likely slip of a contradiction with other values.
    """
    record = RecordValues(solver)
    contradictions = [
        replace(item, consequence=short_block.deck_consequence(record)) if item.check == "deck_clearance" else item
        for item in run_checks(CHECKS, record)
    ]
    named = Counter(path for path, _ in {(value.path, item.check) for item in contradictions for value in item.values})
    contradictions = [replace(item, suspect=_suspect(item, named)) for item in contradictions]
    suspects = {item.suspect.path for item in contradictions if item.suspect and len(item.values) > 1}
    return tuple(item for item in contradictions if len(item.values) > 1 or item.values[0].path not in suspects)


def _suspect(contradiction: Contradiction, named: Counter[str]) -> RecordedValue | None:
    """Return the value that most checks name; where none stands out, the only one that a mended slip would explain."""
    counts = sorted((named[value.path] for value in contradiction.values), reverse=True)
    if counts[0] >= 2 and (len(counts) == 1 or counts[0] > counts[1]):
        return max(contradiction.values, key=lambda value: named[value.path])
    explained = [value for value in contradiction.values if value.path in dict(contradiction.meant)]
    return explained[0] if len(explained) == 1 else None
