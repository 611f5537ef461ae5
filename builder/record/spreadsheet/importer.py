"""Import the rows of a spreadsheet as builds: a folder for each row, whole or not at all, and never over another.

Each build is written into a staging folder, read from there as `millbook check` reads it, and moved to its place in one
step. A value that the record does not accept is left out and reported, with its row and column, and the rest of the row
is tried again.
"""

from __future__ import annotations

import os
import re
import shutil
import tempfile
from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path

from builder.record.dyno_log.channels import without_accents
from builder.record.files import build_folders
from builder.record.load import read_build
from builder.record.problem import Problem, errors_in
from builder.record.scaffold import write_shared_files
from builder.record.spreadsheet.cell_values import CellProblem, Dialect, Value, cells_of, is_blank, read_cell
from builder.record.spreadsheet.dyno_logs import PullLog, by_build, comparable, read_logs
from builder.record.spreadsheet.import_map import (
    PLACEHOLDER,
    CheckedMap,
    MappedColumn,
    find_header,
    headings,
    read_map,
    resolve,
)
from builder.record.spreadsheet.proposal import propose, sheet_dialect
from builder.record.spreadsheet.read import read_table
from builder.record.spreadsheet.record_files import Conflict, Entry, RecordFile, record_files
from builder.record.spreadsheet.table import SheetCell, SheetTable, SpreadsheetError, column_letter
from builder.record.spreadsheet.targets import FieldTarget, parse_target
from builder.record.yaml_loader import read_yaml

MAX_BUILDS = 10_000
_STAGING = ".import"
_MARK = "made-by-millbook-import.txt"
_NEEDED = ("title", "engine.cylinders")
_ROUNDS = 12
_MAX_SLUG = 80
_LISTED_ROWS = 20


@dataclass(frozen=True)
class ImportReport:
    """Problems, lines to print, and whether all is well."""

    problems: tuple[Problem, ...] = ()
    lines: tuple[str, ...] = ()
    ok: bool = True


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


def propose_map(archive: Path, path: Path) -> ImportReport:
    """Write a proposed map for a spreadsheet into the archive, unless there is one, and return what it proposes."""
    target = archive / f"{_slug(path.stem) or 'import'}.map.yaml"
    try:
        proposal = propose(path, target)
    except SpreadsheetError as error:
        return ImportReport((_file_problem(path, error),), (), ok=False)
    lines = list(_column_table(proposal.table, proposal.header, proposal.columns))
    command = f"millbook import {path} --map {target}"
    try:
        with target.open("x", encoding="utf-8", newline="\n") as file:
            file.write(proposal.text)
    except FileExistsError:
        lines += ["", f"{target} exists and was left as it is. To use it: {command} --dry-run"]
    except OSError as error:
        return ImportReport((Problem(target, 1, f"cannot be written: {error.strerror or error}"),), tuple(lines), False)
    else:
        lines += ["", f"Nothing was imported. Check {target}, then run: {command} --dry-run"]
    return ImportReport((), tuple(lines))


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
        numbers = {comparable(text) for _, cells in table.rows[header + 1 :] if (text := _number(mapping, cells))}
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


def carry_out(plan: ImportPlan, *, dry_run: bool = False) -> ImportReport:
    """Import the rows of a plan; with ``dry_run`` only say what would be imported."""
    builds = plan.archive / "builds"
    try:
        if not dry_run:
            builds.mkdir(exist_ok=True)
        with _staging_folder(builds, dry_run) as staging:
            importer = _Importer(plan, staging, dry_run)
            importer.run()
    except OSError as error:
        return ImportReport(
            (Problem(Path("builds"), 1, f"cannot be written: {getattr(error, 'strerror', None) or error}"),), (), False
        )
    problems = [*plan.problems, *_same_together(importer.problems)]
    if importer.imported and not dry_run:
        problems += write_shared_files(plan.archive)[1]
    return ImportReport(tuple(problems), tuple(importer.summary()), ok=not errors_in(problems))


