"""The degree wheel and the bore gauge card."""

from __future__ import annotations

from pathlib import Path

from builder.publish.pages.build.gauging_tables import bore_tables, degreeing_remarks, degreeing_tables
from tests.support import view_samples as samples


def test_the_centerline_is_the_middle_of_its_two_readings() -> None:
    """Common practice, no source: equal lift either side of the nose; (71 + 141) / 2 is 106."""
    build, _ = samples.build_and_sheet("pilot-launch-four")
    peaks, events = degreeing_tables(build)
    assert [cell.text for cell in peaks.rows[0]] == [
        "Intake",
        "5.00\N{NO-BREAK SPACE}mm",
        "71.0°",
        "141.0°",
        "106°",
        "107°",
        "−1°",
    ]
    assert [row[4].text for row in peaks.rows] == ["106°", "105.75°", "112.25°"]
    assert [row[0].text for row in events.rows] == ["seat", "1 mm"]


def test_bores_have_the_last_digit_of_the_gauge() -> None:
    build, _ = samples.build_and_sheet("pilot-launch-four")
    table = bore_tables(build).get("work.bore_gauging")
    assert table is not None
    assert table.head[:3] == ("Cylinder", "top, across", "top, along")
    assert {len(cell.text.partition(".")[2]) for row in table.rows for cell in row[1:]} == {3}
    assert any(cell.text.endswith("0") for row in table.rows for cell in row[1:])


def test_without_gauging_there_is_no_table(tmp_path: Path) -> None:
    build, _ = samples.write_and_read(tmp_path, build="title: T\nengine: {cylinders: 4}\n")
    assert degreeing_tables(build) == ()
    assert degreeing_remarks(build) == ""
    assert bore_tables(build) == {}
