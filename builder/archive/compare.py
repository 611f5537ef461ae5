"""Two or more builds compared: what the archive knows of each, then every field of their records, file by file."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from builder.archive.fields import FIELDS, System, choice_of, number_of
from builder.archive.recorded_fields import RecordedField, recorded_fields
from builder.archive.summary import Summary
from builder.record.models.build import DOCUMENT_TITLES, Build
from builder.record.wording import capitalize, in_sentence

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
    """The rows that differ, and those that are recorded and identical, each as its title and its value."""

    summaries: tuple[Summary, ...]
    rows: tuple[DifferenceRow, ...]
    identical: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class FileComparison:
    """One file of the records compared: the rows that differ, and the titles of what is identical."""

    title: str
    rows: tuple[DifferenceRow, ...]
    identical: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ComparedRecord:
    """The fields of a build's record that are compared; ``engine`` is the shop's number of the engine."""

    engine: str | None
    fields: tuple[RecordedField, ...]


_NOT_COMPARED = (
    "build.title", "build.summary", "build.number", "build.status", "build.started", "build.finished",
    "build.invented", "build.goals.text", "build.previous_build", "dyno.pulls", "assembly.fasteners.sequence",
    "delivery.signed", "photos",
)  # fmt: skip
"""Fields that differ between any two builds: names, dates, and what the page shows in other places."""


def compared_record(build: Build) -> ComparedRecord:
    """Return what is compared of a build from which the private fields were removed."""
    return ComparedRecord(build.build.engine_number, recorded_fields(build, without=_NOT_COMPARED))


def compare_records(records: Sequence[ComparedRecord], system: System = "metric") -> tuple[FileComparison, ...]:
    """Return what differs between records, file by file in the order of the work.

    Readings are their range; where all builds are of one engine, the number at every position. Two values are
    identical that read the same in the units of the system.
    """
    one_engine = records[0].engine is not None and len({record.engine for record in records}) == 1
    by_key = [{field.key: field for field in record.fields} for record in records]
    compared = []
    for file, file_title in DOCUMENT_TITLES.items():
        rows: list[DifferenceRow] = []
        alike: list[str] = []
        for key in dict.fromkeys(key for fields in by_key for key in fields if key[0] == file):
            recorded = [fields.get(key) for fields in by_key]
            values = tuple(UNKNOWN if field is None else _shown(field, system, one_engine) for field in recorded)
            title = f"{key[1]}: {in_sentence(key[2])}" if key[1] else key[2]
            if len(set(values)) > 1:
                rows.append(DifferenceRow(":".join(key), title, file, values))
            else:
                alike.append(title)
        if rows or alike:
            compared.append(FileComparison(file_title, tuple(rows), tuple(alike)))
    return tuple(compared)


def _shown(field: RecordedField, system: System, one_engine: bool) -> str:
    if one_engine and field.positions:
        return field.in_full
    return field.inch if system == "inch" else field.metric


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
            alike.append(f"{title} {values[0]}")

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
        add(f"part:{kind}", capitalize(kind), "parts", [_parts(s, kind) for s in summaries])
    return Comparison(tuple(summaries), tuple(rows), tuple(alike))


def _parts(summary: Summary, kind: str) -> str | None:
    parts = sorted({f"{p.maker} {p.number}".strip() for p in summary.parts if p.kind == kind})
    return "; ".join(parts) or None