def _same_together(problems: Iterable[Problem]) -> Iterator[Problem]:
    """Yield the problems with those of one wording as one, at the first of their rows."""
    rows: dict[tuple[str, str], list[Problem]] = defaultdict(list)
    for problem in problems:
        rows[(problem.message, problem.severity)].append(problem)
    for (message, _), several in rows.items():
        others = [str(problem.line) for problem in several[1:]]
        more = f" and {len(others) - _LISTED_ROWS} more" if len(others) > _LISTED_ROWS else ""
        also = f" (so too in row{'s' if len(others) > 1 else ''} {', '.join(others[:_LISTED_ROWS])}{more})"
        yield replace(several[0], message=f"{message}{also if others else ''}")


@contextmanager
def _staging_folder(builds: Path, dry_run: bool) -> Iterator[Path]:
    """Yield an empty folder to write builds into, on the same drive as the archive, and remove it afterwards."""
    if dry_run:
        with tempfile.TemporaryDirectory() as folder:
            yield Path(folder)
        return
    staging = builds / _STAGING
    if os.path.lexists(staging):
        if staging.is_symlink() or not ((staging / _MARK).is_file() or not any(staging.iterdir())):
            raise OSError(0, f"{staging} was not made by an import: remove or rename it")
        shutil.rmtree(staging)
    staging.mkdir()
    (staging / _MARK).write_text("This folder is written by `millbook import`, and removed when it has ended.\n")
    try:
        yield staging
    finally:
        shutil.rmtree(staging, ignore_errors=True)


@dataclass
class _ImportedRow:
    """One row on its way into the archive."""

    number: int
    cells: tuple[SheetCell, ...]
    entries: list[Entry] = field(default_factory=list)
    slug: str = ""
    problems: list[Problem] = field(default_factory=list)
    values_left_out: int = 0


