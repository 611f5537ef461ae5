"""A workbook is read as its cells are shown: digits, dates, percentages, units in the number format."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import Any

import pytest

from builder.record.spreadsheet.read import read_table
from builder.record.spreadsheet.table import SheetCell, SpreadsheetError, column_letter
from tests.support.hostile_spreadsheets import workbook
from tests.support.spreadsheets import write_xlsx


def cell(tmp_path: Path, value: Any, number_format: str = "General") -> SheetCell:
    path = write_xlsx(tmp_path / "x.xlsx", {"S": [[value]]}, {"A1": number_format})
    return read_table(path).rows[0][1][0]


@pytest.mark.parametrize(
    ("value", "number_format", "text"),
    [
        (3.48, "General", "3.48"), (3.48, "0.000", "3.480"), (4, "0.0", "4.0"), (4.0305, "0.00", "4.0305"),
        (6500, "#,##0", "6500"), (-0.5, "0.00", "-0.50"), (9.468712349812, "0.0", "9.5"),
        (1 / 3, "General", "0.333333333"),
        (0.1 + 0.2, "General", "0.3"), (1e-5, "General", "0.00001"), (2.5, '0.00" in"', "2.50"),
        (12, "0;[Red]-0", "12"),
    ],
)  # fmt: skip
def test_a_number_has_the_digits_that_were_typed_or_that_its_format_shows(
    tmp_path: Path, value: float, number_format: str, text: str
) -> None:
    found = cell(tmp_path, value, number_format)
    assert (found.text, found.is_number) == (text, True)


def test_a_unit_and_a_percentage_of_the_number_format(tmp_path: Path) -> None:
    assert cell(tmp_path, 4.03, '0.000" in"') == SheetCell("4.030", is_number=True, unit="in")
    assert cell(tmp_path, 4.03, '0.000" pcs"').unit == ""
    assert cell(tmp_path, 0.45, "0%") == SheetCell("45", is_number=True, unit="%")


def test_dates_words_and_errors(tmp_path: Path) -> None:
    day = cell(tmp_path, datetime.datetime(1998, 5, 17), "dd/mm/yyyy")
    assert (day.text, day.day) == ("1998-05-17", datetime.date(1998, 5, 17))
    assert cell(tmp_path, True).text == "yes"
    assert cell(tmp_path, "  two \r\n lines ").text == "two \n lines"
    formula = cell(tmp_path, "=1+1")
    assert "formula whose result was not saved" in formula.error


def test_merged_rows_and_a_sheet_that_is_not_there(tmp_path: Path) -> None:
    from openpyxl import Workbook

    book = Workbook()
    sheet = book.active
    assert sheet is not None
    for row in range(1, 6):
        sheet.append([row, "x"])
    sheet.merge_cells("A2:A4")
    book.save(tmp_path / "m.xlsx")
    table = read_table(tmp_path / "m.xlsx")
    assert [note[0] for note in table.notes] == [2]
    assert "A2:A4 are merged: only row 2 has their value" in table.notes[0][1]
    with pytest.raises(SpreadsheetError, match="has no sheet 'Jobs': its sheets are 'Sheet'"):
        read_table(tmp_path / "m.xlsx", "Jobs")


def test_rows_keep_their_numbers_where_others_are_empty(tmp_path: Path) -> None:
    path = tmp_path / "x.xlsx"
    path.write_bytes(workbook('<row r="3"><c r="B3"><v>1</v></c></row><row r="9"><c r="A9"><v>2</v></c></row>'))
    assert [(number, [each.text for each in cells]) for number, cells in read_table(path).rows] == [
        (3, ["", "1"]),
        (9, ["2"]),
    ]


def test_letters_of_columns() -> None:
    assert [column_letter(index) for index in (0, 25, 26, 51, 52, 701, 702)] == [
        "A",
        "Z",
        "AA",
        "AZ",
        "BA",
        "ZZ",
        "AAA",
    ]
