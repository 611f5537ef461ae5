"""Parts as received: what each is, what was checked on it with every reading, and the result."""

from __future__ import annotations

from dataclasses import dataclass

from builder.figures.core.display_units import written_text
from builder.publish.pages.build.record_tables import cell, remarks
from builder.publish.pages.formatting import sentence
from builder.record.models.build import Build
from builder.record.models.parts import Part, PartCheck
from builder.record.quantities.readings import Reading, as_written

_SOURCES_TO_CHECK = {"used", "customer's own", "swap meet", "mixed lot", "reconditioned"}
_MAX_LISTED_READINGS = 32


@dataclass(frozen=True)
class PartRow:
    """One part as texts."""

    title: str
    facts: tuple[str, ...]
    source: str
    checks: tuple[str, ...]
    verdict: str
    rework: str
    note: str
    unchecked: bool
    """Whether nobody checked it although it was not new."""
    rejected: bool
    """Whether it was not used."""


def part_rows(build: Build) -> tuple[PartRow, ...]:
    """Return every part, in the order of the record."""
    return tuple(_row(part) for part in (build.parts.parts if build.parts else ()))


def _row(part: Part) -> PartRow:
    unchecked = part.never_checked and part.source in _SOURCES_TO_CHECK
    facts = (part.maker, part.number, f"qty {part.quantity}" if part.quantity and part.quantity > 1 else None)
    return PartRow(
        title=sentence(part.part, ""),
        facts=tuple(fact for fact in facts if fact),
        source=as_written(part.source or ""),
        checks=tuple(_check(check) for check in part.checked),
        verdict="not inspected" if unchecked else part.verdict or ("not checked" if part.never_checked else ""),
        rework=part.done or "",
        note=part.note or "",
        unchecked=unchecked,
        rejected=part.verdict in ("returned", "scrapped"),
    )


def _check(check: PartCheck) -> str:
    results = [] if check.reading is None else [_values(check.reading), *remarks(check.reading, False)]
    if check.found:
        results.append(check.found)
    return f"{check.what}: {'; '.join(results)}" if results else check.what


def _values(reading: Reading) -> str:
    """Return every value as written, with the unit once where all have the same."""
    if not 2 <= len(reading.measured) <= _MAX_LISTED_READINGS:
        return cell(reading, True).text
    *others, last = reading.measured
    if all(quantity.unit == last.unit for quantity in others):
        return ", ".join((*(quantity.number.replace("-", "−") for quantity in others), written_text(last)))
    return ", ".join(written_text(quantity) for quantity in reading.measured)
