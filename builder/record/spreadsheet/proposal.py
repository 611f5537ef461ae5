"""Propose a map for a spreadsheet: the fields that its headings mean, and what is left to say."""

from __future__ import annotations

import contextlib
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path

from builder.record.dyno_log.encoding import likely_decimal_mark
from builder.record.dyno_log.header import is_header
from builder.record.quantities.units import DIMENSIONS, NUMBER, dimension_of
from builder.record.scaffold import quoted
from builder.record.spreadsheet.cell_values import CellProblem, Dialect, Value, cells_of, is_blank, read_cell
from builder.record.spreadsheet.headings import read_heading
from builder.record.spreadsheet.import_map import SLUG_PATTERN, MappedColumn, column_cells, find_header, headings
from builder.record.spreadsheet.read import read_table
from builder.record.spreadsheet.table import SheetCell, SheetTable, SpreadsheetError
from builder.record.spreadsheet.targets import FieldTarget, parse_target
from builder.record.usual_units import fitting_units, usual_units

_SEARCHED_SHEETS = 8
_SAMPLE = 500


@dataclass(frozen=True, slots=True)
class DynoReadings:
    """A sheet with dyno readings, and its columns with the number of the build and the name of the pull."""

    sheet: str
    number: str
    pull: str = ""


@dataclass(frozen=True, slots=True)
class Proposal:
    """A map that was proposed: its columns, and its text for editing."""

    table: SheetTable
    header: int
    columns: tuple[MappedColumn, ...]
    text: str


def sheet_dialect(table: SheetTable, header: int, settings: Dialect | None = None) -> Dialect:
    """Return how numbers and days are written in a sheet: as the map says, else as most of its cells show."""
    mark = settings.decimal_mark if settings else None
    if mark is None:
        texts = (cell.text for _, cells in table.rows[header + 1 :] for cell in cells if not cell.is_number)
        likely = likely_decimal_mark(texts)
        mark = "." if likely == "." else "," if likely == "," else None
    return Dialect(mark, settings.date_order if settings else None, table.first_day)


def propose(path: Path, map_path: Path) -> Proposal:
    """Return a proposed map for a spreadsheet. Raises SpreadsheetError where it has no row of headings."""
    table = _best_sheet(path)
    header = find_header(table)
    if header is None:
        raise SpreadsheetError("has no row of headings: give each column a name, such as Job, Engine, Bore (in)")
    dialect = sheet_dialect(table, header)
    columns = tuple(_columns(table, header, dialect))
    text = _map_text(path, map_path, table, header, columns, dialect, _dyno_sheet(path, table))
    return Proposal(table, header, columns, text)


def _best_sheet(path: Path) -> SheetTable:
    """Return the sheet whose headings name most fields; the first where none does."""
    first = read_table(path)
    tables = [first, *(_other_sheets(path, first))]
    return max(tables, key=_known_headings) if len(tables) > 1 else first


def _other_sheets(path: Path, table: SheetTable) -> Iterable[SheetTable]:
    for sheet in table.sheets[:_SEARCHED_SHEETS]:
        if sheet != table.sheet:
            try:
                yield read_table(path, sheet)
            except SpreadsheetError:
                continue  # reported when it is asked for


def _known_headings(table: SheetTable) -> int:
    header = find_header(table)
    if header is None:
        return 0
    return sum(bool(read_heading(cell.text).targets) for cell in table.rows[header][1])


def _columns(table: SheetTable, header: int, dialect: Dialect) -> Iterable[MappedColumn]:
    """Yield each column with the field that its heading means, each field once for each unit."""
    taken: dict[tuple[str, str], str] = {}
    names = headings(table, header)
    has_cylinders = any(_is(name, "engine.cylinders") for name in names)
    for index, name in enumerate(names):
        cells = [cell for _, cell in column_cells(table, header, index)[:_SAMPLE] if not is_blank(cell)]
        column = _column(index, name, cells, dialect) if cells else MappedColumn(index, name, remark="empty")
        keys = [(target.path, column.unit) for target in column.targets]
        earlier = next((taken[key] for key in keys if key in taken), "")
        if earlier:
            column = MappedColumn(index, name, remark=f"the same field as {earlier}")
        elif keys == [("engine.layout", "")] and not has_cylinders and _all_have_numbers(cells):
            cylinders = parse_target("engine.cylinders")
            assert isinstance(cylinders, FieldTarget)
            column = replace(column, targets=(*column.targets, cylinders))
        taken |= dict.fromkeys(keys, name)
        yield column


def _column(index: int, name: str, cells: list[SheetCell], dialect: Dialect) -> MappedColumn:
    """Return a column with the fields that its heading means, if its cells can be read as those."""
    heading = read_heading(name)
    if not heading.targets:
        return MappedColumn(index, name, remark=heading.remark)
    first = heading.targets[0]
    paths = ", ".join(target.path for target in heading.targets)
    if heading.unit and (problem := first.unit_problem(heading.unit)):
        return MappedColumn(index, name, remark=f"{paths}? {problem}")
    values = _values(cells, heading.targets, dialect)
    if not values:
        return MappedColumn(index, name, remark=f"{paths}? none of its cells can be read as that")
    column = MappedColumn(index, name, heading.targets, heading.unit)
    if heading.unit or not first.takes_unit or all(value.unit for value in values):
        return column
    return _with_unit(column, [float(value.text) for value in values if not value.unit and _is_float(value.text)])


