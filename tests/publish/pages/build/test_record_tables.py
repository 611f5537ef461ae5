"""The record as a page shows it: everything that was written, as it was written."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from builder.publish.pages.build.record_tables import Cell, Chapter, Table, chapters, table_of
from builder.record.models.parts import Part
from tests.support import view_samples as samples


def _texts(found: tuple[Chapter, ...]) -> Iterator[str]:
    for chapter in found:
        for group in chapter.groups:
            for row in group.rows:
                yield from (row.title, row.cell.text, row.cell.alternate_unit or "", *row.remarks)
            for table in group.tables:
                yield from table.head
                yield from (f"{cell.text} {cell.alternate_unit or ''}" for row in table.rows for cell in row)


def _group(found: tuple[Chapter, ...], path: str) -> tuple[dict[str, Cell], tuple[Table, ...]]:
    group = next(group for chapter in found for group in chapter.groups if group.path == path)
    return {row.title: row.cell for row in group.rows}, group.tables


def test_a_value_stands_as_written_with_the_other_system_beside_it(tmp_path: Path) -> None:
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
    found = chapters(build, both_systems=False)
    assert _group(found, "bottom_end.crankshaft")[0]["Stroke"].alternate_unit is None
    said = list(_texts(found))
    assert "144.98\N{NO-BREAK SPACE}mm" in said
    assert "listed 145.00\N{NO-BREAK SPACE}mm" in said
    assert "by BT" in said


def test_readings_at_every_position_make_a_table_and_mark_what_is_out(tmp_path: Path) -> None:
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


def test_a_day_is_kept_on_one_line_and_long_text_is_prose(tmp_path: Path) -> None:
    build, _ = samples.write_and_read(
        tmp_path,
        build="title: T\nstarted: 2024-01-22\nengine: {cylinders: 2}\n",
        assembly=f"note: {'word ' * 40}\n",
    )
    assert _group(chapters(build), "build")[0]["Started"].nowrap
    assert _group(chapters(build), "assembly")[0]["Note"].long_text


def test_a_column_that_nobody_filled_in_is_left_out() -> None:
    table = table_of("Parts", (Part(part="pistons", maker="Larkmoor"), Part(part="rods")), both=False)
    assert table is not None
    assert table.head == ("Part", "Maker")
    assert [[cell.text for cell in row] for row in table.rows] == [["pistons", "Larkmoor"], ["rods", ""]]


@pytest.mark.parametrize("slug", samples.slugs())
def test_no_demo_build_shows_a_private_word(slug: str) -> None:
    build, _ = samples.build_and_sheet(slug)
    said = " ".join(_texts(chapters(build)))
    for private in ("barpilots", "PM 118", "L16-40772", "Third wrong box", "Bill after", "Dorrit"):
        assert private not in said
