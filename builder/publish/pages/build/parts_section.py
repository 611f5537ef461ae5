"""Parts as received: what each is, what was checked on it with every reading, and what came of it."""

from __future__ import annotations

from dataclasses import dataclass

from builder.figures.core.display_units import written_text
from builder.publish.pages.build.record_tables import cell, remarks
from builder.record.models.build import Build
from builder.record.models.parts import Part, PartCheck
from builder.record.quantities.readings import Reading

_LOOKED_AT = {"used", "customer's own", "swap meet", "mixed lot", "reconditioned"}
_MOST = 32


@dataclass(frozen=True)
class PartRow:
    """One part, ready to be set. `missed`: nobody checked it though it was not new; `turned_away`: it did not go in."""

    title: str
    facts: tuple[str, ...]
    source: str
    checks: tuple[str, ...]
    verdict: str
    rework: str
    note: str
    unchecked: bool
    rejected: bool


def part_rows(build: Build) -> tuple[PartRow, ...]:
    """Every part, in the order of the record."""
    return tuple(_row(part) for part in (build.parts.parts if build.parts else ()))


def _row(part: Part) -> PartRow:
    missed = part.never_checked and part.source in _LOOKED_AT
    facts = (part.maker, part.number, f"{part.quantity} off" if part.quantity and part.quantity > 1 else None)
    return PartRow(
        part.part[:1].upper() + part.part[1:],
        tuple(fact for fact in facts if fact),
        part.source or "",
        tuple(_check(check) for check in part.checked),
        "never checked" if missed else part.verdict or ("not checked" if part.never_checked else ""),
        part.done or "",
        part.note or "",
        missed,
        part.verdict in ("returned", "scrapped"),
    )


def _check(check: PartCheck) -> str:
    said = []
    if check.reading is not None:
        said.append("; ".join((_values(check.reading), *remarks(check.reading, False))))
    if check.found:
        said.append(check.found)
    return f"{check.what}: {'; '.join(said)}" if said else check.what


def _values(reading: Reading) -> str:
    """Every value as written, the unit once where all have the same."""
    if len(reading.measured) < 2 or len(reading.measured) > _MOST:
        return cell(reading, True).text
    last = reading.measured[-1]
    if all(quantity.unit == last.unit for quantity in reading.measured):
        return ", ".join((*(q.number.replace("-", "−") for q in reading.measured[:-1]), written_text(last)))
    return ", ".join(written_text(quantity) for quantity in reading.measured)
