"""Parts of the record as named values and small tables, as the binder sets them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from builder.publish.pages.build.record_tables import Cell, Group, Table, cell, chapters, remarks
from builder.record.models.build import Build
from builder.record.models.fields import RecordModel, title_of

_PAGE_COLUMNS = 7
"""A table with more columns than this is told in rows."""


@dataclass(frozen=True)
class LabelledValue:
    """A named value: the same in the other system beside it, remarks, and how it is known."""

    title: str
    text: str
    beside: str = ""
    remarks: tuple[str, ...] = ()
    basis: str = ""
    out: bool = False


@dataclass(frozen=True)
class NamedTable:
    """A table with a heading for each column."""

    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class NamedGroup:
    """Named values that belong together, and the tables that go with them."""

    title: str
    rows: tuple[LabelledValue, ...] = ()
    tables: tuple[NamedTable, ...] = ()


def rows_of(model: RecordModel, both: bool) -> tuple[LabelledValue, ...]:
    """Every value of a part of the record that has no parts of its own."""
    found = []
    for name, info in type(model).model_fields.items():
        value = getattr(model, name)
        if value in (None, ()) or isinstance(value, RecordModel):
            continue
        shown = cell(value, both)
        found.append(
            LabelledValue(
                title_of(name, info),
                shown.text,
                shown.alternate_unit or "",
                remarks(value, both),
                out=shown.out_of_range,
            )
        )
    return tuple(found)


def specification_groups(build: Build, both: bool) -> tuple[NamedGroup, ...]:
    """Bottom end and top end, group by group."""
    return tuple(_groups(build, ("bottom_end", "top_end"), both))


def cam_groups(build: Build, both: bool) -> tuple[NamedGroup, ...]:
    """The cam: card, how it went in, what the degree wheel said."""
    return tuple(_groups(build, ("cam",), both))


def _groups(build: Build, names: tuple[str, ...], both: bool) -> Iterator[NamedGroup]:
    for chapter in chapters(build, both_systems=both):
        if chapter.name in names:
            for group in chapter.groups:
                if (made := _group(group)).rows or made.tables:
                    yield made


def _group(group: Group) -> NamedGroup:
    rows = [
        LabelledValue(row.title, row.cell.text, row.cell.alternate_unit or "", row.remarks, out=row.cell.out_of_range)
        for row in group.rows
    ]
    tables = []
    for table in group.tables:
        if table.by_position:
            rows += _positions(table)
        elif len(table.head) <= _PAGE_COLUMNS:
            tables.append(NamedTable(table.head, tuple(tuple(each.text for each in row) for row in table.rows)))
        else:
            rows += [LabelledValue(row[0].text, _row_as_text(table.head[1:], row[1:])) for row in table.rows]
    return NamedGroup(group.title, tuple(rows), tuple(tables))


def _row_as_text(head: tuple[str, ...], row: tuple[Cell, ...]) -> str:
    """A row of a table too wide for the page, in words."""
    return "; ".join(f"{title.lower()} {each.text}" for title, each in zip(head, row, strict=True) if each.text)


def _positions(table: Table) -> Iterator[LabelledValue]:
    """Readings at every position, in one flowing line each; what was listed and allowed as remarks."""
    for row in table.rows:
        by = dict(zip(table.head, row, strict=True))
        values = [each for head, each in by.items() if head.isdigit() and each.text]
        text = " · ".join(each.text for each in values)
        unit = by["Unit"].text if "Unit" in by else ""
        said = [f"{word} {by[head].text}" for head, word in (("Listed", "listed"), ("Allowed", "allowed"))
                if head in by and by[head].text]  # fmt: skip
        joined = f"{text}{'' if unit in ('°', '') else chr(0xA0)}{unit}"
        yield LabelledValue(row[0].text, joined, "", tuple(said), out=any(each.out_of_range for each in values))
