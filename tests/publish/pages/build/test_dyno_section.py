"""The dyno session in words and tables."""

from __future__ import annotations

import csv
import shutil
from pathlib import Path

from builder.figures.core.inputs import Context
from builder.figures.definitions import REGISTRY
from builder.figures.evaluate import compute
from builder.publish.pages.build.cautions_section import caution_lines
from builder.publish.pages.build.dyno_charts import session_charts
from builder.publish.pages.build.dyno_section import DynoSection, dyno_section
from builder.record.load import read_build
from tests.support import view_samples as samples
from tests.support.dyno_samples import CONDITIONS, RPM, log_of, session_of, torque_curve


def _section(slug: str) -> DynoSection:
    _, sheet = samples.build_and_sheet(slug)
    assert sheet.session is not None
    return dyno_section(sheet.session, sheet.system)


def test_every_pull_has_its_row_with_its_peaks_and_what_was_changed() -> None:
    build, _ = samples.build_and_sheet("pilot-launch-four")
    section = _section("pilot-launch-four")
    assert [row[0].text for row in section.pulls.rows] == [pull.name for pull in build.pulls]
    assert all(len(row) == len(section.pulls.head) for row in section.pulls.rows)
    row = next(row for row in section.pulls.rows if row[0].text == "130 jets")
    assert row[1].text == "main jets 125 to 130 (since 125 jets)"
    power = row[section.pulls.head.index("Peak power")]
    assert power.text.endswith("kW")
    assert power.alternate_unit is not None
    assert power.alternate_unit.startswith("at 4,")
    assert next(row for row in section.pulls.rows if row[0].text == "130 jets again")[1].text == "repeats 130 jets"


def test_timing_and_knock_of_a_pull_are_columns_where_they_were_recorded(tmp_path: Path) -> None:
    pull = "{name: first, file: dyno/a.csv, total_timing: 32 deg, knock: light at 4200 rpm, private_note: own ears}"
    record = f"readings: observed\nconditions: {CONDITIONS}\npulls:\n  - {pull}\n"
    table = dyno_section(session_of(tmp_path, record, {"a.csv": log_of()}), "metric").pulls
    row = dict(zip(table.head, (cell.text for cell in table.rows[0]), strict=True))
    assert row["Timing"].replace("\N{NO-BREAK SPACE}", " ") == "32° BTDC"
    assert row["Knock"] == "light at 4200 rpm"
    assert "own ears" not in str(table)
    assert not {"Timing", "Knock"} & set(_section("pilot-launch-four").pulls.head)


def test_a_verdict_is_a_sentence_with_its_chart() -> None:
    build, sheet = samples.build_and_sheet("breakdown-truck-v8")
    section = _section("breakdown-truck-v8")
    assert section.changes[0].title == "Rebored, roller cam, heads"
    assert section.changes[0].verdict.startswith("+67")
    assert all(verdict.verdict.endswith(".") for verdict in section.changes)
    charts = {chart.request.name for chart in session_charts(Context(build, samples.shop(), REGISTRY), sheet.session)}
    names = {verdict.chart for verdict in section.changes if verdict.chart}
    assert names
    assert names <= charts


def test_the_page_says_where_the_scatter_comes_from() -> None:
    assert _section("pilot-launch-four").scatter.endswith("from 1 repeat pull of this session and common practice.")
    assert "is assumed (common practice); no repeat pulls" in _section("climb-special-six").scatter


def test_a_pull_that_does_not_count_has_a_remark_with_the_reason() -> None:
    assert any("number 7 came off" in remark for remark in _section("breakdown-truck-v8").remarks)


def test_a_setting_still_improving_at_the_last_level_has_a_caution(tmp_path: Path) -> None:
    record = f"readings: observed\nconditions: {CONDITIONS}\npulls:\n" + "".join(
        f"  - {{name: t{level}, file: dyno/{level}.csv, setting: {{name: total timing, level: {level} deg}}}}\n"
        for level in (26, 28, 30, 32)
    )
    logs = {f"{level}.csv": log_of(torque_curve(RPM, 4.0 * level)) for level in (26, 28, 30, 32)}
    (setting,) = dyno_section(session_of(tmp_path, record, logs), "metric").settings
    assert "detonation" in setting.caution


