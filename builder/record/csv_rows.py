"""The rows under a header -> numbers by channel, with every line that is not a row of numbers accounted for.

Tidy blocks of lines go through `csv_numbers`; a block with anything odd in it is read line by line here. What an
odd line means depends on where it stands. Between good rows it is damage, and an error. After the last good row it
may be a footer, which is skipped and told. Nothing is mended.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from builder.record.csv_columns import Column
from builder.record.csv_header import Header, is_header
from builder.record.csv_numbers import Floats, read_block
from builder.record.csv_text import (
    MARK_NAMES,
    MAX_LINE_BYTES,
    CsvText,
    grouped_number,
    is_number,
    number,
    plain_number,
    split_cells,
)
from builder.record.problem import Problem

BLOCK_BYTES = 4 * MAX_LINE_BYTES
MAX_ODD_LINES = 500
MAX_SAID = 10
_TAIL = 20
_SUMMARY = frozenset([
    "max", "maximum", "min", "minimum", "avg", "average", "mean", "peak", "sum", "total", "totals", "std", "stddev",
    "stdev", "std dev", "standard deviation", "median", "range", "max value", "min value", "peak value", "peak values",
])  # fmt: skip
_LETTER = re.compile(r"[^\W\d_]")
_LETTER_BYTE = re.compile(rb"[A-Za-z]")


@dataclass(frozen=True, slots=True)
class _Odd:
    """A line that is not a row of numbers. A `label` line begins with words: after the data it is a footer."""

    line: int
    message: str
    text: str
    label: bool
    harmless: bool = False
    """Skipped with a warning wherever it stands."""


@dataclass
class Rows:
    """What was read: values of shape (columns, rows) as written (not yet SI), and each row's line in the file."""

    values: Floats
    lines: NDArray[np.int64]
    problems: list[Problem]
    told: list[str]


def read_rows(
    text: CsvText, header: Header, columns: Sequence[Column], decimal: str, text_columns: frozenset[int], path: Path
) -> Rows:
    """Read every line under the header.

    `text_columns` are columns that hold words by habit (a date, a remark): words there say nothing about a row.
    """
    reader = _Reader(text, header, columns, decimal, text_columns, path)
    reader.read()
    return reader.result()


