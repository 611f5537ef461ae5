"""Read the rows under a header into numbers by channel; every line that is not a row of numbers is accounted for.

NumPy reads regular blocks of lines; a block with anything irregular in it is read line by line. What an irregular line
means depends on where it is. Between good rows it is damage, and an error. After the last good row it may be a footer,
which is skipped with a note. Nothing is repaired.
"""

from __future__ import annotations

import io
import math
import re
from collections import Counter
from collections.abc import Sequence
from itertools import islice
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from builder.record.dyno_log.columns import Column
from builder.record.dyno_log.diagnostics import MAX_LISTED, BadCell, BadLine, ParseState, Rows, classify
from builder.record.dyno_log.encoding import (
    MARK_NAMES,
    MAX_LINE_BYTES,
    MAX_NUMBER,
    MAX_NUMBER_LENGTH,
    LogText,
    grouped_number,
    is_number,
    number,
    plain_number,
    split_cells,
)
from builder.record.dyno_log.header import Header, is_header

Floats = NDArray[np.float64]

BLOCK_BYTES = 4 * MAX_LINE_BYTES
MAX_BAD_LINES = 500
_SAMPLE = 20
_SUMMARY_NAMES = frozenset([
    "max", "maximum", "min", "minimum", "avg", "average", "mean", "peak", "sum", "total", "totals", "std", "stddev",
    "stdev", "std dev", "standard deviation", "median", "range", "max value", "min value", "peak value", "peak values",
])  # fmt: skip
# One of these is in each of them: quick to search a block for, before its cells are looked at.
_SUMMARY_WORDS = (b"max", b"min", b"avg", b"average", b"mean", b"peak", b"sum", b"total", b"std", b"stdev", b"standard",
                  b"median", b"range")  # fmt: skip
_LETTER_OR_COMMENT = re.compile(r"[^\W\d_]|#|//")


def read_rows(
    text: LogText, header: Header, columns: Sequence[Column], decimal: str, text_columns: frozenset[int], path: Path
) -> Rows:
    """Read every line under the header.

    `text_columns` hold words in nearly every row (a date, a remark): words there do not tell a footer from a row.
    """
    reader = _Reader(text, header, columns, decimal, text_columns, path)
    reader.read()
    return classify(reader.state, text, header, columns, decimal)


def read_numbers(
    lines: Sequence[bytes], delimiter: str, width: int, columns: Sequence[int], decimal: str
) -> Floats | None:
    """Return the numbers in some columns of regular lines, shape (columns, lines), NaN for empty cells.

    None unless every line has exactly `width` cells and every cell in `columns` is empty or a finite number without
    thousands separators.
    """
    separator = delimiter.encode()
    if decimal == delimiter or {line.count(separator) for line in lines} != {width - 1}:
        return None
    block = b"\n".join(lines)
    if b"nan" in block.lower() or (decimal == "," and b"." in block):
        return None
    if max(map(len, lines)) > MAX_NUMBER_LENGTH and _longest_cell(block, separator) > MAX_NUMBER_LENGTH:
        return None
    if decimal == ",":
        block = block.replace(b",", b".")
    if any(mark in b"\n" + block + b"\n" for mark in (separator * 2, separator + b"\n", b"\n" + separator, b" ")):
        edge = b"[\n" + re.escape(separator) + b"]"
        block = re.sub(rb"(?<=%b) *(?=%b)" % (edge, edge), b"nan", b"\n" + block + b"\n")[1:-1]
    try:
        # Numbers are ASCII: as Latin-1 any other character keeps its cell from being one.
        numbers = np.loadtxt(
            io.StringIO(block.decode("latin-1")), delimiter=delimiter, usecols=columns, comments=None,
            quotechar='"' if b'"' in block else None, ndmin=2, unpack=True,
        )  # fmt: skip
    except ValueError:
        return None
    regular = numbers.shape[1] == len(lines) and not (np.abs(numbers) >= MAX_NUMBER).any()
    return np.ascontiguousarray(numbers) if regular else None


def _longest_cell(block: bytes, separator: bytes) -> int:
    """Return the length of the longest run between separators or line ends [bytes]."""
    data = np.frombuffer(block, dtype=np.uint8)
    ends = np.flatnonzero((data == separator[0]) | (data == ord("\n")))
    return int(np.diff(ends, prepend=-1, append=len(data)).max()) - 1


