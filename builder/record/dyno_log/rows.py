"""The rows under a header -> numbers by channel, with every line that is not a row of numbers accounted for.

Tidy blocks of lines go through `csv_numbers`; a block with anything odd in it is read line by line here. What an
odd line means depends on where it stands. Between good rows it is damage, and an error. After the last good row it
may be a footer, which is skipped and told. Nothing is mended.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Sequence
from itertools import islice
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from builder.record.dyno_log.columns import Column
from builder.record.dyno_log.csv_numbers import Floats, read_block, without_blank_lines
from builder.record.dyno_log.diagnostics import MAX_SAID, BadCell, BadLine, ParseState, Rows, classify
from builder.record.dyno_log.encoding import (
    MARK_NAMES,
    MAX_LINE_BYTES,
    CsvText,
    grouped_number,
    is_number,
    number,
    plain_number,
    split_cells,
)
from builder.record.dyno_log.header import Header, is_header

BLOCK_BYTES = 4 * MAX_LINE_BYTES
MAX_ODD_LINES = 500
_TAIL = 20
_SUMMARY = frozenset([
    "max", "maximum", "min", "minimum", "avg", "average", "mean", "peak", "sum", "total", "totals", "std", "stddev",
    "stdev", "std dev", "standard deviation", "median", "range", "max value", "min value", "peak value", "peak values",
])  # fmt: skip
# One of these is in each of them: quick to look for, before the cells are.
_SUMMARY_WORDS = (b"max", b"min", b"avg", b"average", b"mean", b"peak", b"sum", b"total", b"std", b"stdev", b"standard",
                  b"median", b"range")  # fmt: skip
_WORDY = re.compile(r"[^\W\d_]|#|//")


def read_rows(
    text: CsvText, header: Header, columns: Sequence[Column], decimal: str, text_columns: frozenset[int], path: Path
) -> Rows:
    """Read every line under the header.

    `text_columns` are columns that hold words by habit (a date, a remark): words there say nothing about a row.
    """
    reader = _Reader(text, header, columns, decimal, text_columns, path)
    reader.read()
    return classify(reader.found, text, header, columns, decimal)


class _Reader:
    def __init__(
        self, text: CsvText, header: Header, columns: Sequence[Column], decimal: str,
        text_columns: frozenset[int], path: Path,
    ) -> None:  # fmt: skip
        self.text, self.header, self.columns, self.decimal, self.path = text, header, columns, decimal, path
        self.text_columns = text_columns
        self.wanted = np.array([column.index for column in columns], dtype=np.intp)
        self.speed = next(i for i, column in enumerate(columns) if column.slug == "engine_speed")
        self.named = max((i + 1 for i, cell in enumerate(header.cells) if cell), default=1)
        self._learn_habits()
        edge = re.escape(header.delimiter)
        words = "|".join(sorted(_SUMMARY, key=len, reverse=True))
        self.summary = re.compile(rf'(?i)(?:\A|[{edge}\n])[ "]*(?:{words})[ :.="]*(?=[{edge}\n])'.encode())
        most = text.data.count(b"\n", header.data_start)
        self.found = ParseState(path, np.empty((len(columns), most)), np.empty(most, dtype=np.int64))
        self.places = [(index, column.index) for index, column in enumerate(columns)]
        self.rows: list[list[float]] = []  # of the block that is being read carefully, and their lines
        self.row_lines: list[int] = []
        self.stopped = False

    def _learn_habits(self) -> None:
        """What the first rows have in common.

        They may have more cells than the header, if lines end with a delimiter. And a column may say "max" in every
        row (how the throttle was held, say), where the word does not make the row a summary.
        """
        lines = islice(self.text.lines(self.header.data_start, self.header.data_line), _TAIL)
        rows = [split_cells(line.text, self.header.delimiter) for line in lines if line.text.strip()]
        place = self.columns[self.speed].index
        whole = [row for row in rows if len(row) >= self.named and is_number(row[place])]
        self.width = Counter(map(len, whole)).most_common(1)[0][0] if whole else self.named
        words = Counter(index for row in rows for index, cell in enumerate(row) if cell and _is_summary(cell))
        self.summary_columns = {i for i, count in words.items() if i not in self.wanted and count >= 0.8 * len(rows)}

    # -- reading ---------------------------------------------------------------------------------------------

    def read(self) -> None:
        data, at, line = self.text.data, self.header.data_start, self.header.data_line
        while at < len(data) and not self.stopped:
            stop = data.rfind(b"\n", at, at + BLOCK_BYTES) + 1
            if stop <= at:
                self.found.error(line, "the line is too long to be a row of a log; the file is damaged or not a log")
                return
            block = data[at:stop]
            if not self._read_tidy(block, line):
                self._read_carefully(block, line)
            line += block.count(b"\n")
            at = stop
        self.found.last_line = line - 1

    def _read_tidy(self, block: bytes, line: int) -> bool:
        """The quick way, if nothing about the block is odd."""
        if self.width < self.named or self._may_summarise(block):
            return False
        lines = np.arange(line, line + block.count(b"\n"))
        blank = lines[:0]
        if b"\n\n" in block or block.startswith(b"\n"):
            block, is_blank = without_blank_lines(block)
            lines, blank = lines[~is_blank], lines[is_blank]
        if not ((self.width == self.named or self._ends_with_empties(block)) and self._store(block, lines)):
            return False
        self.found.skipped["blank"] += blank.tolist()
        return True

    def _store(self, block: bytes, lines: NDArray[np.int64]) -> bool:
        values = read_block(block, self.header.delimiter, self.width, self.wanted, self.decimal)
        if values is None or not np.all(values[self.speed] >= 0.0):  # NaN fails too
            return False
        self._append(values, lines)
        self.found.first_cell_fine = int(lines[-1])
        for index in range(len(self.columns)):
            if index not in self.found.ungrouped:
                large = np.flatnonzero(np.abs(values[index]) >= 1000.0)
                if large.size:
                    self.found.ungrouped[index] = int(lines[large[0]])
        return True

    def _append(self, values: Floats, lines: NDArray[np.int64]) -> None:
        found = self.found
        found.values[:, found.count : found.count + lines.size] = values
        found.lines[found.count : found.count + lines.size] = lines
        found.count += lines.size

    def _ends_with_empties(self, block: bytes) -> bool:
        ending = self.header.delimiter.encode() * (self.width - self.named) + b"\n"
        return block.count(ending) == block.count(b"\n")

    def _may_summarise(self, block: bytes) -> bool:
        """Whether a column that is not read could mark a row as a remark, a maximum, an average and so on."""
        if len(self.columns) == self.width:
            return False  # every cell must be a number then
        if b"#" in block or b"//" in block:
            return True
        low = block.lower()
        return any(word in low for word in _SUMMARY_WORDS) and bool(self.summary.search(low))

    def _read_carefully(self, block: bytes, line: int) -> None:
        self.rows, self.row_lines = [], []
        for number_, text in enumerate(block.decode("utf-8").removesuffix("\n").split("\n"), line):
            self._read_line(text, number_)
            if len(self.found.odd) > MAX_ODD_LINES:
                self.found.error(number_, f"more than {MAX_ODD_LINES} lines are not rows of numbers; "
                                     "reading stopped here")  # fmt: skip
                self.stopped = True
            if self.stopped:
                break
        if self.rows:
            self._append(np.array(self.rows).T, np.array(self.row_lines))

    def _read_line(self, text: str, line: int) -> None:
        cells = split_cells(text, self.header.delimiter)
        if _WORDY.search(text) and self._is_apart(cells, line):
            return None
        if not self._is_whole(cells):
            return self._add_odd(line, self._width_message(cells), cells) if any(cells) else self._blank(line)
        values = [math.nan] * len(self.places)
        wrong: list[tuple[Column, str]] = []
        for index, place in self.places:
            cell = cells[place]
            if cell:
                value = self._number(cell, index, line)
                if value is None:
                    wrong.append((self.columns[index], cell))
                else:
                    values[index] = value
        for column, cell in wrong:
            if column.required:
                return self._add_odd(line, self._text_message(column, cell), cells)
        speed = values[self.speed]
        if speed != speed:  # NaN: the cell is empty
            if any(cells):
                return self._leave_out(line, "the row has no engine speed and is skipped")
            return self._blank(line)
        if speed < 0.0:
            message = f"the engine speed is negative ({cells[self.places[self.speed][1]]}); correct or delete it"
            return self.found.odd.append(BadLine(line, message, text, label=False))
        if wrong:
            self._note_words(wrong, line)
        if not wrong or all(column.index != 0 for column, _ in wrong):
            self.found.first_cell_fine = line
        self.rows.append(values)
        return self.row_lines.append(line)

    def _blank(self, line: int) -> None:
        self.found.skipped["blank"].append(line)

    def _note_words(self, wrong: Sequence[tuple[Column, str]], line: int) -> None:
        """Words in lesser channels: their cells are left out, and the first few are named."""
        for column, cell in wrong:
            self.found.soft_count[column.slug] += 1
            if self.found.soft_count[column.slug] <= MAX_SAID or column.index == 0:
                self.found.soft.append(BadCell(self.found.count + len(self.rows), line, column, cell))

    def _is_whole(self, cells: Sequence[str]) -> bool:
        """Whether no cell can be missing or too many: one that shifted the others would misread them all.

        A row may lack the delimiters that end the others, but then its last named cell must be filled.
        """
        if any(cells[self.named :]):
            return False
        return len(cells) == self.width or (self.named <= len(cells) < self.width and bool(cells[self.named - 1]))

    def _is_apart(self, cells: Sequence[str], line: int) -> bool:
        """Lines that belong to the export and are no row: remarks, summaries, the header again, its units again."""
        first = next((cell for cell in cells if cell), "")
        if first.startswith(("#", "//")):
            if len(cells) >= self.named:  # a whole row: set aside by hand, or by a slip
                self._leave_out(line, "the row is marked as a comment and is skipped")
            else:
                self.found.skipped["comment"].append(line)
            return True
        plain = tuple(cell.casefold() for cell in cells)
        if _same(plain, self.header.cells) or (self.header.units and _same(plain, self.header.units)):
            self.found.skipped["repeated header"].append(line)
            return True
        if any(_is_summary(cell) for i, cell in enumerate(plain) if cell and i not in self.summary_columns):
            self.found.skipped["summary"].append(line)
            return True
        if is_header(cells):
            self.found.error(line, f"this line is a second header, unlike the one on line {self.header.line}: "
                              "it is not clear which one holds; leave one table in the file")  # fmt: skip
            self.stopped = True
            return True
        return False

    def _number(self, cell: str, index: int, line: int) -> float | None:
        value = plain_number(cell, self.decimal)
        if value is not None:
            if (value >= 1000.0 or value <= -1000.0) and index not in self.found.ungrouped:
                self.found.ungrouped[index] = line
            return value
        if "−" in cell:  # a minus sign instead of a hyphen
            return self._number(cell.replace("−", "-"), index, line)
        value = grouped_number(cell, self.decimal)
        if value is not None and ("," if self.decimal == "." else ".") in cell:
            self.found.grouped.setdefault(index, (line, cell))
        return value

    def _leave_out(self, line: int, message: str) -> None:
        self.found.left_out += 1
        if self.found.left_out <= MAX_SAID:
            self.found.warn(line, message)
        elif self.found.left_out == MAX_SAID + 1:
            self.found.warn(line, "more such rows from here on are skipped as well; how many is told")

    def _add_odd(self, line: int, message: str, cells: Sequence[str]) -> None:
        first = next(index for index, cell in enumerate(cells) if cell)
        place = self.columns[self.speed].index
        no_speed = place >= len(cells) or not is_number(cells[place])
        label = no_speed or (not is_number(cells[first]) and first not in self.text_columns)
        edge = " " if self.text.blanks else self.header.delimiter
        self.found.odd.append(BadLine(line, message, edge.join(cells)[:60], label))

    def _width_message(self, cells: Sequence[str]) -> str:
        filled = max(index for index, cell in enumerate(cells) if cell) + 1
        return (
            f"the row has {max(filled, min(len(cells), self.named))} cells and the header {self.named}; "
            "put numbers that hold the delimiter in quotes, name every column, or add the missing cells"
        )

    def _text_message(self, column: Column, cell: str) -> str:
        if number(cell, "," if self.decimal == "." else ".") is not None:
            return (
                f"{cell[:40]!r} under {column.header!r} does not agree with the rest of the file, "
                f"where the decimal mark is a {MARK_NAMES[self.decimal]}"
            )
        return f"{cell[:40]!r} under {column.header!r} is not a number; correct it or delete the row"


def _is_summary(cell: str) -> bool:
    return cell.casefold().strip(" :.=") in _SUMMARY


def _same(cells: Sequence[str], header: Sequence[str]) -> bool:
    """Whether a row is the header (or units row) again, empty cells at its end aside."""
    return _trimmed(cells) == _trimmed([cell.casefold() for cell in header])


def _trimmed(cells: Sequence[str]) -> list[str]:
    trimmed = [" ".join(cell.split()) for cell in cells]
    while trimmed and not trimmed[-1]:
        trimmed.pop()
    return trimmed
