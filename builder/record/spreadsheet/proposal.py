"""Propose a map for a spreadsheet: the fields that its headings mean, and what is left to say."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from builder.record.dyno_log.encoding import likely_decimal_mark
from builder.record.dyno_log.header import is_header
from builder.record.quantities.units import DIMENSIONS, NUMBER, dimension_of
from builder.record.scaffold import quoted
from builder.record.spreadsheet.cell_values import CellProblem, Dialect, is_blank, read_cell
from builder.record.spreadsheet.headings import read_heading
from builder.record.spreadsheet.import_map import (
    SLUG_PATTERN,
    Column,
    column_cells,
    find_header,
    has_values,
    headings,
)
from builder.record.spreadsheet.read import read_table
from builder.record.spreadsheet.table import Cell, SpreadsheetError, Table
from builder.record.spreadsheet.targets import Target, parse_target
from builder.record.usual_units import fitting_units, usual_units

_SEARCHED_SHEETS = 8
_SAMPLE = 500


@dataclass(frozen=True, slots=True)
class DynoSheet:
    """A sheet with dyno readings, and its columns with the number of the build and the name of the pull."""

    sheet: str
    number: str
    pull: str = ""


@dataclass(frozen=True, slots=True)
class Proposal:
    """A map that was proposed: its columns, and its text for editing."""

    table: Table
    header: int
    columns: tuple[Column, ...]
    text: str


def sheet_dialect(table: Table, header: int, settings: Dialect | None = None) -> Dialect:
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


def _best_sheet(path: Path) -> Table:
    """Return the sheet whose headings name most fields; the first where none does."""
    first = read_table(path)
    tables = [first, *(_other_sheets(path, first))]
    return max(tables, key=_known_headings) if len(tables) > 1 else first


def _other_sheets(path: Path, table: Table) -> Iterable[Table]:
    for sheet in table.sheets[:_SEARCHED_SHEETS]:
        if sheet != table.sheet:
            try:
                yield read_table(path, sheet)
            except SpreadsheetError:
                continue  # reported when it is asked for


def _known_headings(table: Table) -> int:
    header = find_header(table)
    if header is None:
        return 0
    return sum(read_heading(cell.text).target is not None for cell in table.rows[header][1])


def _columns(table: Table, header: int, dialect: Dialect) -> Iterable[Column]:
    """Yield each column with the field that its heading means, each field once for each unit."""
    taken: dict[tuple[str, str], str] = {}
    names = headings(table, header)
    has_cylinders = any(_is(name, "engine.cylinders") for name in names)
    for index, name in enumerate(names):
        if not has_values(table, header, index):
            yield Column(index, name, remark="empty")
            continue
        meant = read_heading(name)
        if meant.target is None:
            yield Column(index, name, remark=meant.remark)
            continue
        cells = [cell for _, cell in column_cells(table, header, index)[:_SAMPLE] if not is_blank(cell)]
        unit, remark = meant.unit, ""
        if unit and meant.target.unit_problem(unit):
            yield Column(index, name, remark=f"{meant.target.path}? {meant.target.unit_problem(unit)}")
            continue
        if not unit and meant.target.takes_unit:
            unit, remark = _unit_of(cells, meant.target, dialect)
        key = (meant.target.path, unit)
        if key in taken:
            yield Column(index, name, remark=f"the same field as {taken[key]}")
            continue
        taken[key] = name
        targets = [meant.target]
        if meant.target.path == "engine.layout" and not has_cylinders and _all_have_numbers(cells):
            cylinders = parse_target("engine.cylinders")
            assert isinstance(cylinders, Target)
            targets.append(cylinders)
        yield Column(index, name, tuple(targets), unit, remark)


def _is(heading: str, path: str) -> bool:
    target = read_heading(heading).target
    return target is not None and target.path == path


def _all_have_numbers(cells: list[Cell]) -> bool:
    return bool(cells) and all(cell.text[-1:].isdecimal() for cell in cells)


def _unit_of(cells: list[Cell], target: Target, dialect: Dialect) -> tuple[str, str]:
    """Return the unit of a column whose heading has none, and what to check about it."""
    numbers = []
    for cell in cells:
        try:
            values = read_cell(cell, target, "", dialect)
        except CellProblem:
            continue
        numbers += [float(value.text) for value in values if not value.unit and _is_float(value.text)]
    if not numbers and cells:
        return "", ""  # each cell has its own
    dimension = target.dimension or (dimension_of(target.notes.units[0]) if target.notes.units else None)
    if dimension is None or dimension == NUMBER:
        return "", "write its unit"
    if len(set(DIMENSIONS[dimension].units.values())) == 1:
        return DIMENSIONS[dimension].inch, ""
    fitting = fitting_units(target.notes, dimension, numbers)
    if len(fitting) == 1:
        return fitting[0], f"the unit is not in the heading; its numbers fit {fitting[0]} alone: check"
    return "", f"write its unit: {' or '.join(fitting or usual_units(target.notes, dimension))}"


def _is_float(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def _dyno_sheet(path: Path, table: Table) -> DynoSheet | None:
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
            return DynoSheet(other.sheet, number, pull)
    return None


def _map_text(
    path: Path, map_path: Path, table: Table, header: int, columns: tuple[Column, ...], dialect: Dialect,
    dyno: DynoSheet | None,
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


def _date_order(table: Table, header: int, columns: tuple[Column, ...], dialect: Dialect) -> list[str]:
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


def _column_line(column: Column) -> str:
    key = _quoted(column.heading)
    remark = f"  # {column.remark}" if column.remark else ""
    if not column.targets:
        return f"  {key}:{remark}"
    paths = [target.path for target in column.targets]
    into = paths[0] if len(paths) == 1 else f"[{', '.join(paths)}]"
    if "[" in into and len(paths) == 1:
        into = _quoted(into)
    if column.unit or "unit" in column.remark:
        unit = quoted("unit", column.unit) if column.unit else "null"
        return f"  {key}: {{into: {into}, unit: {_quoted(column.unit) if column.unit else unit}}}{remark}"
    return f"  {key}: {into}{remark}"