class _Reader:
    """Reads a log block by block into a `ParseState`."""

    def __init__(
        self, text: LogText, header: Header, columns: Sequence[Column], decimal: str,
        text_columns: frozenset[int], path: Path,
    ) -> None:  # fmt: skip
        self.text, self.header, self.columns, self.decimal, self.path = text, header, columns, decimal, path
        self.text_columns = text_columns
        self.places = [column.index for column in columns]
        self.speed = next(index for index, column in enumerate(columns) if column.slug == "engine_speed")
        self.named_width = max((index + 1 for index, cell in enumerate(header.cells) if cell), default=1)
        self._sample_rows()
        edge = re.escape(header.delimiter)
        names = "|".join(sorted(_SUMMARY_NAMES, key=len, reverse=True))
        self.summary = re.compile(rf'(?i)(?:\A|[{edge}\n])[ "]*(?:{names})[ :.="]*(?=[{edge}\n])'.encode())
        capacity = text.data.count(b"\n", header.data_start)
        self.state = ParseState(path, np.empty((len(columns), capacity)), np.empty(capacity, dtype=np.int64))
        # The rows of the block that is being read line by line, and their lines.
        self.rows: list[list[float]] = []
        self.row_lines: list[int] = []
        self.stopped = False

    def _sample_rows(self) -> None:
        """Set the usual width of a row, and the columns in which a word such as "max" marks no summary.

        Rows have more cells than the header where lines end with a delimiter. A column that says "max" in nearly
        every row tells how the throttle was held, say.
        """
        lines = islice(self.text.lines(self.header.data_start, self.header.data_line), _SAMPLE)
        rows = [split_cells(line.text, self.header.delimiter) for line in lines if line.text.strip()]
        speed_place = self.places[self.speed]
        widths = [len(row) for row in rows if len(row) >= self.named_width and is_number(row[speed_place])]
        self.width = Counter(widths).most_common(1)[0][0] if widths else self.named_width
        counts = Counter(index for row in rows for index, cell in enumerate(row) if cell and _is_summary(cell))
        self.summary_columns = {i for i, count in counts.items() if i not in self.places and count >= 0.8 * len(rows)}

    # -- reading ---------------------------------------------------------------------------------------------

    def read(self) -> None:
        """Read every block."""
        data, start, line = self.text.data, self.header.data_start, self.header.data_line
        while start < len(data) and not self.stopped:
            stop = data.rfind(b"\n", start, start + BLOCK_BYTES) + 1
            if stop <= start:
                self.state.error(line, "the line is too long to be a row of a log; the file is damaged or not a log")
                return
            block = data[start:stop]
            if not self._read_regular_block(block, line):
                self._read_line_by_line(block, line)
            line += block.count(b"\n")
            start = stop
        self.state.last_line = line - 1

    def _read_regular_block(self, block: bytes, first_line: int) -> bool:
        """Read the block at once if it is regular; return whether it was."""
        if self.width < self.named_width or self._may_summarise(block):
            return False
        texts = block.split(b"\n")[:-1]
        is_row = np.fromiter(map(bool, texts), dtype=bool, count=len(texts))
        lines = np.arange(first_line, first_line + len(texts))
        rows = texts if is_row.all() else [text for text in texts if text]
        ending = self.header.delimiter.encode() * (self.width - self.named_width)
        if not rows or (ending and not all(row.endswith(ending) for row in rows)):
            return False
        values = read_numbers(rows, self.header.delimiter, self.width, self.places, self.decimal)
        if values is None or not np.all(values[self.speed] >= 0.0):  # NaN fails too
            return False
        self._append(values, lines[is_row])
        self.state.skipped["blank"] += lines[~is_row].tolist()
        self.state.last_number_first = int(lines[is_row][-1])
        for index in range(len(self.columns)):
            if index not in self.state.ungrouped:
                large = np.flatnonzero(np.abs(values[index]) >= 1000.0)
                if large.size:
                    self.state.ungrouped[index] = int(lines[is_row][large[0]])
        return True

    def _append(self, values: Floats, lines: NDArray[np.int64]) -> None:
        state = self.state
        state.values[:, state.count : state.count + lines.size] = values
        state.lines[state.count : state.count + lines.size] = lines
        state.count += lines.size

    def _may_summarise(self, block: bytes) -> bool:
        """Return whether a column that is not read could mark a row as a comment, a maximum, an average and so on."""
        if len(self.columns) == self.width:
            return False  # every cell must be a number then
        if b"#" in block or b"//" in block:
            return True
        lower = block.lower()
        return any(word in lower for word in _SUMMARY_WORDS) and bool(self.summary.search(lower))

    def _read_line_by_line(self, block: bytes, first_line: int) -> None:
        self.rows, self.row_lines = [], []
        for line, text in enumerate(block.decode("utf-8").removesuffix("\n").split("\n"), first_line):
            self._read_line(text, line)
            if len(self.state.bad_lines) > MAX_BAD_LINES:
                self.state.error(line, f"more than {MAX_BAD_LINES} lines are not rows of numbers; "
                                 "reading stopped here")  # fmt: skip
                self.stopped = True
            if self.stopped:
                break
        if self.rows:
            self._append(np.array(self.rows).T, np.array(self.row_lines))

    def _read_line(self, text: str, line: int) -> None:
        cells = split_cells(text, self.header.delimiter)
        if _LETTER_OR_COMMENT.search(text) and self._is_no_row(cells, line):
            return
        if not any(cells):
            self.state.skipped["blank"].append(line)
            return
        if not self._is_complete(cells):
            self._add_bad_line(line, self._width_message(cells), cells)
            return
        values = [math.nan] * len(self.places)
        words: list[tuple[Column, str]] = []
        for index, place in enumerate(self.places):
            cell = cells[place]
            if cell:
                value = self._number(cell, index, line)
                if value is None:
                    words.append((self.columns[index], cell))
                else:
                    values[index] = value
        for column, cell in words:
            if column.required:
                self._add_bad_line(line, self._text_message(column, cell), cells)
                return
        speed = values[self.speed]
        if math.isnan(speed):  # the cell is empty
            self._skip_row(line, "the row has no engine speed and is skipped")
            return
        if speed < 0.0:
            message = f"the engine speed is negative ({cells[self.places[self.speed]]}); correct or delete it"
            self.state.bad_lines.append(BadLine(line, message, text, begins_with_words=False))
            return
        self._note_bad_cells(words, line)
        if all(column.index != 0 for column, _ in words):
            self.state.last_number_first = line
        self.rows.append(values)
        self.row_lines.append(line)

    def _note_bad_cells(self, words: Sequence[tuple[Column, str]], line: int) -> None:
        """Note words in lesser channels: their cells are left out, and the first few are listed."""
        for column, cell in words:
            self.state.bad_cell_count[column.slug] += 1
            if self.state.bad_cell_count[column.slug] <= MAX_LISTED or column.index == 0:
                self.state.bad_cells.append(BadCell(self.state.count + len(self.rows), line, column, cell))

    def _is_complete(self, cells: Sequence[str]) -> bool:
        """Return whether no cell is missing or extra: one that shifted the others would misread them all.

        A row may lack the delimiters that end the others, but then its last named cell must be filled.
        """
        if any(cells[self.named_width :]):
            return False
        if len(cells) == self.width:
            return True
        return self.named_width <= len(cells) < self.width and bool(cells[self.named_width - 1])

    def _is_no_row(self, cells: Sequence[str], line: int) -> bool:
        """Return whether a line belongs to the export and is no row: a comment, a summary, the header or units again.

        Such a line is noted as skipped.
        """
        first = next((cell for cell in cells if cell), "")
        if first.startswith(("#", "//")):
            if len(cells) >= self.named_width:  # a complete row: marked on purpose, or by mistake
                self._skip_row(line, "the row is marked as a comment and is skipped")
            else:
                self.state.skipped["comment"].append(line)
            return True
        plain = tuple(cell.casefold() for cell in cells)
        if _same(plain, self.header.cells) or (self.header.units and _same(plain, self.header.units)):
            self.state.skipped["repeated header"].append(line)
            return True
        if any(_is_summary(cell) for i, cell in enumerate(plain) if cell and i not in self.summary_columns):
            self.state.skipped["summary"].append(line)
            return True
        if is_header(cells):
            self.state.error(line, f"this line is a second header, unlike the one on line {self.header.line}: "
                             "it is not clear which one holds; leave one table in the file")  # fmt: skip
            self.stopped = True
            return True
        return False

    def _number(self, cell: str, index: int, line: int) -> float | None:
        """Return the number in a cell, and note whether its thousands are grouped."""
        cell = cell.replace("−", "-")
        value = plain_number(cell, self.decimal)
        if value is not None:
            if abs(value) >= 1000.0:
                self.state.ungrouped.setdefault(index, line)
            return value
        value = grouped_number(cell, self.decimal)
        if value is not None and ("," if self.decimal == "." else ".") in cell:
            self.state.grouped.setdefault(index, (line, cell))
        return value

    def _skip_row(self, line: int, message: str) -> None:
        self.state.skipped_rows += 1
        if self.state.skipped_rows <= MAX_LISTED:
            self.state.warn(line, message)
        elif self.state.skipped_rows == MAX_LISTED + 1:
            self.state.warn(line, "more such rows from here on are skipped as well, and counted")

    def _add_bad_line(self, line: int, message: str, cells: Sequence[str]) -> None:
        first = next(index for index, cell in enumerate(cells) if cell)
        speed_place = self.places[self.speed]
        no_speed = speed_place >= len(cells) or not is_number(cells[speed_place])
        begins_with_words = no_speed or (not is_number(cells[first]) and first not in self.text_columns)
        separator = " " if self.text.split_at_blanks else self.header.delimiter
        self.state.bad_lines.append(BadLine(line, message, separator.join(cells)[:60], begins_with_words))

    def _width_message(self, cells: Sequence[str]) -> str:
        filled = max(index for index, cell in enumerate(cells) if cell) + 1
        return (
            f"the row has {max(filled, min(len(cells), self.named_width))} cells and the header {self.named_width}; "
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
    return cell.casefold().strip(" :.=") in _SUMMARY_NAMES


def _same(cells: Sequence[str], header: Sequence[str]) -> bool:
    """Return whether a row is the header (or units row) again, apart from empty cells at its end."""
    return _trimmed(cells) == _trimmed([cell.casefold() for cell in header])


def _trimmed(cells: Sequence[str]) -> list[str]:
    trimmed = [" ".join(cell.split()) for cell in cells]
    while trimmed and not trimmed[-1]:
        trimmed.pop()
    return trimmed
