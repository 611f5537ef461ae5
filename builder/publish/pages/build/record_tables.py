"""The record as tables: chapters in the order of the work, every value as written.

The tables follow from the models alone, so a new field of the record appears on the page without a change here.
Values are shown as written, with the other system of units where the shop shows both.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from builder.figures.core.display_units import convert_to_other_system, written_text
from builder.record.models.build import DOCUMENT_TITLES, Build
from builder.record.models.fields import DescribedModel, RecordModel, notes_of, title_of
from builder.record.quantities.readings import Reading, as_written
from builder.record.quantities.units import Quantity, Range
from builder.record.wording import in_sentence

RARE_CHAPTERS = ("returned", "service")
"""Documents that most builds do not have: nothing is missing without them."""
_LEFT_OUT = {
    "build": {"title", "summary", "goals", "invented", "status", "units", "correction", "lessons"},
    "dyno": {"pulls", "correction"},
}
"""Fields of a document that the page shows in another section."""
_LONG_TEXT = 120


@dataclass(frozen=True)
class Cell:
    """One value as text."""

    text: str
    alternate_unit: str | None = None
    """The same value in the other system of units, or a short remark."""
    number: bool = False
    out_of_range: bool = False
    long_text: bool = False
    nowrap: bool = False
    """Whether it stays on one line: a date, an address."""


@dataclass(frozen=True)
class Row:
    """One named value with its remarks."""

    title: str
    cell: Cell
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True)
class Table:
    """Several entries of one kind, such as parts, operations or joints; or one reading at every position."""

    title: str
    head: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    readings: tuple[tuple[str, Reading], ...] = ()
    """The readings with their titles, where the columns are their positions."""

    @property
    def numeric_columns(self) -> tuple[int, ...]:
        """The indices of the columns, after the first, whose every filled cell is a number."""
        columns = (
            (index, [cell for cell in column if cell.text])
            for index, column in enumerate(zip(*self.rows, strict=True))
            if index
        )
        return tuple(index for index, cells in columns if cells and all(cell.number for cell in cells))

    def without_empty_columns(self) -> Table:
        """Return the table without the columns, after the first, that have no text."""
        filled = [
            index
            for index in range(len(self.head))
            if index == 0 or any(row[index].text or row[index].alternate_unit for row in self.rows)
        ]
        rows = tuple(tuple(row[index] for index in filled) for row in self.rows)
        return replace(self, head=tuple(self.head[index] for index in filled), rows=rows)


@dataclass(frozen=True)
class Group:
    """The values under one path of the record."""

    title: str
    path: str
    rows: tuple[Row, ...] = ()
    tables: tuple[Table, ...] = ()


@dataclass(frozen=True)
class Chapter:
    """One document of the record; without groups where nothing was recorded.

    ``parts`` are the titles of what it describes (heads, gasket, ignition ...) by their paths.
    """

    name: str
    title: str
    groups: tuple[Group, ...] = ()
    parts: Mapping[str, str] = field(default_factory=dict)

    @property
    def contents(self) -> str:
        """Return what it describes in a few words, empty where that is one thing: `heads, gasket, ignition`."""
        return ", ".join(map(in_sentence, self.parts.values())) if len(self.parts) > 1 else ""


def chapters(build: Build, *, both_systems: bool = True) -> tuple[Chapter, ...]:
    """Return a chapter for every document of the record, empty ones included."""
    return tuple(
        Chapter(name, title, tuple(_groups(getattr(build, name), name, both_systems)), _parts(build, name))
        for name, title in DOCUMENT_TITLES.items()
        if name != "photos"
    )


def _parts(build: Build, name: str) -> Mapping[str, str]:
    model: RecordModel | None = getattr(build, name)
    hidden = {*_LEFT_OUT.get(name, ()), DOCUMENT_TITLES[name].lower()}
    return {
        f"{name}.{part}": title_of(part, info)
        for part, info in (type(model).model_fields.items() if model is not None else ())
        if isinstance(getattr(model, part), RecordModel) and part not in hidden
    }


def _groups(model: RecordModel | None, path: str, both: bool) -> Iterator[Group]:
    """Yield the values of a model itself, then the groups of its inner models and lists."""
    if model is None:
        return
    rows: list[Row] = []
    readings: list[tuple[str, Reading]] = []
    inner: list[Group] = []
    for name, info in type(model).model_fields.items():
        value = getattr(model, name)
        if value is None or value == () or name in _LEFT_OUT.get(path, ()):
            continue
        title, inner_path = title_of(name, info), f"{path}.{name}"
        if isinstance(value, DescribedModel) and value.is_one_line:
            rows.append(Row(title, cell(value.description, both)))
        elif isinstance(value, RecordModel):
            inner += _inner_groups(value, title, inner_path, both)
        elif isinstance(value, tuple) and isinstance(value[0], RecordModel):
            if table := table_of(title, value, both):
                inner.append(Group(title, inner_path, tables=(table,)))
        elif isinstance(value, Reading):
            for label, reading in _states(title, value):
                if len(reading.measured) > 1:
                    readings.append((label, reading))
                else:
                    rows.append(Row(label, cell(reading, both), remarks(reading, both)))
        else:
            rows.append(Row(title, cell(value, both), remarks(value, both)))
    if rows or readings:
        yield Group(
            DOCUMENT_TITLES.get(path, path.split(".")[-1]), path, tuple(rows), tuple(_position_tables(readings))
        )
    yield from inner


def _states(title: str, reading: Reading) -> Iterator[tuple[str, Reading]]:
    """Yield a reading of the rebuilt engine, and the same as the engine came back, each with its title."""
    if reading.as_returned is not None:
        yield f"{title}, as returned", reading.as_returned
    if reading.preferred or reading.as_returned is None:
        yield title, reading


def _inner_groups(model: RecordModel, title: str, path: str, both: bool) -> Iterator[Group]:
    for group in _groups(model, path, both):
        depth = group.path.count(".") - path.count(".")
        titles = {0: title, 1: f"{title}, {in_sentence(group.title)}"}
        yield replace(group, title=titles.get(depth, group.title))  # of deeper ones, the last two titles


def _position_tables(readings: list[tuple[str, Reading]]) -> Iterator[Table]:
    """Yield a table for the readings of each number of positions."""
    for count in dict.fromkeys(len(reading.measured) for _, reading in readings):
        head = ("Reading", "Unit", *(str(number) for number in range(1, count + 1)), "Listed", "Allowed")
        group = tuple((title, reading) for title, reading in readings if len(reading.measured) == count)
        rows = tuple(_positions_row(title, reading) for title, reading in group)
        yield Table("By cylinder", head, rows, group).without_empty_columns()


def _positions_row(title: str, reading: Reading) -> tuple[Cell, ...]:
    unit = written_text(Quantity(0, "", reading.measured[0].unit, reading.dimension)).strip()
    return (
        Cell(title),
        Cell(unit),
        *(
            Cell(quantity.number.replace("-", "−"), number=True, out_of_range=reading.is_out_of_range(quantity))
            for quantity in reading.measured
        ),
        cell(reading.listed, False) if reading.listed else Cell(""),
        Cell(allowed_text(reading) or ""),
    )


def table_of(title: str, models: tuple[RecordModel, ...], both: bool) -> Table | None:
    """Return entries of one kind as a table with a column for each field that any of them has; None without any."""
    fields = type(models[0]).model_fields
    columns = [name for name in fields if any(getattr(model, name) not in (None, ()) for model in models)]
    if not columns:
        return None
    rows = tuple(
        tuple(Cell("") if getattr(model, name) in (None, ()) else cell(getattr(model, name), both) for name in columns)
        for model in models
    )
    return Table(title, tuple(title_of(name, fields[name]) for name in columns), rows)


def allowed_text(reading: Reading) -> str | None:
    """Return the allowed range as text, or None."""
    if reading.allowed:
        return reading.allowed.text
    ends = []
    if reading.at_least:
        ends.append(f"at least {written_text(reading.at_least)}")
    if reading.at_most:
        ends.append(f"at most {written_text(reading.at_most)}")
    return ", ".join(ends) or None


def remarks(value: Any, both: bool) -> tuple[str, ...]:
    """Return the remarks on a reading: listed value, range, resolution, repeats, who measured, why accepted, note."""
    if not isinstance(value, Reading):
        return ()
    texts = []
    if value.is_measured and value.listed:
        texts.append(f"listed {written_text(value.listed)}")
    if allowed := allowed_text(value):
        texts.append(f"allowed {allowed}" + (f" ({value.rule})" if value.rule else ""))
    if value.resolution:
        texts.append(f"gauge resolves {written_text(value.resolution)}")
    if value.repeats:
        texts.append("read " + ", ".join(quantity.number for quantity in value.repeats))
    if value.instrument:
        texts.append(f"with {value.instrument}")
    if value.by:
        texts.append(f"by {value.by}")
    if value.accepted:
        texts.append(f"accepted by {value.accepted.by}: {value.accepted.why}")
    if value.note:
        texts.append(value.note)
    return tuple(texts)


def cell(value: Any, both: bool = True) -> Cell:
    """Return any value of the record as a cell; with `both`, in the other system of units too."""
    if isinstance(value, Reading):
        return _reading_cell(value, both)
    if isinstance(value, Quantity):
        return Cell(written_text(value), convert_to_other_system(value) if both else None, number=True)
    if isinstance(value, Range):
        return Cell(f"{value.minimum.number} to {written_text(value.maximum)}")
    if isinstance(value, RecordModel):
        return Cell("; ".join(_field_texts(value)))
    if isinstance(value, tuple):
        texts = [cell(item, False).text for item in value]
        return Cell((" " if all(text.endswith(".") for text in texts) else "; ").join(texts))
    if isinstance(value, dict):
        return Cell("; ".join(f"{key}: {item}" for key, item in value.items()))
    if isinstance(value, datetime.date):
        return Cell(value.isoformat(), nowrap=True)
    if isinstance(value, bool):
        return Cell("yes" if value else "no")
    if isinstance(value, (int, float)):
        return Cell(f"{value:g}", number=True)
    text = as_written(value)
    return Cell(text, long_text="\n" in text or len(text) > _LONG_TEXT)


def _reading_cell(reading: Reading, both: bool) -> Cell:
    if not reading.preferred and reading.as_returned is not None:
        returned = _reading_cell(reading.as_returned, both)
        return replace(returned, text=f"{returned.text}, as returned")
    values = reading.preferred
    if not values:
        return Cell(f"allowed {allowed_text(reading)}")
    out_of_range = any(reading.is_out_of_range(value) for value in values)
    if len(reading.measured) > 1:
        low, high = min(values, key=lambda value: value.si), max(values, key=lambda value: value.si)
        text = written_text(low) if low.si == high.si else f"{low.number} to {written_text(high)}"
        return Cell(f"{text}, {len(values)} read", number=True, out_of_range=out_of_range)
    value = values[0]
    alternate = convert_to_other_system(value) if both else None
    return Cell(written_text(value), alternate, number=True, out_of_range=reading.is_out_of_range(value))


def _field_texts(model: RecordModel) -> Iterator[str]:
    for name, info in type(model).model_fields.items():
        value = getattr(model, name)
        if value in (None, ()):
            continue
        text = cell(value, False).text
        yield text if name in ("what", "part", "at") else f"{notes_of(info).title or name.replace('_', ' ')} {text}"
