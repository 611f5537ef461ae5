"""What the odd lines of a log mean, once all of it is read: damage, a footer, or a file that was cut off."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from builder.record.dyno_log.columns import Column
from builder.record.dyno_log.encoding import CsvText, number, split_cells
from builder.record.dyno_log.header import Header
from builder.record.problem import Problem

MAX_SAID = 10
_TAIL = 20


@dataclass(frozen=True, slots=True)
class BadLine:
    """A line that is not a row of numbers. A `label` line begins with words: after the data it is a footer."""

    line: int
    message: str
    text: str
    label: bool


@dataclass(frozen=True, slots=True)
class BadCell:
    """A lesser channel's cell that holds words instead of a number; `row` counts from 0."""

    row: int
    line: int
    column: Column
    text: str


@dataclass
class ParseState:
    """What the reading of the lines collects. The first `count` columns of `values` are rows, as written."""

    path: Path
    values: NDArray[np.float64]
    lines: NDArray[np.int64]
    count: int = 0
    last_line: int = 0
    odd: list[BadLine] = field(default_factory=list)
    soft: list[BadCell] = field(default_factory=list)
    soft_count: Counter[str] = field(default_factory=Counter)
    left_out: int = 0
    """Rows that are skipped with a warning wherever they stand."""
    first_cell_fine: int = 0
    """The last line whose first cell was as it should be."""
    skipped: dict[str, list[int]] = field(
        default_factory=lambda: {"blank": [], "comment": [], "summary": [], "repeated header": []}
    )
    grouped: dict[int, tuple[int, str]] = field(default_factory=dict)
    """By column, the first number with a mark between thousands: its line and text."""
    ungrouped: dict[int, int] = field(default_factory=dict)
    """By column, the line of the first number of 1000 and more without such a mark."""
    problems: list[Problem] = field(default_factory=list)

    def error(self, line: int, message: str) -> None:
        """Note what makes the log unusable."""
        self.problems.append(Problem(self.path, line, message))

    def warn(self, line: int, message: str) -> None:
        """Note what is left out without harm to the rest."""
        self.problems.append(Problem(self.path, line, message, "warning"))


@dataclass
class Rows:
    """What was read: values of shape (columns, rows) as written (not yet SI), and each row's line in the file."""

    values: NDArray[np.float64]
    lines: NDArray[np.int64]
    problems: list[Problem]
    told: list[str]


def classify(found: ParseState, text: CsvText, header: Header, columns: Sequence[Column], decimal: str) -> Rows:
    """Settle every odd line, and keep the rows that can be trusted."""
    values, lines = found.values[:, : found.count], found.lines[: found.count]
    keep = np.ones(found.count, dtype=bool)
    _drop_worded_footers(found, keep)
    if found.count and not text.closed and lines[-1] == found.last_line and keep[-1]:
        _doubt_last_row(found, keep, text, header, columns, decimal)
    last_good = int(lines[keep][-1]) if keep.any() else 0
    _judge_odd(found, last_good, text.closed, header)
    told = [*_warn_of_words(found, keep), *_skipped(found)]
    _check_grouping(found)
    if not keep.all():
        values, lines = values[:, keep], lines[keep]
    return Rows(values, lines, found.problems, told)


def _drop_worded_footers(found: ParseState, keep: NDArray[np.bool_]) -> None:
    """Rows at the end that begin with words and go on in numbers ("Barometer, 29.92, ...")."""
    for soft in found.soft:
        if soft.column.index == 0 and 0 < found.first_cell_fine < soft.line:
            keep[soft.row] = False
            found.warn(soft.line, "a row that begins with words, after the data; it is skipped as a footer")


