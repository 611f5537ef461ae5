"""Read a CSV file: its encoding, its delimiter and its cells."""

from __future__ import annotations

import csv
import io
import re
from collections import Counter

from builder.record.dyno_log.encoding import DELIMITERS, Unreadable, decode
from builder.record.spreadsheet.table import RowCollector, SheetTable, SpreadsheetError, text_cell

_SAMPLE = 60
_DECLARED = re.compile(r'"?sep=([;,|\t])"?[ ]*\n')


def read_csv(data: bytes, name: str) -> SheetTable:
    """Return the cells of a CSV file. Raises SpreadsheetError."""
    decoded = decode(data)
    if isinstance(decoded, Unreadable):
        raise SpreadsheetError(decoded.message, decoded.line)
    text = decoded.data.decode("utf-8")
    declared = _DECLARED.match(text)
    delimiter = declared[1] if declared else _delimiter(text)
    collector = RowCollector()
    try:
        for number, row in enumerate(csv.reader(io.StringIO(text), delimiter=delimiter), start=1):
            if not (declared and number == 1):
                collector.add(number, [text_cell(cell) for cell in row])
    except csv.Error as error:
        raise SpreadsheetError(f"cannot be read as CSV ({error}): is there a quote that is not closed?") from None
    return SheetTable(name, "", tuple(collector.rows), decoded.encoding)


def _delimiter(text: str) -> str:
    """Return the delimiter that divides most rows into the same number of columns."""

    def score(delimiter: str) -> int:
        widths: Counter[int] = Counter()
        try:
            for _, row in zip(range(_SAMPLE), csv.reader(io.StringIO(text), delimiter=delimiter), strict=False):
                widths[len(row)] += 1
        except csv.Error:
            return 0
        return max((rows * (width - 1) for width, rows in widths.items()), default=0)

    return max(reversed(DELIMITERS), key=score)
