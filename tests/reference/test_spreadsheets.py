"""Spreadsheets against pandas: what it writes is read cell by cell, and what is exported it reads back.

Source: pandas, `DataFrame.to_excel`, `DataFrame.to_csv` and `read_excel` (https://pandas.pydata.org/docs/reference/io.html).
"""

from __future__ import annotations

import datetime
from pathlib import Path

import numpy as np
import pandas
import pytest

from builder.archive.spreadsheet import export_xlsx
from builder.record.load import build_folders, read_build
from builder.record.spreadsheet.read import read_table
from tests.support.spreadsheets import import_sheet, imported

ROOT = Path(__file__).resolve().parents[2]


def _frame(rows: int = 300) -> pandas.DataFrame:
    rng = np.random.default_rng(23)
    return pandas.DataFrame({
        "Job": [f"{i:04}" for i in range(rows)],
        "Engine": [f"Engine {i}, é ß" for i in range(rows)],
        "Cyl": rng.integers(1, 13, rows),
        "Date finished": pandas.to_datetime("1985-01-01") + pandas.to_timedelta(rng.integers(0, 12_000, rows), "D"),
        "Bore (in)": np.round(rng.uniform(2, 5, rows), 4),
        "Stroke (mm)": np.round(rng.uniform(50, 120, rows), 2),
        "Notes": ["" if i % 3 else "a; b" for i in range(rows)],
    })  # fmt: skip


def _compare(archive: Path, frame: pandas.DataFrame) -> None:
    for _, row in frame.iterrows():
        build = imported(archive, f"{row['Job']}-engine-{int(row['Job'])}-e-ss")
        assert build.cylinders == row["Cyl"]
        assert build.build.finished == row["Date finished"].date()
        bore, stroke = (build.get(f"bottom_end.{path}").listed for path in ("block.bores", "crankshaft.stroke"))
        assert (float(bore.number), bore.unit) == (row["Bore (in)"], "in")
        assert (float(stroke.number), stroke.unit) == (row["Stroke (mm)"], "mm")
        assert build.build.private_notes == (row["Notes"] or None)


def test_a_workbook_of_pandas_is_imported_value_by_value(tmp_path: Path) -> None:
    frame = _frame()
    frame.to_excel(tmp_path / "engines.xlsx", sheet_name="Jobs", index=False, startrow=3)
    report = import_sheet(tmp_path, tmp_path / "engines.xlsx")
    assert report.ok
    _compare(tmp_path, frame)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
@pytest.mark.parametrize(("separator", "decimal"), [(",", "."), (";", ","), ("\t", ","), (";", ".")])
def test_a_csv_file_of_pandas_is_read_in_each_dialect(
    tmp_path: Path, encoding: str, separator: str, decimal: str
) -> None:
    frame = _frame(12)
    path = tmp_path / "engines.csv"
    frame.to_csv(path, index=False, sep=separator, decimal=decimal, encoding=encoding, date_format="%d.%m.%Y")
    report = import_sheet(tmp_path, path)
    assert report.ok, report.problems
    _compare(tmp_path, frame)


def test_every_cell_of_a_workbook_is_the_one_that_pandas_reads(tmp_path: Path) -> None:
    rng = np.random.default_rng(7)
    values = pandas.DataFrame({"a": rng.uniform(-1e6, 1e6, 200), "b": rng.integers(-(10**9), 10**9, 200),
                               "c": np.round(rng.uniform(0, 1, 200), 3)})  # fmt: skip
    values.to_excel(tmp_path / "x.xlsx", index=False)
    again = pandas.read_excel(tmp_path / "x.xlsx")
    table = read_table(tmp_path / "x.xlsx")
    assert [cell.text for cell in table.rows[0][1]] == list(again.columns)
    for (_, cells), (_, row) in zip(table.rows[1:], again.iterrows(), strict=True):
        assert float(cells[0].text) == pytest.approx(row["a"], rel=1e-9)  # calculated: eleven digits
        assert int(cells[1].text) == row["b"]
        assert float(cells[2].text) == row["c"]


def test_pandas_reads_what_is_exported(tmp_path: Path) -> None:
    assert export_xlsx(ROOT, tmp_path / "archive.xlsx").ok
    frame = pandas.read_excel(tmp_path / "archive.xlsx", sheet_name="Builds").set_index("Folder")
    compared = 0
    for folder in build_folders(ROOT):
        build, _ = read_build(folder, ROOT)
        assert build is not None
        if build.build.status != "finished":
            assert folder.name not in frame.index
            continue
        row = frame.loc[folder.name]
        assert row["Title"] == build.build.title
        assert row["Cylinders"] == build.cylinders
        if build.build.finished:
            assert row["Finished"] == datetime.datetime.combine(build.build.finished, datetime.time())
        stroke = build.get("bottom_end.crankshaft.stroke")
        if stroke is not None and stroke.is_plain:
            assert row[f"Stroke ({stroke.listed.unit})"] == float(stroke.listed.number)
            compared += 1
    assert compared >= 3