def _doubt_last_row(
    found: ParseState, keep: NDArray[np.bool_], text: CsvText, header: Header, columns: Sequence[Column], decimal: str
) -> None:
    """A last line without a line end may have been cut off inside its last number."""
    end = text.data[max(header.data_start, len(text.data) - _TAIL * 4000) :]
    raw = end.removesuffix(b"\n").split(b"\n")[-_TAIL - 1 :]
    *before, last = [split_cells(line.decode("utf-8", "replace"), header.delimiter) for line in raw]
    if raw[-1].rstrip(b" ").endswith(b'"') or not _may_be_cut(last, before, decimal):
        return
    cut = [i for i, column in enumerate(columns) if column.index == len(last) - 1]
    if any(columns[i].required for i in cut):
        keep[-1] = False
        found.warn(found.last_line, f"the file ends inside this line, and {last[-1]!r} may have been cut off; "
                         "the row is skipped (end the line to keep it)")  # fmt: skip
    elif cut:
        found.values[cut, found.count - 1] = np.nan
        found.warn(found.last_line, f"the file ends inside this line, and {last[-1]!r} may have been cut off; "
                         "the cell is left out (end the line to keep it)")  # fmt: skip


def _judge_odd(found: ParseState, last_good: int, closed: bool, header: Header) -> None:
    """Between good rows a line that is none is damage; after them it may be a footer or cut off."""
    footers: list[BadLine] = []
    wrong: list[BadLine] = []
    for odd in found.odd:
        after = last_good and odd.line > last_good
        if after and odd.line == found.last_line and not closed:
            found.warn(odd.line, "the last line of the file is not whole and is skipped")
        elif after and odd.label:
            footers.append(odd)
        else:
            wrong.append(odd)
    for odd in wrong[:MAX_SAID]:
        found.error(odd.line, odd.message)
    if len(wrong) > MAX_SAID:
        found.error(wrong[MAX_SAID].line, f"and {len(wrong) - MAX_SAID} more lines like these, from here on")
    if footers:
        which = f"lines {footers[0].line} to {footers[-1].line}" if len(footers) > 1 else "this line"
        found.warn(footers[0].line, f"{which} after the data skipped as a footer: {footers[0].text!r}"
                                    + (" ..." if len(footers) > 1 else ""))  # fmt: skip
    if not last_good and not any(p.severity == "error" for p in found.problems):
        found.error(header.line, "there is no row of numbers under this header; export the pull again")


def _warn_of_words(found: ParseState, keep: NDArray[np.bool_]) -> list[str]:
    """Name the first few cells of words in each lesser channel; return how many there were."""
    said: Counter[str] = Counter()
    for soft in found.soft:
        column = soft.column
        said[column.slug] += bool(keep[soft.row])
        if keep[soft.row] and said[column.slug] <= 3:
            found.warn(soft.line, f"{soft.text[:40]!r} under {column.header!r} is not a number; the cell is left out")
    counts = found.soft_count.items()
    return [f"{slug}: {count:,} cells are not numbers and were left out" for slug, count in counts if count > 3]


def _check_grouping(found: ParseState) -> None:
    """Thousands separators in some numbers of a column and not in others: one of the two is misread."""
    for index, (line, cell) in found.grouped.items():
        if index in found.ungrouped:
            found.error(line, f"{cell!r} is written with a thousands separator and line {found.ungrouped[index]} "
                              "without one: it is not clear what the mark means; write all alike")  # fmt: skip


def _skipped(found: ParseState) -> list[str]:
    told = []
    if found.left_out > MAX_SAID:
        told.append(f"{found.left_out:,} rows without engine speed, or marked as comments, were skipped")
    for what, lines in found.skipped.items():
        if lines:
            where = ", ".join(map(str, lines[:5])) + (" ..." if len(lines) > 5 else "")
            plural = "" if len(lines) == 1 else "s"
            told.append(f"{len(lines):,} {what} line{plural} skipped (line{plural} {where})")
    return told


def _may_be_cut(last: Sequence[str], before: Sequence[Sequence[str]], decimal: str) -> bool:
    """Whether the last cell of an unended line could be the beginning of a longer number.

    Not if the column always has the same number of decimals and this cell has them too. A large whole number that
    lost a digit would have fallen to about a tenth; of small ones nothing can be said.
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
