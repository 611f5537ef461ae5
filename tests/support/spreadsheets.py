"""Spreadsheets to import: a shop's list of jobs as CSV and as XLSX, and the import of one."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from builder.record.load import read_build
from builder.record.models.build import Build
from builder.record.spreadsheet.import_plan import ImportReport, plan_import, propose_map
from builder.record.spreadsheet.importer import carry_out

HEADINGS = ("Job", "Engine", "Customer", "Finished", "Cylinders", "Bore (in)", "Stroke (in)", "Notes")
ROWS = (
    ("0142", "Pilot launch", "H. Fenwick", "1998-05-17", "4", "4.0305", "3.480", "paid half in advance"),
    ("0143", "Post van", "J. Marsh", "1999-06-18", "4", "3.750", "3.250", ""),
    ("0150", "Offshore", "", "2001-02-03", "8", "4.155", "3.750", "fuel cell by the owner"),
)


def csv_bytes(rows: Sequence[Sequence[str]], delimiter: str = ",", encoding: str = "utf-8") -> bytes:
    """Return rows as a CSV file."""
    out = io.StringIO()
    csv.writer(out, delimiter=delimiter).writerows(rows)
    return out.getvalue().encode(encoding)


def write_xlsx(path: Path, sheets: dict[str, Sequence[Sequence[Any]]], formats: dict[str, str] | None = None) -> Path:
    """Write sheets of values as a workbook; ``formats`` are number formats by cell of the first sheet."""
    from openpyxl import Workbook

    book = Workbook()
    book.remove(book.active)
    for title, rows in sheets.items():
        sheet = book.create_sheet(title)
        for row in rows:
            sheet.append(list(row))
    for cell, number_format in (formats or {}).items():
        book.worksheets[0][cell].number_format = number_format
    book.save(path)
    return path


def import_sheet(archive: Path, path: Path, text: str | None = None, *, dry_run: bool = False) -> ImportReport:
    """Import a spreadsheet with the map in ``text``, or with the map that is proposed for it."""
    map_path = archive / f"{path.stem}.map.yaml"
    if text is not None:
        map_path.write_text(text, encoding="utf-8")
    elif not map_path.exists():
        report = propose_map(archive, path)
        if not report.ok:
            return report
    plan, problems = plan_import(archive, path, map_path)
    return ImportReport(problems, (), ok=False) if plan is None else carry_out(plan, dry_run=dry_run)


def imported(archive: Path, slug: str) -> Build:
    """Return a build of the archive, which has to be without an error."""
    build, problems = read_build(archive / "builds" / slug, archive)
    assert build is not None, problems
    return build


def long_list(count: int) -> list[list[Any]]:
    """Return a list of jobs with 33 columns, as a shop has that measured everything."""
    headings = ["Job", "Engine", "Customer", "Date in", "Date finished", "Cyl", "Config", "Family", "Use", "Bore (in)",
                "Stroke (in)", "Rod length (in)", "Comp height (in)", "Dish cc", "Deck clearance (in)", "Chamber cc",
                "Gasket thickness (in)", "Gasket bore (in)", "Rocker ratio", "LSA", "Int dur @ .050", "Exh dur @ .050",
                "Intake lobe lift (in)", "Main clearance (in)", "Rod clearance (in)", "Piston clearance (in)",
                "Top ring gap (in)", "Fuel", "Octane", "Total timing", "Plug gap (in)", "Notes", "Price"]  # fmt: skip
    values = ["H. Fenwick", "1998-01-02", "1998-05-17", 8, "V8", "Kestrel", "marine", 4.0305, 3.48, 5.7, 1.558, 6.2,
              0.006, 64.2, 0.039, 4.1, 1.5, 108, 230, 236, 0.335, 0.0026, 0.0024, 0.004, 0.02, "pump gas", "98 RON",
              34, 0.035, "paid", "4800"]  # fmt: skip
    return [headings, *([f"{i:04}", f"Engine {i}", *values] for i in range(1, count + 1))]
