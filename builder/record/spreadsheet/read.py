"""Read a sheet from a file, XLSX or CSV."""

from __future__ import annotations

from pathlib import Path

from builder.record.spreadsheet.csv_file import read_csv
from builder.record.spreadsheet.table import SheetTable, SpreadsheetError
from builder.record.spreadsheet.workbook import read_workbook

MAX_FILE_BYTES = 50_000_000


def read_table(path: Path, sheet: str | None = None) -> SheetTable:
    """Return a sheet of an XLSX file (the first one unless named), or a CSV file. Raises SpreadsheetError."""
    try:
        if not path.is_file():
            raise SpreadsheetError("there is no such file" if not path.exists() else "is not an ordinary file")
        if (size := path.stat().st_size) > MAX_FILE_BYTES:
            raise SpreadsheetError(f"has {size / 1e6:,.0f} MB; at most {MAX_FILE_BYTES / 1e6:,.0f} MB are read")
        data = path.read_bytes()
    except OSError as error:
        raise SpreadsheetError(f"cannot be read: {error.strerror or error}") from None
    if data.startswith(b"\xd0\xcf\x11\xe0"):
        raise SpreadsheetError("is an old .xls file, or has a password: save it as .xlsx without one")
    is_workbook = data.startswith(b"PK") or path.suffix.lower() in (".xlsx", ".xlsm")
    return read_workbook(data, path.name, sheet) if is_workbook else read_csv(data, path.name)
