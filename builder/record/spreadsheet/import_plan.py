"""Plan an import: propose a map, or check one against its sheet and show which column goes where."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from builder.record.dyno_log.channels import without_accents
from builder.record.problem import Problem, errors_in
from builder.record.report import CommandReport
from builder.record.spreadsheet.cell_values import CellProblem, Dialect, cells_of, is_blank, read_cell
from builder.record.spreadsheet.dyno_logs import PullLog, by_build, comparable, read_logs
from builder.record.spreadsheet.import_map import CheckedMap, MappedColumn, find_header, headings, read_map, resolve
from builder.record.spreadsheet.proposal import propose, sheet_dialect
from builder.record.spreadsheet.read import read_table
from builder.record.spreadsheet.table import SheetCell, SheetTable, SpreadsheetError, column_letter
from builder.record.usual_units import usual_units
from builder.record.wording import count_of

MAX_BUILDS = 10_000
_MAX_SLUG = 80
_WIDTHS = (6, 26, 46, 8, 22)
"""Characters of each column of the table that shows a map."""


@dataclass(frozen=True)
class ImportPlan:
    """What an import will do: the sheet, its map, and the lines that show which column goes where."""

    archive: Path
    table: SheetTable
    header: int
    mapping: CheckedMap
    dialect: Dialect
    logs: Mapping[str, list[PullLog]]
    lines: tuple[str, ...]
    problems: tuple[Problem, ...]


def propose_map(archive: Path, path: Path, *, dry_run: bool = False) -> CommandReport:
    """Write a proposed map for a spreadsheet into the archive, unless there is one, and return what it proposes.

    With ``dry_run`` nothing is written.
    """
    target = archive / f"{slug_of(path.stem) or 'import'}.map.yaml"
    try:
        proposal = propose(path, target)
    except SpreadsheetError as error:
        return CommandReport([_file_problem(path, error)], (), ok=False)
    lines = list(_column_table(proposal.table, proposal.header, proposal.columns))
    if dry_run:
        lines += ["", f"Nothing was written: without --dry-run, the map goes into {target}"]
        return CommandReport((), lines, ok=True)
    command = f"millbook import {_in_command(path)} --map {_in_command(target)}"
    try:
        with target.open("x", encoding="utf-8", newline="\n") as file:
            file.write(proposal.text)
    except FileExistsError:
        lines += ["", f"{target} exists and was left as it is. To use it: {command} --dry-run"]
    except OSError as error:
        return CommandReport([Problem(target, 1, f"cannot be written: {error.strerror or error}")], lines, ok=False)
    else:
        lines += ["", f"Nothing was imported. Check {target}, then run: {command} --dry-run"]
    return CommandReport((), lines, ok=True)


def plan_import(archive: Path, path: Path, map_path: Path) -> tuple[ImportPlan | None, tuple[Problem, ...]]:
    """Return what an import would do, or None and why it cannot be done. Nothing is written."""
    settings, document, problems = read_map(map_path)
    if settings is None or document is None:
        return None, tuple(problems)
    try:
        table = read_table(path, settings.sheet)
    except SpreadsheetError as error:
        return None, (_file_problem(path, error),)
    header = find_header(table, settings.header_row)
    if header is None:
        message = f"row {settings.header_row} is empty" if settings.header_row else "names no row of headings"
        return None, (Problem(map_path, document.line(("header_row",)), f"header_row: {message}"),)
    mapping, problems = resolve(settings, document, headings(table, header))
    if mapping is None:
        return None, tuple(problems)
    if len(table.rows) - header - 1 > MAX_BUILDS:
        message = f"has more than {MAX_BUILDS:,} rows: divide it into several files"
        return None, (Problem(Path(path.name), table.rows[MAX_BUILDS][0], message),)
    stated = Dialect(settings.decimal_mark, settings.date_order)
    dialect = sheet_dialect(table, header, stated)
    for column in mapping.columns:
        if message := _unit_missing(table, header, column, dialect):
            problems.append(Problem(map_path, document.line(("columns", column.heading)), message))
    if problems:
        return None, tuple(problems)
    joined: Mapping[str, list[PullLog]] = {}
    if settings.dyno is not None:
        given = Counter(comparable(number_in(mapping, cells)) for _, cells in table.rows[header + 1 :])
        numbers = {number for number, rows in given.items() if number and rows == 1}
        logs = read_logs(settings.dyno, path, map_path)
        if errors_in(logs.problems):
            return None, tuple(logs.problems)
        joined = by_build(logs, numbers, from_files=settings.dyno.folder is not None)
        problems = logs.problems
    problems += [
        Problem(Path(path.name), row, text, "warning") for row, text in table.notes if row > table.rows[header][0]
    ]
    lines = tuple(_column_table(table, header, mapping.columns, dialect))
    return ImportPlan(archive, table, header, mapping, dialect, joined, lines, tuple(problems)), ()


def number_in(mapping: CheckedMap, cells: tuple[SheetCell, ...]) -> str:
    """Return the number of the build in a row; empty where none is given."""
    for column in mapping.columns:
        if column.index < len(cells) and any(target.path == "number" for target in column.targets):
            return cells[column.index].text
    return ""


def _unit_missing(table: SheetTable, header: int, column: MappedColumn, dialect: Dialect) -> str:
    """Return what to write where the numbers of a column have no unit."""
    for target in column.targets if not column.unit else ():
        if not target.takes_unit:
            continue
        for _, cells in table.rows[header + 1 :]:
            cell = cells[column.index] if column.index < len(cells) else None
            if cell is None or is_blank(cell):
                continue
            try:
                values = [v for t, part in cells_of(cell, column.targets) for v in read_cell(part, t, "", dialect)]
            except CellProblem:
                continue
            if any(not value.unit for value in values):
                units = usual_units(target.notes, target.dimension) if target.dimension else target.notes.units
                fix = " or ".join(f"{{into: {target.path}, unit: {unit}}}" for unit in units or ("in", "mm"))
                return f"{column.heading}: its numbers have no unit: write {fix}"
    return ""


def slug_of(text: str) -> str:
    """Return a text as the name of a folder: small letters, digits and hyphens; empty where it has neither."""
    plain = re.sub(r"[^a-z0-9]+", "-", without_accents(text.casefold())).strip("-")
    return plain[:_MAX_SLUG].strip("-")


def _in_command(path: Path) -> str:
    """Return a path as it is written in a command."""
    return f'"{path}"' if " " in str(path) else str(path)


def _file_problem(path: Path, error: SpreadsheetError) -> Problem:
    return Problem(Path(path.name), error.row, str(error))


def _column_table(
    table: SheetTable, header: int, columns: Iterable[MappedColumn], dialect: Dialect | None = None
) -> Iterator[str]:
    """Yield a line for each column: its heading, the field it goes into, the unit, the first value, the rows read."""
    sheet = f", sheet {table.sheet}" if table.sheet else ""
    rows = table.rows[header + 1 :]
    yield f"{table.file}{sheet}: headings in row {table.rows[header][0]}, {count_of(len(rows), 'row')} below"
    yield _cut("", "heading", "field", "unit", "first value", "rows read")
    dialect = dialect or sheet_dialect(table, header)
    for column in columns:
        cells = [cells[column.index] for _, cells in rows if column.index < len(cells) and cells[column.index]]
        if not cells:
            continue
        fields = ", ".join(target.path for target in column.targets)
        first = next((cell.text for cell in cells if not is_blank(cell) and cell.text), "")
        read = str(_readable(cells, column, dialect)) if column.targets else ""
        remark = f"  ({column.remark})" if column.remark else ""
        line = _cut(column_letter(column.index), column.heading, fields or "not imported", column.unit, first, read)
        yield f"{line}{remark}"


def _readable(cells: Iterable[SheetCell], column: MappedColumn, dialect: Dialect) -> int:
    count = 0
    for cell in cells:
        if is_blank(cell):
            continue
        try:
            for target, part in cells_of(cell, column.targets):
                read_cell(part, target, column.unit, dialect)
        except CellProblem:
            continue
        count += 1
    return count


def _cut(*texts: str) -> str:
    shown = [" ".join(text.split()) for text in texts]
    cells = [
        f"{text if len(text) < width else text[: width - 4] + '...'}".ljust(width)
        for text, width in zip(shown, _WIDTHS, strict=False)
    ]
    return "".join((*cells, shown[-1])).rstrip()
