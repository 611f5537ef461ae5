"""Two or more builds side by side: only what differs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from builder.archive.fields import FIELDS, System, choice_of, number_of
from builder.archive.summary import Summary

UNKNOWN = "not recorded"


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the table: a title and one text a build, in the order the builds were given."""

    slug: str
    title: str
    group: str
    values: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Comparison:
    """What differs, and the titles of what does not (values that are the same and known)."""

    summaries: tuple[Summary, ...]
    rows: tuple[Row, ...]
    alike: tuple[str, ...]


def compare(summaries: Sequence[Summary], system: System = "metric") -> Comparison:
    """Lay builds side by side and keep only what differs as shown.

    Two values that read the same in the shop's units do not differ. A value that some builds record and
    others do not differs. Raises ValueError for fewer than two builds.
    """
    if len(summaries) < 2:
        raise ValueError("comparing takes two builds or more")
    rows: list[Row] = []
    alike: list[str] = []

    def add(slug: str, title: str, group: str, texts: Sequence[str | None]) -> None:
        values = tuple(UNKNOWN if t is None else t for t in texts)
        if len(set(values)) > 1:
            rows.append(Row(slug, title, group, values))
        elif values[0] != UNKNOWN:
            alike.append(title)

    add("date", "Date", "what it is", [s.date for s in summaries])
    for field in FIELDS:
        read = number_of if field.kind == "number" else choice_of
        found = [read(s, field) for s in summaries]
        add(
            field.slug,
            field.title,
            field.group,
            [None if v is None else field.show(v, system) for v in found],
        )
    kinds = sorted({p.kind for s in summaries for p in s.parts})
    for kind in kinds:
        add(f"part:{kind}", kind[:1].upper() + kind[1:], "parts", [_parts(s, kind) for s in summaries])
    return Comparison(tuple(summaries), tuple(rows), tuple(alike))


def _parts(summary: Summary, kind: str) -> str | None:
    found = sorted({f"{p.maker} {p.number}".strip() for p in summary.parts if p.kind == kind})
    return "; ".join(found) or None