def _values(cells: list[SheetCell], targets: tuple[FieldTarget, ...], dialect: Dialect) -> list[Value]:
    """Return the values in the cells of a column that can be read for its fields."""
    values: list[Value] = []
    for cell in cells:
        with contextlib.suppress(CellProblem):
            values += [
                value for target, part in cells_of(cell, targets) for value in read_cell(part, target, "", dialect)
            ]
    return values


def _is(heading: str, path: str) -> bool:
    target = read_heading(heading).target
    return target is not None and target.path == path


def _all_have_numbers(cells: list[SheetCell]) -> bool:
    return bool(cells) and all(cell.text[-1:].isdecimal() for cell in cells)


def _with_unit(column: MappedColumn, numbers: list[float]) -> MappedColumn:
    """Return a column whose heading has no unit with the one that its numbers fit alone, else with the question."""
    target = column.targets[0]
    dimension = target.dimension or (dimension_of(target.notes.units[0]) if target.notes.units else None)
    if dimension is None or dimension == NUMBER:
        return replace(column, remark="write its unit", needs_unit=True)
    if len(set(DIMENSIONS[dimension].units.values())) == 1:
        return replace(column, unit=DIMENSIONS[dimension].inch)
    fitting = fitting_units(target.notes, dimension, numbers)
    if len(fitting) == 1:
        remark = f"the heading has no unit, and the numbers fit {fitting[0]} alone: check"
        return replace(column, unit=fitting[0], remark=remark)
    units = " or ".join(fitting or usual_units(target.notes, dimension))
    return replace(column, remark=f"write its unit: {units}", needs_unit=True)


def _is_float(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def _dyno_sheet(path: Path, table: SheetTable) -> DynoReadings | None:
    """Return another sheet of the file that holds dyno readings, with the number of a build in each row."""
    for other in _other_sheets(path, table):
        header = next((place for place, (_, cells) in enumerate(other.rows[:30])
                       if is_header([cell.text for cell in cells])), None)  # fmt: skip
        if header is None:
            continue
        names = headings(other, header)
        number = next((name for name in names if _is(name, "number")), "")
        pull = next((name for name in names if name.casefold() in ("pull", "run", "test", "pull name", "run name")), "")
        if number:
            return DynoReadings(other.sheet, number, pull)
    return None


def _map_text(
    path: Path, map_path: Path, table: SheetTable, header: int, columns: tuple[MappedColumn, ...], dialect: Dialect,
    dyno: DynoReadings | None,
) -> str:  # fmt: skip
    fields = {target.path for column in columns for target in column.targets}
    slug = "-".join(f"{{{name}}}" for name in ("number", "title") if name in fields) or "{title}"
    first_row = table.rows[header][0]
    lines = [
        f"# Which column of {path.name} goes into which field. Change what is not right, then run:",
        f"#   millbook import {path.name} --map {map_path.name}",
        "# A column with nothing behind its name is not imported. The path of every field is in the field reference.",
        *([f"sheet: {quoted('sheet', table.sheet)}"] if table.sheet else []),
        f"header_row: {first_row}",
        "# The name of each build's folder, which is also its address.",
        f"slug: {_quoted(slug if fields & {'number', 'title'} else SLUG_PATTERN)}",
        *([f"decimal_mark: {_quoted(dialect.decimal_mark)}"] if dialect.decimal_mark == "," else []),
        *(_date_order(table, header, columns, dialect)),
        "columns:",
        *map(_column_line, columns),
        "# The same for every build, where its row says nothing else.",
        "values:",
        "  status: finished",
    ]
    if "title" not in fields:
        used = [f"{{{name}}}" for name in ("family", "engine.displacement", "number") if name in fields]
        lines.append(f"  title: {_quoted(' '.join(used))}" if used else "  title:  # needed: a name for each build")
    if "engine.cylinders" not in fields:
        lines.append("  engine.cylinders:  # needed: how many, where all have as many; else a column for it")
    if dyno is not None:
        lines += [
            "# The dyno readings of each build, joined by its number.",
            "dyno:",
            f"  sheet: {quoted('sheet', dyno.sheet)}",
            f"  number: {quoted('number', dyno.number)}",
            *([f"  pull: {quoted('pull', dyno.pull)}"] if dyno.pull else []),
        ]
    return "\n".join(lines) + "\n"


def _quoted(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


def _date_order(table: SheetTable, header: int, columns: tuple[MappedColumn, ...], dialect: Dialect) -> list[str]:
    """Return the line that asks for the order of day and month, where a day can be read in two ways."""
    for column in columns:
        for target in column.targets:
            for _, cell in column_cells(table, header, column.index) if target.kind == "day" else ():
                try:
                    read_cell(cell, target, "", dialect)
                except CellProblem as problem:
                    if "date_order" in str(problem):
                        return [f"date_order:  # {cell.text[:20]}: day-month or month-day?"]
    return []


def _column_line(column: MappedColumn) -> str:
    key = _quoted(column.heading)
    remark = f"  # {column.remark}" if column.remark else ""
    if not column.targets:
        return f"  {key}:{remark}"
    paths = [_quoted(target.path) if "[" in target.path else target.path for target in column.targets]
    into = paths[0] if len(paths) == 1 else f"[{', '.join(paths)}]"
    if column.unit or column.needs_unit:
        return f"  {key}: {{into: {into}, unit: {_quoted(column.unit) if column.unit else 'null'}}}{remark}"
    return f"  {key}: {into}{remark}"
