"""The record as a page shows it: chapters in the order of the work, every value as it was written.

Made from the models alone, so a new field of the record appears on the page without anybody touching a
template. Values stand as written, with the other system beside them where the shop asks for both.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from builder.figures.core.display_units import convert_to_other_system, written_text
from builder.record.models.build import DOCUMENTS, Build
from builder.record.models.fields import RecordModel, notes_of, title_of
from builder.record.quantities.readings import Reading
from builder.record.quantities.units import Quantity, Range

TITLES = {
    "build": "What it is",
    "parts": "Parts as received",
    "work": "Machine work and preparation",
    "bottom_end": "Bottom end",
    "top_end": "Top end",
    "cam": "Cam",
    "assembly": "Assembly",
    "dyno": "Dyno session",
    "delivery": "Delivery",
}
_ELSEWHERE = {
    "build": {"title", "summary", "goals", "invented", "status"},
    "dyno": {"pulls"},
}
"""What the top of the page, or a chapter of its own, shows already."""


@dataclass(frozen=True)
class Cell:
    """One value, ready to be set: its text, the same in the other system, and whether it lies out of range."""

    text: str
    alternate_unit: str | None = None
    number: bool = False
    out_of_range: bool = False
    long_text: bool = False
    nowrap: bool = False
    """Kept on one line: a date, an address."""


@dataclass(frozen=True)
class Row:
    """One named value, with what belongs beside it."""

    title: str
    cell: Cell
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True)
class Table:
    """Several of the same thing: parts, operations, joints; or one reading at every position."""

    title: str
    head: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]

    @property
    def numeric_columns(self) -> tuple[int, ...]:
        """The indices of the columns, after the first, whose every filled cell is a number."""
        columns = (
            (index, [cell for cell in column if cell.text])
            for index, column in enumerate(zip(*self.rows, strict=True))
            if index
        )
        return tuple(index for index, cells in columns if cells and all(cell.number for cell in cells))


@dataclass(frozen=True)
class Group:
    """One part of a chapter."""

    title: str
    path: str
    rows: tuple[Row, ...] = ()
    tables: tuple[Table, ...] = ()

    def __bool__(self) -> bool:
        return bool(self.rows or self.tables)


@dataclass(frozen=True)
class Chapter:
    """One document of the record."""

    name: str
    title: str
    groups: tuple[Group, ...] = ()

    @property
    def recorded(self) -> bool:
        """Whether there is anything to show."""
        return bool(self.groups)


@dataclass
class _GroupBuilder:
    rows: list[Row] = field(default_factory=list)
    positions: dict[int, list[tuple[str, Reading]]] = field(default_factory=dict)
    tables: list[Table] = field(default_factory=list)


def chapters(build: Build, *, both_systems: bool = True) -> tuple[Chapter, ...]:
    """Every chapter of the record, those with nothing recorded included."""
    return tuple(
        Chapter(name, title, tuple(_groups(getattr(build, name), name, both_systems)))
        for name, title in TITLES.items()
        if name in DOCUMENTS
    )


def _groups(model: RecordModel | None, path: str, both: bool) -> Iterator[Group]:
    if model is None:
        return
    own = _GroupBuilder()
    inner: list[Group] = []
    for name, info in type(model).model_fields.items():
        value = getattr(model, name)
        if value is None or value == () or name in _ELSEWHERE.get(path, ()):
            continue
        title = title_of(name, info)
        where = f"{path}.{name}"
        if isinstance(value, RecordModel):
            inner += [
                Group(
                    title if group.path == where else f"{title}: {group.title.lower()}",
                    group.path,
                    group.rows,
                    group.tables,
                )
                for group in _groups(value, where, both)
            ]
        elif isinstance(value, tuple) and isinstance(value[0], RecordModel):
            if table := table_of(title, value, both):
                inner.append(Group(title, where, tables=(table,)))
        else:
            _gather(own, title, value, both)
    group = Group(TITLES.get(path, path.split(".")[-1]), path, tuple(own.rows), (*own.tables, *_by_position(own, both)))
    if group:
        yield group
    yield from inner


def _gather(own: _GroupBuilder, title: str, value: Any, both: bool) -> None:
    if isinstance(value, Reading) and len(value.measured) > 1:
        own.positions.setdefault(len(value.measured), []).append((title, value))
        return
    own.rows.append(Row(title, cell(value, both), remarks(value, both)))


def _by_position(own: _GroupBuilder, both: bool) -> Iterator[Table]:
    for count, readings in own.positions.items():
        head = ("Reading", "Unit", *(str(index + 1) for index in range(count)), "Listed", "Allowed")
        rows = []
        for title, reading in readings:
            unit = reading.measured[0].unit
            listed = cell(reading.listed, False) if reading.listed else Cell("")
            rows.append(
                (
                    Cell(title),
                    Cell(written_text(Quantity(0, "", unit, reading.dimension)).strip()),
                    *(
                        Cell(quantity.number.replace("-", "−"), number=True, out_of_range=is_out(reading, quantity))
                        for quantity in reading.measured
                    ),
                    listed,
                    Cell(allowed_text(reading) or ""),
                )
            )
        kept = [index for index in range(len(head)) if any(row[index].text for row in rows)]
        yield Table(
            "Position by position",
            tuple(head[index] for index in kept),
            tuple(tuple(row[index] for index in kept) for row in rows),
        )


def table_of(title: str, models: tuple[RecordModel, ...], both: bool) -> Table | None:
    """Several entries of one kind as a table, with a column for each field that any of them has."""
    fields = type(models[0]).model_fields
    columns = [name for name in fields if any(getattr(model, name) not in (None, ()) for model in models)]
    if not columns:
        return None
    rows = tuple(
        tuple(Cell("") if getattr(model, name) in (None, ()) else cell(getattr(model, name), both) for name in columns)
        for model in models
    )
    return Table(title, tuple(title_of(name, fields[name]) for name in columns), rows)


def is_out(reading: Reading, quantity: Quantity) -> bool:
    """Whether a measured value lies outside the range the record allows."""
    below = reading.least is not None and quantity.si < reading.least.si - 1e-12
    above = reading.most is not None and quantity.si > reading.most.si + 1e-12
    return below or above


def allowed_text(reading: Reading) -> str | None:
    """The allowed range in words, or None."""
    if reading.allowed:
        return reading.allowed.text
    ends = []
    if reading.at_least:
        ends.append(f"at least {written_text(reading.at_least)}")
    if reading.at_most:
        ends.append(f"at most {written_text(reading.at_most)}")
    return ", ".join(ends) or None


def remarks(value: Any, both: bool) -> tuple[str, ...]:
    """What belongs beside a reading: listed against measured, the range, who measured, why accepted."""
    if not isinstance(value, Reading):
        return ()
    found = []
    if value.is_measured and value.listed:
        found.append(f"listed {written_text(value.listed)}")
    if allowed := allowed_text(value):
        found.append(f"allowed {allowed}" + (f" ({value.rule})" if value.rule else ""))
    if value.resolution:
        found.append(f"gauge resolves {written_text(value.resolution)}")
    if value.repeats:
        found.append("read " + ", ".join(quantity.number for quantity in value.repeats))
    if value.by:
        found.append(f"by {value.by}")
    if value.accepted:
        found.append(f"accepted by {value.accepted.by}: {value.accepted.why}")
    if value.note:
        found.append(value.note)
    return tuple(found)


def cell(value: Any, both: bool = True) -> Cell:
    """Any value of the record as a cell."""
    if isinstance(value, Reading):
        return _reading_cell(value, both)
    if isinstance(value, Quantity):
        return Cell(written_text(value), convert_to_other_system(value) if both else None, number=True)
    if isinstance(value, Range):
        return Cell(f"{value.least.number} to {written_text(value.most)}")
    if isinstance(value, RecordModel):
        return Cell("; ".join(_pairs(value)))
    if isinstance(value, tuple):
        return Cell("; ".join(cell(item, False).text for item in value))
    if isinstance(value, dict):
        return Cell("; ".join(f"{key}: {item}" for key, item in value.items()))
    if isinstance(value, datetime.date):
        return Cell(value.isoformat(), nowrap=True)
    if isinstance(value, bool):
        return Cell("yes" if value else "no")
    if isinstance(value, (int, float)):
        return Cell(f"{value:g}", number=True)
    return Cell(str(value), long_text="\n" in str(value) or len(str(value)) > 120)


def _reading_cell(reading: Reading, both: bool) -> Cell:
    best = reading.preferred
    if not best:
        return Cell(f"allowed {allowed_text(reading)}")
    first = best[0]
    if len(reading.measured) > 1:
        low, high = min(best, key=lambda q: q.si), max(best, key=lambda q: q.si)
        text = written_text(low) if low.si == high.si else f"{low.number} to {written_text(high)}"
        return Cell(f"{text}, {len(best)} read", number=True, out_of_range=any(is_out(reading, q) for q in best))
    return Cell(
        written_text(first),
        convert_to_other_system(first) if both else None,
        number=True,
        out_of_range=is_out(reading, first),
    )


def _pairs(model: RecordModel) -> Iterator[str]:
    for name, info in type(model).model_fields.items():
        value = getattr(model, name)
        if value in (None, ()):
            continue
        shown = cell(value, False).text
        yield shown if name in ("what", "part", "at") else f"{notes_of(info).title or name.replace('_', ' ')} {shown}"
