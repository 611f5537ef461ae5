"""The record as a page shows it: everything that was written, as it was written."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from builder.publish.pages.build.record_tables import Cell, Chapter, Table, chapters, table_of
from builder.record.models.parts import Part
from tests.support import view_samples as samples
from tests.support.demo_builds import SAMPLE


def _texts(all_chapters: tuple[Chapter, ...]) -> Iterator[str]:
    for chapter in all_chapters:
        for group in chapter.groups:
            for row in group.rows:
                yield from (row.title, row.cell.text, row.cell.alternate_unit or "", *row.remarks)
            for table in group.tables:
                yield from table.head
                yield from (f"{cell.text} {cell.alternate_unit or ''}" for row in table.rows for cell in row)


def _group(all_chapters: tuple[Chapter, ...], path: str) -> tuple[dict[str, Cell], tuple[Table, ...]]:
    group = next(group for chapter in all_chapters for group in chapter.groups if group.path == path)
    return {row.title: row.cell for row in group.rows}, group.tables


def test_a_value_is_as_written_and_in_the_other_system(tmp_path: Path) -> None:
    build, _ = samples.write_and_read(
        tmp_path,
        build="title: T\nengine: {cylinders: 2}\n",
        bottom_end="crankshaft: {stroke: 3.480 in}\nrods: {length: {listed: 145.00 mm, measured: 144.98 mm, by: BT}}\n",
    )
    rows, _ = _group(chapters(build), "bottom_end.crankshaft")
    assert (rows["Stroke"].text, rows["Stroke"].alternate_unit) == (
        "3.480\N{NO-BREAK SPACE}in",
        "88.39\N{NO-BREAK SPACE}mm",
    )
    all_chapters = chapters(build, both_systems=False)
    assert _group(all_chapters, "bottom_end.crankshaft")[0]["Stroke"].alternate_unit is None
    texts = list(_texts(all_chapters))
    assert "144.98\N{NO-BREAK SPACE}mm" in texts
    assert "listed 145.00\N{NO-BREAK SPACE}mm" in texts
    assert "by BT" in texts


def test_a_section_of_one_line_is_a_row(tmp_path: Path) -> None:
    build, _ = samples.write_and_read(
        tmp_path,
        build="title: T\nengine: {cylinders: 2}\n",
        top_end="exhaust: two into one\nignition: {kind: magneto, description: fixed advance}\n",
    )
    rows, _ = _group(chapters(build), "top_end")
    assert {title: cell.text for title, cell in rows.items()} == {"Exhaust": "two into one"}
    rows, _ = _group(chapters(build), "top_end.ignition")
    assert {title: cell.text for title, cell in rows.items()} == {"Description": "fixed advance", "Kind": "magneto"}


def test_readings_at_every_position_are_a_table_that_marks_those_out_of_range(tmp_path: Path) -> None:
    build, _ = samples.write_and_read(
        tmp_path,
        build="title: T\nengine: {cylinders: 2}\n",
        assembly="fits: {piston_clearance: {unit: mm, allowed: 0.04..0.06, measured: [0.050, 0.071]}}\n",
    )
    _, (table,) = _group(chapters(build), "assembly.fits")
    assert table.head == ("Reading", "Unit", "1", "2", "Allowed")
    (row,) = table.rows
    assert [cell.text.replace("\N{NO-BREAK SPACE}", " ") for cell in row] == [
        "Piston clearance",
        "mm",
        "0.050",
        "0.071",
        "0.04 to 0.06 mm",
    ]
    assert [cell.out_of_range for cell in row] == [False, False, False, True, False]


def test_a_date_stays_on_one_line_and_long_text_is_prose(tmp_path: Path) -> None:
    build, _ = samples.write_and_read(
        tmp_path,
        build="title: T\nstarted: 2024-01-22\nengine: {cylinders: 2}\n",
        assembly=f"note: {'word ' * 40}\n",
    )
    assert _group(chapters(build), "build")[0]["Started"].nowrap
    assert _group(chapters(build), "assembly")[0]["Note"].long_text


def test_a_column_without_values_is_left_out() -> None:
    table = table_of("Parts", (Part(part="pistons", maker="Larkmoor"), Part(part="rods")), both=False)
    assert table is not None
    assert table.head == ("Part", "Maker")
    assert [[cell.text for cell in row] for row in table.rows] == [["pistons", "Larkmoor"], ["rods", ""]]


@pytest.mark.parametrize("slug", SAMPLE)
def test_no_demo_build_has_private_text(slug: str) -> None:
    build, _ = samples.build_and_sheet(slug)
    texts = " ".join(_texts(chapters(build)))
    for private in ("barpilots", "PM 118", "L16-40772", "Third wrong box", "Bill after", "Dorrit"):
        assert private not in texts


def test_a_column_is_numeric_when_every_filled_cell_is_a_number() -> None:
    one, text, empty = Cell("1", number=True), Cell("a"), Cell("")
    table = Table(
        "T", ("Name", "All", "Some", "Mixed", "None"), ((one, one, empty, one, empty), (one, one, one, text, empty))
    )
    assert table.numeric_columns == (1, 2)
    assert table.without_empty_columns().head == ("Name", "All", "Some", "Mixed")


def test_a_chapter_says_what_is_in_it(tmp_path: Path) -> None:
    build, _ = samples.write_and_read(
        tmp_path,
        build="title: T\nengine: {cylinders: 2}\ngoals: more torque\n",
        bottom_end="crankshaft: {stroke: 3.480 in}\noil_system: {pump: gear}\n",
        top_end="ignition: points, one coil\n",
    )
    contents = {chapter.name: chapter.contents for chapter in chapters(build)}
    assert contents["bottom_end"] == "crankshaft, oil system"
    # One thing alone, a section in one line or not, is what the chapter shows; the goals have a section of their own.
    assert (contents["top_end"], contents["build"], contents["cam"]) == ("", "", "")
    again, _ = samples.write_and_read(tmp_path, top_end="ignition: points, one coil\ngasket: {thickness: 1.0 mm}\n")
    assert {chapter.name: chapter.contents for chapter in chapters(again)}["top_end"] == "gasket, ignition"