class _Reader:
    def __init__(
        self, text: CsvText, header: Header, columns: Sequence[Column], decimal: str,
        text_columns: frozenset[int], path: Path,
    ) -> None:  # fmt: skip
        self.text, self.header, self.columns, self.decimal, self.path = text, header, columns, decimal, path
        self.text_columns = text_columns
        self.wanted = np.array([column.index for column in columns], dtype=np.intp)
        self.speed = next(i for i, column in enumerate(columns) if column.slug == "engine_speed")
        self.least_width = max((i + 1 for i, cell in enumerate(header.cells) if cell), default=1)
        self.width = self._usual_width()
        edge = re.escape(header.delimiter)
        words = "|".join(sorted(_SUMMARY, key=len, reverse=True))
        self.summary = re.compile(rf'(?i)(?:\A|[{edge}\n])[ "]*(?:{words})[ :.="]*(?=[{edge}\n])'.encode())
        most = text.data.count(b"\n", header.data_start)
        self.values = np.empty((len(columns), most))
        self.lines = np.empty(most, dtype=np.int64)
        self.count = 0
        self.last_line = 0
        self.odd: list[_Odd] = []
        self.soft: list[tuple[int, int, Column, str]] = []  # (row, line, column, text): an optional cell of words
        self.soft_count: Counter[str] = Counter()
        self.first_cell_fine = 0  # the last line whose first cell was as it should be
        self.skipped: dict[str, list[int]] = {"blank": [], "comment": [], "summary": [], "repeated header": []}
        self.grouped: dict[int, tuple[int, str]] = {}
        self.ungrouped: dict[int, int] = {}
        self.stopped = False
        self.problems: list[Problem] = []
        self.told: list[str] = []

    def _usual_width(self) -> int:
        """How many cells the data lines have: more than the header if lines end with a delimiter."""
        lines = islice(self.text.lines(self.header.data_start, self.header.data_line), _TAIL)
        widths = Counter(len(split_cells(line.text, self.header.delimiter)) for line in lines if line.text.strip())
        return widths.most_common(1)[0][0] if widths else len(self.header.cells)

    # -- reading ---------------------------------------------------------------------------------------------

    def read(self) -> None:
        data, at, line = self.text.data, self.header.data_start, self.header.data_line
        while at < len(data) and not self.stopped:
            stop = data.rfind(b"\n", at, at + BLOCK_BYTES) + 1
            if stop <= at:
                self._error(line, "the line is too long to be a row of a log; the file is damaged or not a log")
                return
            block = data[at:stop]
            if not self._read_tidy(block, line):
                self._read_carefully(block, line)
            line += block.count(b"\n")
            at = stop
        self.last_line = line - 1

    def _read_tidy(self, block: bytes, line: int) -> bool:
        """The quick way, if nothing about the block is odd."""
        if self.width < self.least_width or self._may_summarise(block):
            return False
        if self.width > len(self.header.cells):
            return False if not self._ends_with_empties(block) else self._store(block, line)
        return self._store(block, line)

    def _store(self, block: bytes, line: int) -> bool:
        values = read_block(block, self.header.delimiter, self.width, self.wanted, self.decimal)
        if values is None or not np.all(values[self.speed] >= 0.0):  # NaN fails too
            return False
        rows = values.shape[1]
        self.values[:, self.count : self.count + rows] = values
        self.lines[self.count : self.count + rows] = np.arange(line, line + rows)
        self.count += rows
        self.first_cell_fine = line + rows - 1
        for index in range(len(self.columns)):
            if index not in self.ungrouped:
                large = np.flatnonzero(np.abs(values[index]) >= 1000.0)
                if large.size:
                    self.ungrouped[index] = line + int(large[0])
        return True

    def _ends_with_empties(self, block: bytes) -> bool:
        ending = self.header.delimiter.encode() * (self.width - len(self.header.cells)) + b"\n"
        return block.count(ending) == block.count(b"\n")

    def _may_summarise(self, block: bytes) -> bool:
        """Whether a column that is not read could mark a row as a remark, a maximum, an average and so on."""
        if len(self.columns) == self.width:
            return False  # every cell must be a number then
        if b"#" in block or b"//" in block:
            return True
        return bool(_LETTER_BYTE.search(block)) and bool(self.summary.search(block))

    def _read_carefully(self, block: bytes, line: int) -> None:
        for number_, raw in enumerate(block.removesuffix(b"\n").split(b"\n"), line):
            self._read_line(raw.decode("utf-8"), number_)
            if len(self.odd) > MAX_ODD_LINES:
                self._error(number_, f"more than {MAX_ODD_LINES} lines are not rows of numbers; "
                                     "reading stopped here")  # fmt: skip
                self.stopped = True
            if self.stopped:
                return

    def _read_line(self, text: str, line: int) -> None:
        cells = split_cells(text, self.header.delimiter)
        filled = [index for index, cell in enumerate(cells) if cell]
        if not filled:
            return self.skipped["blank"].append(line)
        if cells[filled[0]].startswith(("#", "//")):
            return self.skipped["comment"].append(line)
        if _LETTER.search(text) and self._is_apart(cells, line):
            return None
        values = np.full(len(self.columns), np.nan)
        wrong: list[tuple[Column, str]] = []
        if not self.least_width <= len(cells) or any(cells[len(self.header.cells) :]):
            return self._add_odd(line, self._width_message(cells), cells)
        for index, column in enumerate(self.columns):
            cell = cells[column.index] if column.index < len(cells) else ""
            if not cell:
                continue
            value = self._number(cell, index, line)
            if value is None:
                wrong.append((column, cell))
            else:
                values[index] = value
        for column, cell in wrong:
            if column.required:
                return self._add_odd(line, self._text_message(column, cell), cells)
        speed = values[self.speed]
        if np.isnan(speed):
            return self._add_odd(line, "the row has no engine speed; it is skipped", cells, harmless=True)
        if speed < 0.0:
            message = f"the engine speed is negative ({cells[self.columns[self.speed].index]}); correct or delete it"
            return self.odd.append(_Odd(line, message, text, label=False))
        for column, cell in wrong:
            self.soft_count[column.slug] += 1
            if self.soft_count[column.slug] <= MAX_SAID or column.index == 0:
                self.soft.append((self.count, line, column, cell))
        if not any(column.index == 0 for column, _ in wrong):
            self.first_cell_fine = line
        self.values[:, self.count] = values
        self.lines[self.count] = line
        self.count += 1
        return None

    def _is_apart(self, cells: Sequence[str], line: int) -> bool:
        """Lines that belong to the export and are no row: summaries, the header again, its units again."""
        plain = tuple(cell.casefold() for cell in cells)
        if _same(plain, self.header.cells) or (self.header.units and _same(plain, self.header.units)):
            self.skipped["repeated header"].append(line)
            return True
        if any(cell.strip(" :.=") in _SUMMARY for i, cell in enumerate(plain) if i not in self.text_columns):
            self.skipped["summary"].append(line)
            return True
        if is_header(cells):
            self._error(line, f"this line is a second header, unlike the one on line {self.header.line}: "
                              "it is not clear which one holds; leave one table in the file")  # fmt: skip
            self.stopped = True
            return True
        return False

    def _number(self, cell: str, index: int, line: int) -> float | None:
        cell = cell.replace("−", "-")
        value = plain_number(cell, self.decimal)
        if value is not None:
            if abs(value) >= 1000.0:
                self.ungrouped.setdefault(index, line)
            return value
        value = grouped_number(cell, self.decimal)
        if value is not None and ("," in cell or "." in cell):
            mark = "," if self.decimal == "." else "."
            if mark in cell:
                self.grouped.setdefault(index, (line, cell))
        return value

    def _add_odd(self, line: int, message: str, cells: Sequence[str], harmless: bool = False) -> None:
        first = next(index for index, cell in enumerate(cells) if cell)
        place = self.columns[self.speed].index
        no_speed = place >= len(cells) or not is_number(cells[place])
        label = no_speed or (not is_number(cells[first]) and first not in self.text_columns)
        self.odd.append(_Odd(line, message, self.header.delimiter.join(cells)[:60], label, harmless))

    def _width_message(self, cells: Sequence[str]) -> str:
        return (
            f"the row has {len(cells)} cells and the header {len(self.header.cells)}; "
            "put numbers that hold the delimiter in quotes, or add the missing cells"
        )

    def _text_message(self, column: Column, cell: str) -> str:
        if number(cell, "," if self.decimal == "." else ".") is not None:
            return (
                f"{cell[:40]!r} under {column.header!r} does not agree with the rest of the file, "
                f"where the decimal mark is a {MARK_NAMES[self.decimal]}"
            )
        return f"{cell[:40]!r} under {column.header!r} is not a number; correct it or delete the row"

    # -- judging ---------------------------------------------------------------------------------------------

    def result(self) -> Rows:
        keep = np.ones(self.count, dtype=bool)
        self._drop_worded_footers(keep)
        if self.count and not self.stopped:
            self._doubt_last_row(keep)
        last_good = int(self.lines[: self.count][keep][-1]) if keep.any() else 0
        self._judge_odd(last_good)
        self._warn_of_words(keep)
        self._check_grouping()
        self._tell()
        if keep.all():
            return Rows(self.values[:, : self.count], self.lines[: self.count], self.problems, self.told)
        return Rows(self.values[:, : self.count][:, keep], self.lines[: self.count][keep], self.problems, self.told)

    def _drop_worded_footers(self, keep: NDArray[np.bool_]) -> None:
        """Rows at the end that begin with words and go on in numbers ("Barometer, 29.92, ...")."""
        for row, line, column, _ in self.soft:
            if column.index == 0 and line > self.first_cell_fine and self.first_cell_fine:
                keep[row] = False
                text = "a row that begins with words, after the data; it is skipped as a footer"
                self._warn(line, text)

    def _doubt_last_row(self, keep: NDArray[np.bool_]) -> None:
        """A last line without a line end may have been cut off inside its last number."""
        row = self.count - 1
        if self.text.closed or self.lines[row] != self.last_line or not keep[row]:
            return
        data = self.text.data
        end = data[max(self.header.data_start, len(data) - _TAIL * 4000) :]
        raw = end.removesuffix(b"\n").split(b"\n")[-_TAIL - 1 :]
        *before, last = [split_cells(line.decode("utf-8", "replace"), self.header.delimiter) for line in raw]
        if raw[-1].rstrip().endswith(b'"') or not _may_be_cut(last, before, self.decimal):
            return
        line = int(self.lines[row])
        cut = [i for i, column in enumerate(self.columns) if column.index == len(last) - 1]
        if any(self.columns[i].required for i in cut):
            keep[row] = False
            self._warn(line, f"the file ends inside this line, and {last[-1]!r} may have been cut off; "
                             "the row is skipped (end the line to keep it)")  # fmt: skip
        elif cut:
            self.values[cut, row] = np.nan
            self._warn(line, f"the file ends inside this line, and {last[-1]!r} may have been cut off; "
                             "the cell is left out (end the line to keep it)")  # fmt: skip

    def _judge_odd(self, last_good: int) -> None:
        footers: list[_Odd] = []
        said = 0
        for odd in self.odd:
            after = last_good and odd.line > last_good
            if after and odd.line == self.last_line and not self.text.closed:
                self._warn(odd.line, "the last line of the file is not whole and is skipped")
            elif after and odd.label:
                footers.append(odd)
            elif said < MAX_SAID:
                said += 1
                (self._warn if odd.harmless else self._error)(odd.line, odd.message)
            elif said == MAX_SAID:
                said += 1
                more = sum(1 for other in self.odd if other.line >= odd.line and not (after and other.label))
                self._error(odd.line, f"and {more} more lines like these, from here on")
        if footers:
            first, last = footers[0], footers[-1]
            which = f"lines {first.line} to {last.line}" if len(footers) > 1 else "this line"
            self._warn(first.line, f"{which} after the data skipped as a footer: {first.text!r}"
                                   + (" ..." if len(footers) > 1 else ""))  # fmt: skip
        if not last_good and not any(p.severity == "error" for p in self.problems):
            self._error(self.header.line, "there is no row of numbers under this header; export the pull again")

    def _warn_of_words(self, keep: NDArray[np.bool_]) -> None:
        said: Counter[str] = Counter()
        for row, line, column, cell in self.soft:
            if keep[row]:
                said[column.slug] += 1
                if said[column.slug] <= 3:
                    self._warn(line, f"{cell[:40]!r} under {column.header!r} is not a number; the cell is left out")
        for slug, count in self.soft_count.items():
            if count > 3:
                self.told.append(f"{slug}: {count} cells are not numbers and were left out")

    def _check_grouping(self) -> None:
        """Thousands separators in some numbers of a column and not in others: one of the two is misread."""
        for index, (line, cell) in self.grouped.items():
            if index in self.ungrouped:
                self._error(line, f"{cell!r} is written with a thousands separator and line {self.ungrouped[index]} "
                                  "without one: it is not clear what the mark means; write all alike")  # fmt: skip

    def _tell(self) -> None:
        for what, lines in self.skipped.items():
            if lines:
                where = ", ".join(map(str, lines[:5])) + (" ..." if len(lines) > 5 else "")
                plural = "" if len(lines) == 1 else "s"
                self.told.append(f"{len(lines)} {what} line{plural} skipped (line{plural} {where})")

    def _error(self, line: int, message: str) -> None:
        self.problems.append(Problem(self.path, line, message))

    def _warn(self, line: int, message: str) -> None:
        self.problems.append(Problem(self.path, line, message, "warning"))


def _same(cells: Sequence[str], header: Sequence[str]) -> bool:
    """Whether a row is the header (or units row) again, empty cells at its end aside."""
    return _trimmed(cells) == _trimmed([cell.casefold() for cell in header])


def _trimmed(cells: Sequence[str]) -> list[str]:
    trimmed = [" ".join(cell.split()) for cell in cells]
    while trimmed and not trimmed[-1]:
        trimmed.pop()
    return trimmed


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