def test_a_setting_has_a_chart_for_every_result() -> None:
    build, sheet = samples.build_and_sheet("hydroplane-two-stroke")
    (setting,) = _section("hydroplane-two-stroke").settings
    assert setting.title == "Tuned length of the pipes"
    charts = {chart.request.name for chart in session_charts(Context(build, samples.shop(), REGISTRY), sheet.session)}
    assert {name for _, name in setting.verdicts} <= charts


def test_derived_channels_are_drawn_with_their_guidelines() -> None:
    """A log of air-fuel ratio, of every cylinder's exhaust, and of blow-by with the air taken in."""
    build, sheet = samples.build_and_sheet("breakdown-truck-v8")
    (description,) = [
        chart.request.draw().description
        for chart in session_charts(Context(build, samples.shop(), REGISTRY), sheet.session)
        if chart.request.name == "channels"
    ]
    panels = {text.split(":")[0] for text in description.split(". ") if ":" in text}
    assert {"Lambda", "Exhaust temperature, hottest", "Exhaust spread of the cylinders"} <= panels
    assert {"Blow-by, share of the air", "Oil temperature", "Coolant temperature"} <= panels
    assert "Blow-by" not in panels
    assert description.count("Guideline") == 7
    assert "Caution" not in description


def test_boost_and_the_hottest_cylinder_are_drawn(tmp_path: Path) -> None:
    folder = tmp_path / "builds" / "sprint-e85-four"
    shutil.copytree(samples.ROOT / "builds" / "sprint-e85-four", folder)
    for log in (folder / "dyno").glob("*.csv"):
        head, *rows = csv.reader(log.read_text(encoding="utf-8").splitlines())
        third = head.index("EGT 3 [degC]")
        for row in rows:
            row[third] = str(float(row[third]) + 90)
        with log.open("w", encoding="utf-8", newline="") as file:
            csv.writer(file).writerows([[*head, "Boost [psi]"], *([*row, "6.5"] for row in rows)])
    build, problems = read_build(folder, tmp_path)
    assert build is not None, problems
    sheet = compute(build, samples.shop())
    (description,) = [
        chart.request.draw().description
        for chart in session_charts(Context(build, samples.shop(), REGISTRY), sheet.session)
        if chart.request.name == "channels"
    ]
    assert "Boost: as delivered 44.8 to 44.8 kPa" in description  # 6.5 psi of 6.894757 kPa each: NIST SP 811
    (violation,) = (item for item in sheet.session.violations if item.pull == "as delivered")  # type: ignore[union-attr]
    assert "cylinder 3 hottest" in violation.text
    assert any("cylinder 3 hottest" in line.sentence for line in caution_lines(build, sheet))
    (note,) = [note for note in dyno_section(sheet.session, sheet.system).remarks if "cylinder 3 hottest" in note]
    assert "on 5 pulls" in note

    assert f"Caution: {violation.value:.0f} °C at {60 * violation.speed:,.0f} rpm." in description


def test_the_pulls_of_the_delivered_state_are_marked() -> None:
    rows = _section("methanol-speed-single").pulls.rows
    marked = [row[0].text for row in rows if row[0].alternate_unit == "as delivered"]
    assert marked == ["jet 205", "jet 205, second time", "jet 205, third time", "jet 205, fourth time"]


def test_pulls_with_several_changes_are_marked_and_drift_is_explained() -> None:
    assert [change.changes for change in _section("breakdown-truck-v8").changes] == [3, 1, 1, 2]
    assert [change.changes for change in _section("climb-special-six").changes] == [1, 1]
    (_, removed) = _section("methanol-speed-single").changes
    assert removed.drift == "Baseline pulled again after the change: a steady drift is removed."


def test_the_mean_is_stated_once() -> None:
    section = _section("breakdown-truck-v8")
    for change in section.changes:
        assert ("averaged over" in change.verdict) != bool(change.mean)


def test_channels_of_each_cylinder_are_drawn_one_by_one() -> None:
    build, sheet = samples.build_and_sheet("breakdown-truck-v8")
    (chart,) = [
        chart
        for chart in session_charts(Context(build, samples.shop(), REGISTRY), sheet.session)
        if chart.request.name == "cylinders"
    ]
    description = chart.request.draw().description
    assert all(f"Cylinder {number} " in description for number in range(1, 9))
    assert "Lambda by cylinder" not in description
    assert chart.readout is not None
    assert len(chart.readout.series) == 8
