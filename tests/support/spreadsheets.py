"""Spreadsheets to import: a shop's list of jobs as CSV and as XLSX, and the import of one."""

from __future__ import annotations

import csv
import datetime
import io
import random
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from builder.record.load import read_build
from builder.record.models.build import Build
from builder.record.report import CommandReport
from builder.record.spreadsheet.import_plan import plan_import, propose_map
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


def import_sheet(archive: Path, path: Path, text: str | None = None, *, dry_run: bool = False) -> CommandReport:
    """Import a spreadsheet with the map in ``text``, or with the map that is proposed for it."""
    map_path = archive / f"{path.stem}.map.yaml"
    if text is not None:
        map_path.write_text(text, encoding="utf-8")
    elif not map_path.exists():
        report = propose_map(archive, path)
        if not report.ok:
            return report
    plan, problems = plan_import(archive, path, map_path)
    return CommandReport(problems, (), ok=False) if plan is None else carry_out(plan, dry_run=dry_run)


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


def job_list(count: int = 30) -> list[list[Any]]:
    """Return a job list as shops keep them: a title above, no units, gaps, words among numbers, a total below."""
    rng = random.Random(4)
    engines = (("Kestrel 4", "I4", 4.0, 3.48, 5.7), ("Dapplegate", "flat 4", 3.041, 2.75, 5.2),
               ("Merlin Marine", "V8", 4.155, 3.75, 6.135), ("Pennant six", "I6", 3.56, 3.5, 5.8))  # fmt: skip
    headings = ["Job No.", "Customer", "Phone", "Engine", "Config", "Used in", "In", "Out", "Bore", "Stroke", "Rods",
                "C.R.", "Chambers (cc)", "Head gasket", "Cam", "Duration @ .050 int/exh", "Lift int", "Lift exh", "LSA",
                "Mains", "Rod brgs", "Pist. to wall", "Ring gap top", "Carb", "Fuel", "Timing", "HP", "Oil", "Paid",
                "Remarks"]  # fmt: skip
    rows: list[list[Any]] = [["Millpond Engine Works, jobs"], [], headings]
    day = datetime.date(1994, 3, 1)
    for number in range(1, count + 1):
        name, layout, bore, stroke, rod = rng.choice(engines)
        day += datetime.timedelta(days=rng.randint(40, 300))
        rows.append([
            f"{day.year % 100:02}-{number:03}", rng.choice(("H. Fenwick", "J. Marsh", None)), f"555-01{number:02}",
            f"{name} {rng.choice(('launch', 'pickup', 'sprint'))}", layout, rng.choice(("boat", "road")), day,
            day + datetime.timedelta(days=30), round(bore + rng.choice((0, 0.02, 0.03)), 4), stroke, rod,
            round(rng.uniform(8, 11), 1), round(rng.uniform(58, 76), 1), rng.choice((0.039, '0.040"', None)),
            rng.choice(("HC 218", "stock")), rng.choice(("218/224", "230/236", None)), 0.45, rng.choice((0.45, 0.512)),
            108, rng.choice((0.0025, ".0022-.0026", "ok")), rng.choice((0.0022, "?")), rng.choice((0.0035, "4 thou")),
            0.018, "4 bbl 600", rng.choice(("pump", "petrol", "98")), rng.choice((32, 34, "34 @ 3000")),
            rng.choice((None, 212, "330 @ 5400")), "20W-50", rng.choice((1800, "2400 cash", None)),
            rng.choice((None, "leaks at rear seal, came back")),
        ])  # fmt: skip
    return [*rows, ["TOTAL"]]
