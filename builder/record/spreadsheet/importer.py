"""Import the rows of a spreadsheet as builds: a folder for each row, complete or not at all, and never over another.

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

from builder.record.dyno_log.reader import read_dyno_log
from builder.record.load import read_build
from builder.record.problem import Problem, errors_in
from builder.record.report import CommandReport
from builder.record.scaffold import write_shared_files
from builder.record.spreadsheet.cell_values import CellProblem, Value, cells_of, is_blank, read_cell
from builder.record.spreadsheet.dyno_logs import PullLog, comparable
from builder.record.spreadsheet.earlier_imports import EarlierImport, changed_cells, earlier_imports, same_row
from builder.record.spreadsheet.import_map import PLACEHOLDER, MappedColumn
from builder.record.spreadsheet.import_plan import ImportPlan, number_in, slug_of
from builder.record.spreadsheet.record_files import Conflict, Entry, RecordFile, record_files
from builder.record.spreadsheet.table import SheetCell
from builder.record.spreadsheet.targets import FieldTarget, parse_target
from builder.record.wording import count_of, first_of

_STAGING = ".import"
_MARK = "made-by-millbook-import.txt"
_NEEDED = ("title", "engine.cylinders")
_ROUNDS = 12
_LISTED_ROWS, _LISTED_CELLS = 20, 4


def carry_out(plan: ImportPlan, *, dry_run: bool = False) -> CommandReport:
    """Import the rows of a plan; with ``dry_run`` only say what would be imported."""
    builds = plan.archive / "builds"
    try:
        if not dry_run:
            builds.mkdir(exist_ok=True)
        with _staging_folder(builds, dry_run) as staging:
            importer = _Importer(plan, staging, dry_run)
            importer.run()
    except OSError as error:
        problem = Problem(Path("builds"), 1, f"cannot be written: {getattr(error, 'strerror', None) or error}")
        return CommandReport([problem], (), ok=False)
    problems = [*plan.problems, *_same_together(importer.problems)]
    if importer.imported and not dry_run:
        problems += write_shared_files(plan.archive)[1]
    return CommandReport(problems, [*importer.summary()], ok=not errors_in(problems))


def _same_together(problems: Iterable[Problem]) -> Iterator[Problem]:
    """Yield the problems with those of one wording as one, at the first of their rows."""
    rows: dict[tuple[str, str], list[Problem]] = defaultdict(list)
    for problem in problems:
        rows[(problem.message, problem.severity)].append(problem)
    for (message, _), several in rows.items():
        others = [str(problem.line) for problem in several[1:]]
        also = f" (so too in row{'s' if len(others) > 1 else ''} {first_of(others, _LISTED_ROWS)})"
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
            raise OSError(0, f"{staging} does not come from an import: remove or rename it")
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
        earlier = earlier_imports(self.plan.archive, self.plan.table)
        orphans = {slug: build for slug, build in earlier.items() if slug not in slugs}
        for row in rows:
            if not row.slug:
                self._leave_out(row, f"has nothing to name its folder by, {self.plan.mapping.slug}")
            elif slugs[row.slug] > 1:
                others = [other.number for other in rows if other.slug == row.slug and other is not row]
                self._leave_out(row, f"its folder {row.slug} would be that of row {others[0]} too: "
                                     "add a field to the slug in the map")  # fmt: skip
            elif row.slug in earlier:
                self._compare(row, earlier[row.slug])
            elif os.path.lexists(self.plan.archive / "builds" / row.slug):
                self._leave_out(row, f"builds/{row.slug} exists and did not come from this file: nothing was changed")
            elif (renamed := self._renamed(row, orphans)) is not None:
                self._compare(row, renamed)
            else:
                self._import(row)

    def summary(self) -> Iterator[str]:
        """Yield what came of the rows."""
        done = "would be imported" if self.dry_run else "imported"
        yield f"{count_of(self.imported, 'build')} {done}"
        if self.unchanged:
            yield f"{count_of(self.unchanged, 'row')} imported before, unchanged"
        if self.changed:
            yield (f"{count_of(self.changed, 'row')} changed since the import: nothing was changed in those builds; "
                   "enter the changes there, or delete a build's folder to import its row again")  # fmt: skip
        if self.left_out:
            yield f"{count_of(self.left_out, 'row')} left out"
        if self.values_left_out:
            yield f"{count_of(self.values_left_out, 'value')} left out of the builds imported, listed above"
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
        row.slug = slug_of(_filled(self.plan.mapping.slug, texts))
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

    def _renamed(self, row: _ImportedRow, orphans: Mapping[str, EarlierImport]) -> EarlierImport | None:
        """Return the build that a row was imported as under another name."""
        columns = self.plan.mapping.columns
        heading = next((c.heading for c in columns if any(target.path == "number" for target in c.targets)), "")
        number = number_in(self.plan.mapping, row.cells)
        return next((each for each in orphans.values() if same_row(each, row.number, number, heading)), None)

    def _compare(self, row: _ImportedRow, earlier: EarlierImport) -> None:
        """Count a row that was imported before, and report where it differs now."""
        folder = self.plan.archive / "builds" / earlier.slug
        differences = changed_cells(earlier.cells, self._cells(row))
        differences += [
            f"the readings of {log.name} in {log.source}"
            for log in self._logs(row)
            if not self._is_unchanged(log, folder / log.file)
        ]
        if not differences:
            self.unchanged += 1
            return
        self.changed += 1
        shown = first_of(differences, _LISTED_CELLS, "; ")
        text = f"differs from builds/{earlier.slug}, which was imported from it: {shown}"
        self.problems.append(Problem(self.file, row.number, text, "warning"))

    def _is_unchanged(self, log: PullLog, path: Path) -> bool:
        """Return whether a log is that of the build, or one that could not be read then and cannot now."""
        try:
            return path.read_bytes() == log.data
        except OSError:
            copy = self.staging / Path(log.file).name
            copy.write_bytes(log.data)
            dyno = self.plan.mapping.settings.dyno
            columns, units = (dyno.columns, dyno.units) if dyno else (None, None)
            return read_dyno_log(copy, columns=columns, units=units)[0] is None

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
                self._leave_out(row, f"builds/{row.slug} was created meanwhile: nothing was changed")
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
        return self.plan.logs.get(comparable(number_in(self.plan.mapping, row.cells)), [])

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


def _filled(pattern: str, texts: Mapping[str, str]) -> str:
    """Return a pattern with its fields put in; what is empty leaves no gap."""

    def text_of(match: re.Match[str]) -> str:
        target = parse_target(match[1])
        return texts.get(target.field, "") if isinstance(target, FieldTarget) else ""

    return " ".join(PLACEHOLDER.sub(text_of, pattern).split())
