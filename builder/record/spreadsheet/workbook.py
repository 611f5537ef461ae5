"""Read a sheet of an XLSX file: values alone, as the sheet shows them. No macros, no links to other files."""

from __future__ import annotations

import datetime
import io
import re
import warnings
from decimal import Decimal
from typing import Any
from zipfile import BadZipFile, ZipFile

from builder.record.quantities.digits import rounded
from builder.record.quantities.units import dimension_of
from builder.record.spreadsheet.table import EMPTY, RowCollector, SheetCell, SheetTable, SpreadsheetError, text_cell
from builder.record.spreadsheet.workbook_scan import PartScan, scan_parts

_SHEET_ROWS = 1_048_576
"""Rows that a sheet of this format can have (ECMA-376 leaves it open; spreadsheet programs agree on it)."""
_TYPED_DIGITS = 11
"""A number with more digits than that was calculated: a cell of the General format shows no more."""


def read_workbook(data: bytes, name: str, sheet: str | None) -> SheetTable:
    """Return a sheet of a workbook: the one named, or the first. Raises SpreadsheetError."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # about extensions of the format that are not read
            return _read(data, name, sheet)
    except SpreadsheetError:
        raise
    except BadZipFile:
        raise SpreadsheetError("is not an XLSX file, or only part of one: save it again as .xlsx or .csv") from None
    except Exception as error:  # a damaged or hostile file can fail anywhere in the parsers
        raise SpreadsheetError(
            f"cannot be read as XLSX ({type(error).__name__}): open it in a spreadsheet program and save it again"
        ) from None


def _read(data: bytes, name: str, sheet: str | None) -> SheetTable:
    from openpyxl import load_workbook

    with ZipFile(io.BytesIO(data)) as archive:
        scans = scan_parts(archive)
    book = load_workbook(io.BytesIO(data), read_only=True, data_only=True, keep_vba=False, keep_links=False)
    try:
        sheets = {worksheet.title: worksheet for worksheet in book.worksheets}
        if not sheets or (sheet is not None and sheet not in sheets):
            known = ", ".join(repr(title) for title in sheets)
            raise SpreadsheetError(f"has no sheet {sheet!r}: its sheets are {known}" if sheets else "has no sheet")
        worksheet: Any = sheets[sheet] if sheet is not None else next(iter(sheets.values()))
        scan = scans.get(str(worksheet._worksheet_path).lstrip("/"), PartScan())
        rows = _rows(worksheet, scan)
        return SheetTable(
            name, worksheet.title, rows, notes=_merged_rows(scan), first_day=book.epoch.date(), sheets=tuple(sheets)
        )
    finally:
        book.close()


def _rows(worksheet: Any, scan: PartScan) -> tuple[tuple[int, tuple[SheetCell, ...]], ...]:
    collector = RowCollector()
    worksheet.reset_dimensions()  # what the file says of its size may be wrong
    for number, row in enumerate(worksheet.iter_rows(), start=1):
        if number > _SHEET_ROWS:
            raise SpreadsheetError("has more rows than a sheet can have: is it damaged?", number)
        if row:
            collector.add(number, [_cell(cell, scan) for cell in row])
    return tuple(collector.rows)


def _merged_rows(scan: PartScan) -> tuple[tuple[int, str], ...]:
    """Return a note for each range of cells that is merged over several rows: only the first has the value."""
    notes = []
    for area in scan.merged:
        match = re.fullmatch(r"[A-Z]{1,3}([0-9]{1,7}):[A-Z]{1,3}([0-9]{1,7})", area)
        if match and int(match[2]) > int(match[1]):
            notes.append((int(match[1]), f"{area} are merged: only row {match[1]} has their value; divide the cells"))
    return tuple(notes)


def _cell(cell: Any, scan: PartScan) -> SheetCell:
    value = cell.value
    if value is None:
        if scan.without_value and cell.data_type is not None and getattr(cell, "coordinate", "") in scan.without_value:
            return SheetCell(
                error="holds a formula whose result was not saved: open the file, let it calculate, save it"
            )
        return EMPTY
    if cell.data_type == "e":
        return SheetCell(error=f"holds the error {str(value)[:20]}: correct the formula, or empty the cell")
    if isinstance(value, bool):
        return SheetCell("yes" if value else "no")
    if isinstance(value, datetime.datetime):
        return SheetCell(value.date().isoformat(), day=value.date())
    if isinstance(value, datetime.date):
        return SheetCell(value.isoformat(), day=value)
    if isinstance(value, (datetime.time, datetime.timedelta)):
        return SheetCell(str(value))
    if isinstance(value, (int, float)):
        return _number(value, str(cell.number_format or "General"))
    return text_cell(str(value).replace("_x000D_", ""))


_FORMAT = re.compile(r"[#,0?]*[0?](?:\.(?P<decimals>[0?#]+))?(?P<percent>\s?%)?")
_NOT_SHOWN = re.compile(r"\[[^\]]*\]|_.|\*.")
_LITERAL = re.compile(r'"([^"]*)"|\\(.)')


def _number(value: int | float, number_format: str) -> SheetCell:
    """Return a number with the digits that the sheet shows.

    What was typed keeps all its digits, with the zeros that its format adds; what was calculated has more digits than
    anybody types, and is rounded as its format shows it.
    """
    exact = Decimal(repr(value))
    if not exact.is_finite() or abs(exact.adjusted()) > 30:
        return SheetCell(error="holds a number that is too large or too small to be a reading")
    shown = _NOT_SHOWN.sub("", number_format.split(";")[0])
    match = _FORMAT.search(_LITERAL.sub("", shown))
    unit = "".join(first or second for first, second in _LITERAL.findall(shown)).strip()
    if match and match["percent"]:
        exact, unit = exact * 100, "%"
    decimals = match["decimals"] or "" if match else ""
    text = f"{exact.normalize():f}"
    digits = len(text.replace(".", "").lstrip("-0"))
    written = len(text.partition(".")[2])
    if digits > _TYPED_DIGITS:
        places = len(decimals) if match else max(0, _TYPED_DIGITS - 1 - max(exact.adjusted() + 1, 1))
        text = rounded(float(exact), places)
        text = text if match else f"{Decimal(text).normalize():f}"
    elif (zeros := len(decimals.rstrip("#?")) - written) > 0:
        text += ("" if written else ".") + "0" * zeros
    return SheetCell(text, is_number=True, unit=unit if dimension_of(unit) else "")
