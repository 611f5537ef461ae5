"""Two or more builds compared: the table of what differs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from builder.archive.fields import FIELDS, System, choice_of, number_of
from builder.archive.summary import Summary

UNKNOWN = "not recorded"


@dataclass(frozen=True, slots=True)
class DifferenceRow:
    """One row of the table: a title and one text for each build, in the order of the builds."""

    slug: str
    title: str
    group: str
    values: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Comparison:
    """The rows that differ, and the titles of those that are recorded and identical."""

    summaries: tuple[Summary, ...]
    rows: tuple[DifferenceRow, ...]
    identical: tuple[str, ...]


def compare(summaries: Sequence[Summary], system: System = "metric") -> Comparison:
    """Return what differs between builds, as displayed.

    Two values with the same text in the shop's units are identical. A value that only some builds record
    differs. Raises ValueError for fewer than two builds.
    """
    if len(summaries) < 2:
        raise ValueError("comparing takes two builds or more")
    rows: list[DifferenceRow] = []
    alike: list[str] = []

    def add(slug: str, title: str, group: str, texts: Sequence[str | None]) -> None:
        values = tuple(UNKNOWN if t is None else t for t in texts)
        if len(set(values)) > 1:
            rows.append(DifferenceRow(slug, title, group, values))
        elif values[0] != UNKNOWN:
            alike.append(title)

    add("date", "Date", "general", [s.date for s in summaries])
    for field in FIELDS:
        read = number_of if field.kind == "number" else choice_of
        field_values = [read(s, field) for s in summaries]
        add(
            field.slug,
            field.title,
            field.group,
            [None if v is None else field.show(v, system) for v in field_values],
        )
    for kind in sorted({p.kind for s in summaries for p in s.parts}):
        add(f"part:{kind}", kind[:1].upper() + kind[1:], "parts", [_parts(s, kind) for s in summaries])
    return Comparison(tuple(summaries), tuple(rows), tuple(alike))


def _parts(summary: Summary, kind: str) -> str | None:
    parts = sorted({f"{p.maker} {p.number}".strip() for p in summary.parts if p.kind == kind})
    return "; ".join(parts) or None
