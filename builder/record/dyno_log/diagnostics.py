"""Decide what the bad lines of a log mean, once all of it is read: damage, a footer, or a file that was cut off."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from builder.record.dyno_log.columns import Column
from builder.record.dyno_log.encoding import LogText, number, split_cells
from builder.record.dyno_log.header import Header
from builder.record.problem import Problem

MAX_LISTED = 10
_TAIL = 20


@dataclass(frozen=True, slots=True)
class BadLine:
    """A line that is not a row of numbers. One that begins with words is a footer if it comes after the data."""

    line: int
    message: str
    text: str
    begins_with_words: bool


@dataclass(frozen=True, slots=True)
class BadCell:
    """A lesser channel's cell that holds words instead of a number; `row` counts from 0."""

    row: int
    line: int
    column: Column
    text: str


@dataclass
class ParseState:
    """What reading the lines collects. The first `count` columns of `values` are rows, as written."""

    path: Path
    values: NDArray[np.float64]
    lines: NDArray[np.int64]
    count: int = 0
    last_line: int = 0
    bad_lines: list[BadLine] = field(default_factory=list)
    bad_cells: list[BadCell] = field(default_factory=list)
    bad_cell_count: Counter[str] = field(default_factory=Counter)
    skipped_rows: int = 0
    """Rows that are skipped with a warning, wherever they are."""
    last_number_first: int = 0
    """The last line whose first cell was a number, empty or not read."""
    skipped: dict[str, list[int]] = field(
        default_factory=lambda: {"blank": [], "comment": [], "summary": [], "repeated header": []}
    )
    grouped: dict[int, tuple[int, str]] = field(default_factory=dict)
    """By column, the first number with a mark between thousands: its line and text."""
    ungrouped: dict[int, int] = field(default_factory=dict)
    """By column, the line of the first number of 1000 and more without such a mark."""
    problems: list[Problem] = field(default_factory=list)

    def error(self, line: int, message: str) -> None:
        """Add a problem that makes the log unusable."""
        self.problems.append(Problem(self.path, line, message))

    def warn(self, line: int, message: str) -> None:
        """Add a problem that leaves something out and the rest usable."""
        self.problems.append(Problem(self.path, line, message, "warning"))


@dataclass
class Rows:
    """What was read: values of shape (columns, rows) as written (not yet SI), and each row's line in the file."""

    values: NDArray[np.float64]
    lines: NDArray[np.int64]
    problems: list[Problem]
    notes: list[str]


def classify(state: ParseState, text: LogText, header: Header, columns: Sequence[Column], decimal: str) -> Rows:
    """Decide about every bad line, and return the rows that can be trusted."""
    values, lines = state.values[:, : state.count], state.lines[: state.count]
    trusted = np.ones(state.count, dtype=bool)
    _drop_footers_with_numbers(state, trusted)
    if state.count and not text.closed and lines[-1] == state.last_line and trusted[-1]:
        _check_last_row(state, trusted, text, header, columns, decimal)
    last_good = int(lines[trusted][-1]) if trusted.any() else 0
    _report_bad_lines(state, last_good, text.closed, header)
    notes = [*_report_bad_cells(state, trusted), *_skipped(state)]
    _check_grouping(state)
    if not trusted.all():
        values, lines = values[:, trusted], lines[trusted]
    return Rows(values, lines, state.problems, notes)


def _drop_footers_with_numbers(state: ParseState, trusted: NDArray[np.bool_]) -> None:
    """Drop rows at the end that begin with words and go on in numbers ("Barometer, 29.92, ...")."""
    for cell in state.bad_cells:
        if cell.column.index == 0 and 0 < state.last_number_first < cell.line:
            trusted[cell.row] = False
            state.warn(cell.line, "a row that begins with words, after the data; it is skipped as a footer")


def _check_last_row(
    state: ParseState,
    trusted: NDArray[np.bool_],
    text: LogText,
    header: Header,
    columns: Sequence[Column],
    decimal: str,
) -> None:
    """Drop the last cell or row where a last line without a line end may have been cut off inside its last number."""
    end = text.data[max(header.data_start, len(text.data) - _TAIL * 4000) :]
    raw = end.removesuffix(b"\n").split(b"\n")[-_TAIL - 1 :]
    *before, last = [split_cells(line.decode("utf-8", "replace"), header.delimiter) for line in raw]
    if raw[-1].rstrip(b" ").endswith(b'"') or not _may_be_cut(last, before, decimal):
        return
    cut = [i for i, column in enumerate(columns) if column.index == len(last) - 1]
    if not cut:
        return
    if any(columns[i].required for i in cut):
        trusted[-1] = False
        effect = "the row is skipped"
    else:
        state.values[cut, state.count - 1] = np.nan
        effect = "the cell is left out"
    state.warn(
        state.last_line,
        f"the file ends inside this line, and {last[-1]!r} may have been cut off; {effect} (end the line to keep it)",
    )