class _Importer:
    """Imports rows one after the other, and counts what came of them."""

    def __init__(self, plan: ImportPlan, staging: Path, dry_run: bool) -> None:
        self.plan = plan
        self.staging = staging
        self.dry_run = dry_run
        self.file = Path(plan.table.file)
        self.problems: list[Problem] = []
        self.imported = self.unchanged = self.changed = self.left_out = 0
        self.values_left_out = 0

    def run(self) -> None:
        """Import every row."""
        rows = [
            row for number, cells in self.plan.table.rows[self.plan.header + 1 :] if (row := self._row(number, cells))
        ]
        slugs = Counter(row.slug for row in rows)
        earlier = imported_builds(self.plan.archive, self.plan.table)
        orphans = {slug: rest for slug, rest in earlier.items() if slug not in slugs}
        for row in rows:
            if not row.slug:
                self._leave_out(row, f"has nothing to name its folder by, {self.plan.mapping.slug}")
            elif slugs[row.slug] > 1:
                others = [other.number for other in rows if other.slug == row.slug and other is not row]
                self._leave_out(row, f"its folder {row.slug} would be that of row {others[0]} too: "
                                     "add a field to the slug in the map")  # fmt: skip
            elif row.slug in earlier:
                self._compare(row, row.slug, earlier[row.slug])
            elif os.path.lexists(self.plan.archive / "builds" / row.slug):
                self._leave_out(row, f"builds/{row.slug} exists and did not come from this file: nothing was changed")
            elif (renamed := self._earlier_name(row, orphans)) is not None:
                self._compare(row, renamed, orphans[renamed])
            else:
                self._import(row)

    def summary(self) -> Iterator[str]:
        """Yield what came of the rows."""
        done = "would be imported" if self.dry_run else "imported"
        yield f"{_count(self.imported, 'build')} {done}"
        if self.unchanged:
            yield f"{_count(self.unchanged, 'row')} imported before, unchanged"
        if self.changed:
            yield (f"{_count(self.changed, 'row')} changed since the import: nothing was changed in those builds; "
                   "enter the changes there, or delete a build's folder to import its row again")  # fmt: skip
        if self.left_out:
            yield f"{_count(self.left_out, 'row')} left out"
        if self.values_left_out:
            yield f"{_count(self.values_left_out, 'value')} left out of the builds imported, listed above"
        if self.imported:
            yield "Nothing was written: run it again without --dry-run" if self.dry_run else "Next: millbook check"

    def _row(self, number: int, cells: tuple[SheetCell, ...]) -> _ImportedRow | None:
        """Return a row with its values; None where no column that is imported has any."""
        row = _ImportedRow(number, cells)
        for column in self.plan.mapping.columns:
            cell = cells[column.index] if column.index < len(cells) else None
            if cell is None or not column.targets or is_blank(cell):
                continue
            for target, part in cells_of(cell, column.targets):
                if not is_blank(part):
                    self._read(row, column, target, part)
        if not row.entries and not row.problems:
            return None
        given = {entry.target.field for entry in row.entries}
        texts = {entry.target.field: entry.values[0].text for entry in reversed(row.entries) if entry.values}
        has_dyno = bool(self._logs(row)) or any(entry.target.document == "dyno" for entry in row.entries)
        for target, text in self.plan.mapping.values:
            if target.document == "dyno" and not has_dyno:
                continue
            if target.field not in given and (filled := _filled(text, texts)):
                row.entries.append(Entry(target, (Value(filled),), None))
                texts.setdefault(target.field, filled)
        row.slug = _slug(_filled(self.plan.mapping.slug, texts))
        return row

    def _read(self, row: _ImportedRow, column: MappedColumn, target: FieldTarget, cell: SheetCell) -> None:
        try:
            values = read_cell(cell, target, column.unit, self.plan.dialect)
        except CellProblem as problem:
            self._drop(row, column, str(problem))
            return
        if values:
            row.entries.append(Entry(target, values, column.index))

    def _drop(self, row: _ImportedRow, column: MappedColumn, message: str) -> None:
        row.values_left_out += 1
        row.problems.append(Problem(self.file, row.number, f"{column.name}: {message}; left out", "warning"))

    def _leave_out(self, row: _ImportedRow, message: str) -> None:
        self.left_out += 1
        self.problems += [*row.problems, Problem(self.file, row.number, f"{message}; the row is left out")]

    # -- Rows that were imported before -----------------------------------------------------------------------------

    def _earlier_name(self, row: _ImportedRow, orphans: Mapping[str, dict[str, object]]) -> str | None:
        """Return the build that a row was imported as under another name: by its number, else by its row."""
        number = comparable(_number(self.plan.mapping, row.cells))
        for slug, source in orphans.items():
            if number:
                if any(comparable(text) == number for text in self._number_cells(source)):
                    return slug
            elif str(source.get("row")) == str(row.number):
                return slug
        return None

    def _number_cells(self, source: Mapping[str, object]) -> Iterator[str]:
        cells = source.get("cells")
        for column in self.plan.mapping.columns:
            if isinstance(cells, dict) and any(target.path == "number" for target in column.targets):
                yield str(cells.get(column.heading, ""))

    def _compare(self, row: _ImportedRow, slug: str, source: Mapping[str, object]) -> None:
        """Count a row that was imported before, and report where it differs now."""
        before = source.get("cells")
        before = before if isinstance(before, dict) else {}
        now = self._cells(row)
        differences = [
            f"{name} {_shown(before.get(name))}, now {_shown(now.get(name))}"
            for name in dict.fromkeys((*now, *before))
            if before.get(name) != now.get(name)
        ]
        folder = self.plan.archive / "builds" / slug
        differences += [
            f"the readings of {log.name} in {log.source}"
            for log in self._logs(row)
            if not _holds(folder / log.file, log.data)
        ]
        if not differences:
            self.unchanged += 1
            return
        self.changed += 1
        more = f" and {len(differences) - 4} more" if len(differences) > 4 else ""
        text = f"differs from builds/{slug}, which was imported from it: {'; '.join(differences[:4])}{more}"
        self.problems.append(Problem(self.file, row.number, text, "warning"))

    def _cells(self, row: _ImportedRow) -> dict[str, str]:
        """Return the texts of a row by the heading of their column."""
        return {
            column.heading: row.cells[column.index].text
            for column in self.plan.mapping.columns
            if column.index < len(row.cells) and row.cells[column.index].text
        }

    # -- New rows ---------------------------------------------------------------------------------------------------

    def _import(self, row: _ImportedRow) -> None:
        folder = self.staging / row.slug
        problem = self._stage(row, folder)
        if problem:
            shutil.rmtree(folder, ignore_errors=True)
            self._leave_out(row, problem)
            return
        if not self.dry_run:
            target = self.plan.archive / "builds" / row.slug
            if os.path.lexists(target):
                self._leave_out(row, f"builds/{row.slug} was made meanwhile: nothing was changed")
                return
            folder.rename(target)
        else:
            shutil.rmtree(folder)
        self.imported += 1
        self.values_left_out += row.values_left_out
        self.problems += row.problems

    def _stage(self, row: _ImportedRow, folder: Path) -> str:
        """Write a build and read it, without what the record does not accept. Returns why it cannot be imported."""
        logs = list(self._logs(row))
        for _ in range(_ROUNDS):
            fields = {entry.target.field for entry in row.entries}
            if missing := [name for name in _NEEDED if name not in fields]:
                return f"has no {' and no '.join(missing)}, which every build needs: fill it in, or give it in the map"
            try:
                files = record_files([*row.entries, *self._source(row), *self._pulls(logs)], self._remark(row))
            except Conflict as conflict:
                if not self._without(row, {conflict.source}, "", conflict.message):
                    return conflict.message
                continue
            _write(folder, files, logs)
            build, problems = read_build(folder, self.staging)
            if build is not None:
                self._warn(row, files, problems)
                return ""
            reason = self._without_errors(row, files, logs, errors_in(problems))
            if reason:
                return reason
        return "holds too much that cannot be read"

    def _without_errors(
        self, row: _ImportedRow, files: Mapping[str, RecordFile], logs: list[PullLog], errors: list[Problem]
    ) -> str:
        """Leave out what each error is about. Returns the first error that is about no column."""
        for error in errors:
            log = next((log for log in logs if log.file.rpartition("/")[2] == error.path.name), None)
            if log is not None:
                logs.remove(log)
                place = f"{log.source}:{log.row if log.row > 1 else error.line}: "
                text = f"{log.name}: {place}{error.message}; left out"
                row.values_left_out += 1
                row.problems.append(Problem(self.file, row.number, text, "warning"))
                continue
            file = files.get(error.path.name)
            sources: set[int | None] = {*file.sources(error)} if file else set()
            if not self._without(row, sources, error.path.stem, error.message):
                return error.message
        return ""

    def _without(self, row: _ImportedRow, sources: set[int | None], document: str, message: str) -> bool:
        """Leave out the values of some columns, of one document or of all. Returns whether there are any."""
        fewer = [
            entry for entry in row.entries if entry.source is None or entry.source not in sources
            or (document and entry.target.document != document)
        ]  # fmt: skip
        if len(fewer) == len(row.entries):
            return False
        dropped = [entry.source for entry in row.entries if entry not in fewer and entry.source is not None]
        row.entries = fewer
        for index in dict.fromkeys(dropped):
            self._drop(row, self.plan.mapping.columns[index], message)
        return True

    def _warn(self, row: _ImportedRow, files: Mapping[str, RecordFile], problems: Iterable[Problem]) -> None:
        """Pass on what the reader doubts, with its column."""
        for problem in problems:
            file = files.get(problem.path.name)
            sources = file.sources(problem) if file else ()
            column = f"{self.plan.mapping.columns[sources[0]].name}: " if sources else ""
            row.problems.append(Problem(self.file, row.number, f"{column}{problem.message}", "warning"))

    def _logs(self, row: _ImportedRow) -> list[PullLog]:
        return self.plan.logs.get(comparable(_number(self.plan.mapping, row.cells)), [])

    def _pulls(self, logs: Iterable[PullLog]) -> Iterator[Entry]:
        dyno = self.plan.mapping.settings.dyno
        for log in logs:
            yield _entry(f"dyno.pulls[{log.name}].file", log.file)
            for kind in ("columns", "units"):
                for channel, text in ((getattr(dyno, kind) if dyno else None) or {}).items():
                    yield _entry(f"dyno.pulls[{log.name}].{kind}[{channel}]", text)

    def _source(self, row: _ImportedRow) -> Iterator[Entry]:
        """Yield the fields that say where a build comes from."""
        yield _entry("imported_from.file", self.plan.table.file)
        if self.plan.table.sheet:
            yield _entry("imported_from.sheet", self.plan.table.sheet)
        yield _entry("imported_from.row", str(row.number))
        cell = _target("imported_from.cells[x]")
        for heading, text in self._cells(row).items():
            steps = (*cell.steps[:-1], (cell.steps[-1][0], heading))
            yield Entry(replace(cell, steps=steps), (Value(text),), None)

    def _remark(self, row: _ImportedRow) -> str:
        return f"Imported from {' '.join(self.plan.table.file.split())}, row {row.number}."


