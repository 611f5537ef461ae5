"""Clearances and checks: range, readings, verdict and chart."""

from __future__ import annotations

from pathlib import Path

import pytest

from builder.publish.pages.build.charts import charts_for
from builder.publish.pages.build.clearances_section import clearance_rows
from builder.publish.pages.build.page_chart import chart_guard
from tests.support import view_samples as samples
from tests.support.demo_builds import SAMPLE

BUILD = "title: T\nengine: {cylinders: 4}\n"


def test_a_clearance_has_its_range_its_readings_and_its_verdict(tmp_path: Path) -> None:
    _build, sheet = samples.write_and_read(
        tmp_path,
        build=BUILD,
        assembly="fits:\n  piston_clearance: {unit: mm, allowed: 0.040..0.060, rule: sheet, by: IV,\n"
        "    measured: [0.045, 0.050, 0.055, 0.071]}\n",
    )
    (row,) = clearance_rows(sheet.clearances, "fit")
    assert (row.allowed, row.authority) == ("0.040 to 0.060\N{NO-BREAK SPACE}mm", "sheet")
    assert [text.split("\N{NO-BREAK SPACE}")[0] for text in (row.minimum, row.maximum)] == ["0.045", "0.071"]
    assert row.out_of_range
    assert row.verdict == "out of spec at cylinder 4"
    assert row.remarks == ("by IV",)
    # The mean of the four is 0.05525: 76 % of the way through the range.
    assert row.place_text == "76 %"
    assert row.gauge_svg.count("<path") == 4


def test_an_accepted_clearance_names_who_accepted_it_and_why() -> None:
    _build, sheet = samples.build_and_sheet("offshore-v8")
    rows = clearance_rows(sheet.clearances, "fit", "bore", "joint")
    outside = [row for row in rows if row.out_of_range]
    assert outside
    for row in outside:
        assert row.verdict.startswith("out of spec")
        assert row.verdict.endswith(", accepted")
        assert any(remark.startswith("accepted by ") and ": " in remark for remark in row.remarks)


def test_a_range_with_one_end_has_no_gauge() -> None:
    _build, sheet = samples.build_and_sheet("pilot-launch-four")
    row = next(r for r in clearance_rows(sheet.clearances, "fit") if r.title == "Top ring gap")
    assert (row.gauge_svg, row.place_text) == ("", "")


@pytest.mark.parametrize("slug", SAMPLE)
def test_every_clearance_with_several_readings_has_a_chart_of_its_range(slug: str) -> None:
    build, sheet = samples.build_and_sheet(slug)
    clearances = [clearance for clearance in sheet.clearances if len(clearance.readings) > 1]
    all_charts = charts_for(build, sheet, samples.shop(), chart_guard(build.slug))
    charts = [chart for chart in all_charts if chart.section == "readings"]
    assert len(charts) == len(clearances)
    for clearance, chart in zip(clearances, charts, strict=True):
        assert clearance.title in chart.caption
    names = [chart.request.name for chart in all_charts]
    assert len(names) == len(set(names))
