"""Parts as received."""

from __future__ import annotations

from builder.publish.pages.build.parts_section import part_rows
from tests.support import view_samples as samples


def test_a_used_part_that_nobody_checked_and_a_returned_one_are_marked() -> None:
    build, _ = samples.build_and_sheet("pilot-launch-four")
    rows = {row.title: row for row in part_rows(build)}
    assert rows["Raw-water pump"].unchecked
    assert [title for title, row in rows.items() if row.rejected] == ["Pistons, first set"]
    assert sum(row.unchecked for row in rows.values()) == 1
    (height,) = [check for check in rows["Pistons, first set"].checks if check.startswith("compression height")]
    assert "36.60, 36.57, 36.59, 36.56\N{NO-BREAK SPACE}mm" in height
    assert "listed 38.10\N{NO-BREAK SPACE}mm" in height