@cache
def _target(path: str) -> FieldTarget:
    target = parse_target(path)
    assert isinstance(target, FieldTarget), target
    return target


def _entry(path: str, text: str) -> Entry:
    return Entry(_target(path), (Value(text),), None)


def _write(folder: Path, files: Mapping[str, RecordFile], logs: Collection[PullLog]) -> None:
    """Write the files of a build into a folder of their own, in place of what an earlier round wrote."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    if logs:
        (folder / "dyno").mkdir()
    for name, file in files.items():
        (folder / name).write_text(file.text, encoding="utf-8", newline="\n")
    for log in logs:
        (folder / log.file).write_bytes(log.data)


def imported_builds(archive: Path, table: SheetTable) -> dict[str, dict[str, object]]:
    """Return the builds that came from a sheet, each with the row that it came from as it is in its record."""
    found: dict[str, dict[str, object]] = {}
    if not (archive / "builds").is_dir():
        return found
    for folder in build_folders(archive):
        path = folder / "build.yaml"
        try:
            if b"imported_from" not in path.read_bytes():
                continue
        except OSError:
            continue
        document, _ = read_yaml(path, path)
        value = document.value if document else None
        source = value.get("imported_from") if isinstance(value, dict) else None
        if isinstance(source, dict) and source.get("file") == table.file and source.get("sheet", "") == table.sheet:
            cells = source.get("cells")
            texts = (
                {name: str(getattr(text, "text", text)) for name, text in cells.items()}
                if isinstance(cells, dict)
                else {}
            )
            found[folder.name] = {**source, "cells": texts}
    return found


def _number(mapping: CheckedMap, cells: tuple[SheetCell, ...]) -> str:
    """Return the number of the build in a row; empty where none is given."""
    for column in mapping.columns:
        if column.index < len(cells) and any(target.path == "number" for target in column.targets):
            return cells[column.index].text
    return ""


def _unit_missing(table: SheetTable, header: int, column: MappedColumn, dialect: Dialect) -> str:
    """Return what to write where the numbers of a column have no unit."""
    from builder.record.usual_units import usual_units

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


def _filled(pattern: str, texts: Mapping[str, str]) -> str:
    """Return a pattern with its fields put in; what is empty leaves no gap."""

    def text_of(match: re.Match[str]) -> str:
        target = parse_target(match[1])
        return texts.get(target.field, "") if isinstance(target, FieldTarget) else ""

    return " ".join(PLACEHOLDER.sub(text_of, pattern).split())


def _slug(text: str) -> str:
    plain = re.sub(r"[^a-z0-9]+", "-", without_accents(text.casefold())).strip("-")
    return plain[:_MAX_SLUG].strip("-")


def _holds(path: Path, data: bytes) -> bool:
    try:
        return path.read_bytes() == data
    except OSError:
        return False


def _shown(text: object) -> str:
    return "empty" if text is None else repr(str(text)[:40])


def _count(number: int, noun: str) -> str:
    return f"{number:,} {noun}{'' if number == 1 else 's'}"


def _file_problem(path: Path, error: SpreadsheetError) -> Problem:
    return Problem(Path(path.name), error.row, str(error))


_WIDTHS = (6, 26, 46, 8, 22)


def _column_table(
    table: SheetTable, header: int, columns: Iterable[MappedColumn], dialect: Dialect | None = None
) -> Iterator[str]:
    """Yield a line for each column: its heading, the field it goes into, the unit, the first value, the rows read."""
    sheet = f", sheet {table.sheet}" if table.sheet else ""
    rows = table.rows[header + 1 :]
    yield f"{table.file}{sheet}: headings in row {table.rows[header][0]}, {_count(len(rows), 'row')} below"
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
