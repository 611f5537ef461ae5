"""A sheet as rows of cells, whatever file it came from, and the limits that any file is held to."""

from __future__ import annotations

import datetime
import re
from dataclasses import dataclass

from builder.record.yaml_loader import UNWANTED

MAX_ROWS = 200_000
MAX_COLUMNS = 500
MAX_CELLS = 1_500_000
MAX_CELL_LENGTH = 20_000
MAX_HEADING_LENGTH = 120


class SpreadsheetError(Exception):
    """A spreadsheet that cannot be read; the message says why and what to do, ``row`` where that shows."""

    def __init__(self, message: str, row: int = 1) -> None:
        """Keep the message, and the row that it is about."""
        super().__init__(message)
        self.row = row


@dataclass(frozen=True, slots=True)
class SheetCell:
    """One cell as the sheet shows it.

    ``text`` has every digit that was written. ``is_number`` marks a number that the file holds as one, so that its
    decimal mark is known to be a point. ``unit`` is the unit in its number format, ``day`` the day of a date. ``error``
    says why there is no value to read.
    """

    text: str = ""
    is_number: bool = False
    unit: str = ""
    day: datetime.date | None = None
    error: str = ""

    def __bool__(self) -> bool:
        """Return whether there is anything in it."""
        return bool(self.text or self.error)


EMPTY = SheetCell()


@dataclass(frozen=True, slots=True)
class SheetTable:
    """One sheet: its rows that hold anything, each with its number as the spreadsheet counts it."""

    file: str
    sheet: str
    rows: tuple[tuple[int, tuple[SheetCell, ...]], ...]
    encoding: str = ""
    notes: tuple[tuple[int, str], ...] = ()
    """What the shop should know of the sheet, each with its row."""
    first_day: datetime.date = datetime.date(1899, 12, 30)
    """The day that the number 0 means as a date."""
    sheets: tuple[str, ...] = ()
    """Every sheet of the file."""


def column_letter(index: int) -> str:
    """Return the letters of a column, counted from 0: A, B, ... Z, AA."""
    letters = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters


class RowCollector:
    """Collects the rows of a sheet, and holds them to the limits."""

    def __init__(self) -> None:
        """Start with none."""
        self.rows: list[tuple[int, tuple[SheetCell, ...]]] = []
        self._cells = 0

    def add(self, number: int, cells: list[SheetCell]) -> None:
        """Add a row without the empty cells at its end, if there is anything in it. Raises SpreadsheetError."""
        while cells and not cells[-1]:
            cells.pop()
        if not cells:
            return
        if len(cells) > MAX_COLUMNS:
            raise SpreadsheetError(f"has {len(cells):,} columns; at most {MAX_COLUMNS} are read", number)
        self._cells += len(cells)
        if len(self.rows) >= MAX_ROWS or self._cells > MAX_CELLS:
            raise SpreadsheetError(
                f"has more than {MAX_ROWS:,} rows or {MAX_CELLS:,} cells: divide it into several files", number
            )
        self.rows.append((number, tuple(cells)))


_LINE_ENDS = re.compile("\r\n|[\r\x0b\x0c\x85\u2028\u2029]")


def text_cell(text: str) -> SheetCell:
    """Return a cell that holds a text."""
    plain = _LINE_ENDS.sub("\n", text.replace("\N{NO-BREAK SPACE}", " ")).strip()
    if match := UNWANTED.search(plain):
        return SheetCell(error=f"holds a character that no record needs (U+{ord(match[0]):04X}): type the cell again")
    if len(plain) > MAX_CELL_LENGTH:
        return SheetCell(error=f"has {len(plain):,} characters; at most {MAX_CELL_LENGTH:,} are read")
    return SheetCell(plain)
