"""The budget on the page: a row for each influence, and a sentence that says what is missing."""

from __future__ import annotations

from pathlib import Path

from builder.figures.dyno.uncertainty_budget import result_budget
from builder.figures.evaluate import compute
from builder.publish.pages.build.uncertainty_section import uncertainty_section
from builder.publish.sheets.dyno_sheet import dyno_sheet_of
from builder.record.models.shop import Shop
from tests.support.dyno_samples import CONDITIONS, log_of, write_build


def test_the_table_and_the_sheet_give_the_budget(tmp_path: Path) -> None:
    session = f"readings: observed\nconditions: {CONDITIONS}\npulls: [{{name: first, file: dyno/a.csv}}]\n"
    build, _ = write_build(tmp_path, session, {"a.csv": log_of()})
    shop = Shop()
    sheet = compute(build, shop)
    section = uncertainty_section(build, shop, sheet)
    assert section is not None
    titles = [row[0].text for row in section.table.rows]
    assert titles == [
            "Resolution", "Barometer", "Temperature", "Humidity", "Repeatability", "Scatter of the readings",
        ]  # fmt: skip
    assert "calibration of the dyno" in section.summary
    assert sheet.session is not None
    assert sheet.session.delivered is not None
    budget = result_budget(build, shop, sheet.session.delivered).budget
    assert f"±{budget.expanded():.1%}" in section.summary
    printed = dyno_sheet_of(build, sheet, shop)
    assert printed is not None
    assert section.summary in printed.notes


def test_no_session_has_no_budget(tmp_path: Path) -> None:
    build, _ = write_build(tmp_path, "note: not run\n", {})
    assert uncertainty_section(build, Shop(), compute(build, Shop())) is None
