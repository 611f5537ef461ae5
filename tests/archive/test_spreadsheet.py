"""The archive as a spreadsheet: every value and unit comes back, nothing private, no formula."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from openpyxl import load_workbook

from builder.archive.spreadsheet import EXPORTED, PRIVATE, export_xlsx
from builder.record.load import build_folders, read_build
from builder.record.models.build import DOCUMENTS, Build
from builder.record.quantities.readings import Reading
from builder.record.quantities.units import Quantity
from builder.record.redaction import without_private
from builder.record.spreadsheet.headings import read_heading
from tests.support.spreadsheets import import_sheet, imported
from tests.support.tiny_archive import write_build

ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.parametrize(("path", "heading"), {**EXPORTED, **PRIVATE}.items())
def test_every_heading_is_read_back_as_its_field(path: str, heading: str) -> None:
    durations = path.endswith("durations")
    target = read_heading(f"{heading} at 0.050 in" if durations else heading).target
    assert target is not None
    assert target.path == (f"{path}[0.050 in].duration" if durations else path)


def test_no_field_of_the_public_sheet_is_private() -> None:
    for path in EXPORTED:
        target = read_heading(f"{EXPORTED[path]}{' at 0.050 in' if path.endswith('durations') else ''}").target
        assert target is not None
        assert target.notes.private is None


def _values(build: Build) -> Iterator[tuple[str, Any]]:
    """Yield what the sheet has of a build: every number with its unit, every text, by the path of its field."""
    for path in EXPORTED:
        value = build.get(path if path.partition(".")[0] in DOCUMENTS else f"build.{path}")
        if isinstance(value, Reading):
            for key in ("listed", "measured", "repeats", "allowed", "at_least", "at_most"):
                part = getattr(value, key)
                yield f"{path}.{key}", tuple(map(_quantity, part)) if isinstance(part, tuple) else _quantity(part)
        elif isinstance(value, tuple):
            yield path, {duration.at: _quantity(duration.duration) for duration in value}
        else:
            yield path, _quantity(value)


def _quantity(value: Any) -> Any:
    if isinstance(value, Quantity):
        return float(value.number), value.step, value.unit, value.fraction
    if hasattr(value, "minimum"):
        return _quantity(value.minimum), _quantity(value.maximum)
    return getattr(value, "text", value)


def test_a_round_trip_gives_back_every_value_and_unit_of_the_demo_archive(tmp_path: Path) -> None:
    sheet = tmp_path / "archive.xlsx"
    assert export_xlsx(ROOT, sheet).ok
    report = import_sheet(tmp_path, sheet)
    assert report.ok, report.problems
    assert not [problem for problem in report.problems if "left out" in problem.message]
    again = {
        build.build.title: build for folder in build_folders(tmp_path) if (build := imported(tmp_path, folder.name))
    }
    compared = 0
    for folder in build_folders(ROOT):
        build, _ = read_build(folder, ROOT)
        assert build is not None
        if build.build.status != "finished":
            continue
        before = dict(_values(without_private(build)))
        assert dict(_values(again[build.build.title])) == before
        compared += sum(value is not None for value in before.values())
    assert compared > 400


def test_only_what_is_public_is_written_unless_it_is_for_the_shop(tmp_path: Path) -> None:
    folder = write_build(tmp_path, "one")
    sheet = (folder / "build.yaml").read_text()
    (folder / "build.yaml").write_text(
        sheet + "customer: {name: H. Fenwick}\nprice: 4800\nprivate_notes: '=SECRET()'\n"
    )
    (write_build(tmp_path, "two") / "build.yaml").write_text(sheet.replace("finished", "in progress", 1))
    assert export_xlsx(tmp_path, tmp_path / "public.xlsx").ok
    assert export_xlsx(tmp_path, tmp_path / "shop.xlsx", shop_edition=True).ok
    public, shop = (load_workbook(tmp_path / name)["Builds"] for name in ("public.xlsx", "shop.xlsx"))
    texts = {str(cell.value) for row in public.iter_rows() for cell in row}
    assert public.max_row == 2
    assert not texts & {"H. Fenwick", "4800", "=SECRET()", "Customer"}
    assert shop.max_row == 3
    assert {"H. Fenwick", "4800", "=SECRET()"} <= {str(cell.value) for row in shop.iter_rows() for cell in row}


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1+2", "@SUM(A1)", "=cmd|'/c calc'!A1", '=HYPERLINK("http://x")'])
def test_no_text_of_a_record_becomes_a_formula(tmp_path: Path, text: str) -> None:
    folder = write_build(tmp_path, "one")
    sheet = (folder / "build.yaml").read_text().replace("title: Engine one", "title: '" + text.replace("'", "''") + "'")
    (folder / "build.yaml").write_text(sheet)
    assert export_xlsx(tmp_path, tmp_path / "out.xlsx").ok
    book = load_workbook(tmp_path / "out.xlsx")
    cells = [cell for row in book["Builds"].iter_rows() for cell in row]
    (title,) = [cell for cell in cells if cell.value == text]
    assert title.data_type == "s"
    assert title.quotePrefix
    assert all(cell.data_type != "f" for cell in cells)


def test_a_file_that_exists_is_left_as_it_is(tmp_path: Path) -> None:
    write_build(tmp_path, "one")
    path = tmp_path / "out.xlsx"
    path.write_text("mine")
    report = export_xlsx(tmp_path, path)
    assert not report.ok
    assert path.read_text() == "mine"
    assert not export_xlsx(tmp_path, tmp_path / "out.csv").ok
    assert {entry.name for entry in tmp_path.iterdir()} == {"builds", "out.xlsx"}
