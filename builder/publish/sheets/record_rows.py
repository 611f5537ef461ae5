"""Parts of the record as labeled values and small tables, as the binder prints them."""

from __future__ import annotations

from dataclasses import dataclass

from builder.figures.core.display_units import join_unit, written_text
from builder.publish.pages.build.record_tables import Cell, Group, allowed_text, cell, chapters, remarks
from builder.record.models.build import Build
from builder.record.models.fields import RecordModel, title_of
from builder.record.quantities.readings import Reading
from builder.record.quantities.unit_table import printed_unit

_MAX_COLUMNS = 7
"""A table with more columns than this is printed as rows."""


@dataclass(frozen=True)
class LabelledValue:
    """A value with its label: the same in the other system, remarks, and how it is known."""

    title: str
    text: str
    alternate_text: str = ""
    remarks: tuple[str, ...] = ()
    provenance: str = ""
    out_of_range: bool = False


@dataclass(frozen=True)
class TextTable:
    """A table of texts, with a header for each column."""

    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class ValueGroup:
    """Labeled values that belong together, and the tables that go with them."""

    title: str
    rows: tuple[LabelledValue, ...] = ()
    tables: tuple[TextTable, ...] = ()


def labelled(*pairs: tuple[str, str | None]) -> tuple[LabelledValue, ...]:
    """Return these titles and texts as labeled values, without those that have no text."""
    return tuple(LabelledValue(title, text) for title, text in pairs if text)


def rows_of(model: RecordModel, both: bool) -> tuple[LabelledValue, ...]:
    """Return every recorded value of a model, without those of the models inside it."""
    rows = []
    for name, info in type(model).model_fields.items():
        value = getattr(model, name)
        if value not in (None, ()) and not isinstance(value, RecordModel):
            rows.append(_labelled_cell(title_of(name, info), cell(value, both), remarks(value, both)))
    return tuple(rows)


def value_groups(build: Build, documents: tuple[str, ...], both: bool) -> tuple[ValueGroup, ...]:
    """Return the values of these documents, group by group."""
    groups = (
        _value_group(group)
        for chapter in chapters(build, both_systems=both)
        if chapter.name in documents
        for group in chapter.groups
    )
    return tuple(group for group in groups if group.rows or group.tables)


def _labelled_cell(title: str, item: Cell, notes: tuple[str, ...]) -> LabelledValue:
    return LabelledValue(title, item.text, item.alternate_unit or "", notes, out_of_range=item.out_of_range)


def _value_group(group: Group) -> ValueGroup:
    rows = [_labelled_cell(row.title, row.cell, row.remarks) for row in group.rows]
    tables = []
    for table in group.tables:
        if table.readings:
            rows += [_positions_row(title, reading) for title, reading in table.readings]
        elif len(table.head) <= _MAX_COLUMNS:
            tables.append(TextTable(table.head, tuple(tuple(item.text for item in row) for row in table.rows)))
        else:
            rows += [LabelledValue(row[0].text, _row_as_text(table.head[1:], row[1:])) for row in table.rows]
    return ValueGroup(group.title, tuple(rows), tuple(tables))


def _row_as_text(header: tuple[str, ...], row: tuple[Cell, ...]) -> str:
    """Return a row of a table too wide for the page as text."""
    return "; ".join(f"{title.lower()} {item.text}" for title, item in zip(header, row, strict=True) if item.text)


def _positions_row(title: str, reading: Reading) -> LabelledValue:
    """Return the readings at every position in one line; what was listed and allowed as remarks."""
    numbers = " · ".join(quantity.number.replace("-", "−") for quantity in reading.measured)
    notes = [f"listed {written_text(reading.listed)}"] if reading.listed else []
    notes += [f"allowed {allowed}"] if (allowed := allowed_text(reading)) else []
    return LabelledValue(
        title,
        join_unit(numbers, printed_unit(reading.measured[0].unit)),
        remarks=tuple(notes),
        out_of_range=any(reading.is_out_of_range(quantity) for quantity in reading.measured),
    )