def _report_bad_lines(state: ParseState, last_good: int, closed: bool, header: Header) -> None:
    """Report bad lines: between good rows they are damage; after them they may be footers or cut off."""
    footers: list[BadLine] = []
    damaged: list[BadLine] = []
    for bad in state.bad_lines:
        after = last_good and bad.line > last_good
        if after and bad.line == state.last_line and not closed:
            state.warn(bad.line, "the last line of the file is not whole and is skipped")
        elif after and bad.begins_with_words:
            footers.append(bad)
        else:
            damaged.append(bad)
    for bad in damaged[:MAX_LISTED]:
        state.error(bad.line, bad.message)
    if len(damaged) > MAX_LISTED:
        state.error(damaged[MAX_LISTED].line, f"and {len(damaged) - MAX_LISTED} more lines like these, from here on")
    if footers:
        first, last = footers[0], footers[-1]
        lines, more = (f"lines {first.line} to {last.line}", " ...") if len(footers) > 1 else ("this line", "")
        state.warn(first.line, f"{lines} after the data skipped as a footer: {first.text!r}{more}")
    if not last_good and not any(problem.severity == "error" for problem in state.problems):
        state.error(header.line, "there is no row of numbers under this header; export the pull again")


def _report_bad_cells(state: ParseState, trusted: NDArray[np.bool_]) -> list[str]:
    """Warn of the first few cells of words in each lesser channel; return how many there were."""
    listed: Counter[str] = Counter()
    for cell in state.bad_cells:
        column = cell.column
        listed[column.slug] += bool(trusted[cell.row])
        if trusted[cell.row] and listed[column.slug] <= 3:
            state.warn(cell.line, f"{cell.text[:40]!r} under {column.header!r} is not a number; the cell is left out")
    counts = state.bad_cell_count.items()
    return [f"{slug}: {count:,} cells are not numbers and were left out" for slug, count in counts if count > 3]


def _check_grouping(state: ParseState) -> None:
    """Report thousands separators in some numbers of a column and not in others: one of the two is misread."""
    for index, (line, cell) in state.grouped.items():
        if index in state.ungrouped:
            state.error(line, f"{cell!r} is written with a thousands separator and line {state.ungrouped[index]} "
                              "without one: it is not clear what the mark means; write all alike")  # fmt: skip


def _skipped(state: ParseState) -> list[str]:
    notes = []
    if state.skipped_rows > MAX_LISTED:
        notes.append(f"{state.skipped_rows:,} rows without engine speed, or marked as comments, were skipped")
    for kind, lines in state.skipped.items():
        if lines:
            first_lines = ", ".join(map(str, lines[:5])) + (" ..." if len(lines) > 5 else "")
            plural = "" if len(lines) == 1 else "s"
            notes.append(f"{len(lines):,} {kind} line{plural} skipped (line{plural} {first_lines})")
    return notes


def _may_be_cut(last: Sequence[str], before: Sequence[Sequence[str]], decimal: str) -> bool:
    """Return whether the last cell of an unended line could be the beginning of a longer number.

    Not if the column always has the same number of decimals and this cell has them too. A large whole number that
    lost a digit would have fallen to about a tenth; small ones do not show it.
    """
    place = len(last) - 1
    above = [cells[place] for cells in before if len(cells) == len(last) and cells[place]]
    if any(len(cells) > len(last) for cells in before if any(cells)) or not above:
        return True
    decimals = {len(cell.partition(decimal)[2]) for cell in above}
    if decimals != {len(last[place].partition(decimal)[2])}:
        return True
    if decimals != {0}:
        return False
    now, earlier = number(last[place], decimal), number(above[-1], decimal)
    if now is None or earlier is None or decimal in last[place]:
        return True
    return abs(earlier) < 100.0 or abs(now) < 0.5 * abs(earlier)
