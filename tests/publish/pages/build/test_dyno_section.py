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


def _view(slug: str) -> DynoSection:
    _, sheet = samples.build_and_sheet(slug)
    assert sheet.session is not None
    return dyno_section(sheet.session, sheet.system)


def test_every_pull_has_its_row_with_its_peaks_and_what_was_changed() -> None:
    build, _ = samples.build_and_sheet("pilot-launch-four")
    view = _view("pilot-launch-four")
    assert [row[0].text for row in view.pulls.rows] == [pull.name for pull in build.pulls]
    assert all(len(row) == len(view.pulls.head) for row in view.pulls.rows)
    row = next(row for row in view.pulls.rows if row[0].text == "130 jets")
    assert row[1].text == "main jets 125 to 130 (since 125 jets)"
    power = row[view.pulls.head.index("Peak power")]
    assert power.text.endswith("kW")
    assert power.alternate_unit is not None
    assert power.alternate_unit.startswith("at 4,")
    assert next(row for row in view.pulls.rows if row[0].text == "130 jets again")[1].text == "repeats 130 jets"


def test_a_verdict_is_a_sentence_with_the_drawing_that_shows_it() -> None:
    build, sheet = samples.build_and_sheet("breakdown-truck-v8")
    view = _view("breakdown-truck-v8")
    assert view.changes[0].title == "Rebored, roller cam, heads"
    assert view.changes[0].verdict.startswith("Worth")
    assert all(verdict.verdict.endswith(".") for verdict in view.changes)
    drawn = {placed.request.name for placed in session_charts(Context(build, samples.shop(), REGISTRY), sheet.session)}
    named = {verdict.chart for verdict in view.changes if verdict.chart}
    assert named
    assert named <= drawn


def test_the_source_of_the_noise_is_said_once() -> None:
    view = _view("pilot-launch-four")
    assert len(view.noise_sources) == len(set(view.noise_sources)) == 1


def test_a_pull_that_does_not_count_is_said_with_its_reason() -> None:
    assert any("number 7 came off" in remark for remark in _view("breakdown-truck-v8").remarks)


def test_a_setting_has_a_drawing_for_every_result_and_its_caution() -> None:
    build, sheet = samples.build_and_sheet("hydroplane-two-stroke")
    (setting,) = _view("hydroplane-two-stroke").settings
    assert setting.title == "Tuned length of the pipes"
    assert "detonation" in setting.caution
    drawn = {placed.request.name for placed in session_charts(Context(build, samples.shop(), REGISTRY), sheet.session)}
    assert {name for _, name in setting.verdicts} <= drawn


def test_what_there_is_a_guideline_for_is_drawn_with_it_though_it_was_worked_out() -> None:
    """A log of air-fuel ratio, of every cylinder's exhaust, and of blow-by with the air taken in."""
    build, sheet = samples.build_and_sheet("breakdown-truck-v8")
    (told,) = [
        placed.request.draw().description
        for placed in session_charts(Context(build, samples.shop(), REGISTRY), sheet.session)
        if placed.request.name == "channels"
    ]
    panels = {one.split(":")[0]: one for one in told.split(". ") if ":" in one}
    assert {"Lambda", "Exhaust temperature, hottest", "Exhaust spread of the cylinders"} <= set(panels)
    assert {"Blow-by, share of the air", "Oil temperature", "Coolant temperature"} <= set(panels)
    assert "Blow-by" not in panels  # once is enough
    assert told.count("Guideline") == 5
    assert "Caution" not in told


def test_boost_and_a_cylinder_that_runs_away_are_seen(tmp_path: Path) -> None:
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
    (told,) = [
        placed.request.draw().description
        for placed in session_charts(Context(build, samples.shop(), REGISTRY), sheet.session)
        if placed.request.name == "channels"
    ]
    assert "Boost: as delivered 44.8 to 44.8 kPa" in told  # 6.5 psi of 6.894757 kPa each: NIST SP 811
    (breach,) = (one for one in sheet.session.violations if one.pull == "as delivered")  # type: ignore[union-attr]
    assert "cylinder 3 hottest" in breach.text
    assert any(
        "on 6 pulls" in look.sentence and "cylinder 3 hottest" in look.sentence for look in caution_lines(build, sheet)
    )
    assert f"Caution: {breach.value:.0f} °C at {60 * breach.speed:,.0f} rpm." in told
