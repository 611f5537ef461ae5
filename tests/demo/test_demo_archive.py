"""The demonstration archive as a whole: a family that the estimate answers for, an import, parts that repeat."""

from __future__ import annotations

import shutil
from functools import cache
from pathlib import Path
from statistics import median

import pytest

from builder.archive.build_summary import summarize_build, summary_of_plan
from builder.archive.estimate import Estimate, estimate
from builder.archive.fields import weights_from
from builder.archive.part_usage import index_parts
from builder.archive.summary import Summary
from builder.figures.evaluate import compute
from builder.record.load import build_folders, read_build, read_shop
from builder.record.models.build import Build
from builder.record.redaction import without_private
from builder.record.spreadsheet.import_plan import plan_import
from builder.record.spreadsheet.importer import carry_out
from tests.demo.engine_model import PETROL, Noise, Tune, Weather
from tests.demo.engine_specs import PullSpec, Session
from tests.demo.logs import Column, Dialect
from tests.demo.small_block import small_block
from tests.support.demo_builds import ROOT

FAMILY = "Thornback 362 V8"
HERE = Path(__file__).parent
SHEET, MAP = HERE / "engines.csv", HERE / "engines.map.yaml"
WEIGHTS = weights_from({})[0]
HORSEPOWER = 745.7


@cache
def builds() -> dict[str, Build]:
    read = {folder.name: read_build(folder, ROOT)[0] for folder in build_folders(ROOT)}
    return {slug: build for slug, build in read.items() if build is not None}


@cache
def summaries() -> tuple[Summary, ...]:
    shop = read_shop(ROOT)[0]
    public = [without_private(build) for build in builds().values() if build.build.status == "finished"]
    return tuple(summarize_build(build, compute(build, shop), shop) for build in public)


def power_of(answer: Estimate) -> tuple[float, float, float]:
    (power,) = (result for result in answer.expected if result.field.slug == "peak_power")
    return power.minimum, power.value, power.maximum


def test_the_archive_has_twenty_to_twenty_four_builds() -> None:
    assert 20 <= len(builds()) <= 24
    statuses = [build.build.status for build in builds().values()]
    assert (statuses.count("planned"), statuses.count("in progress")) == (1, 1)


def test_the_estimate_misses_the_power_of_at_most_one_v8() -> None:
    """Each is left out in turn and estimated from the others, at the usual level of 90 %.

    The plain mean of the closest missed by 19 % in the median, with ranges of 46 % either way.
    """
    family = [summary for summary in summaries() if summary.family == FAMILY]
    assert len(family) >= 8
    held, errors, half_widths = [], [], []
    for summary in family:
        rest = [other for other in summaries() if other is not summary]
        minimum, expected, maximum = power_of(estimate(rest, summary, WEIGHTS))
        assert summary.peak_power is not None
        held.append(minimum <= summary.peak_power <= maximum)
        errors.append(abs(expected / summary.peak_power - 1.0))
        half_widths.append((maximum - minimum) / 2 / expected)
    assert sum(held) >= len(held) - 1, held
    assert median(errors) < 0.05
    assert median(half_widths) < 0.12


def test_the_estimate_of_the_planned_v8_is_near_what_the_engine_model_makes_of_it() -> None:
    plan = builds()["autocross-v8"]
    least, expected, most = power_of(
        estimate(summaries(), summary_of_plan(without_private(plan), read_shop(ROOT)[0]), WEIGHTS)
    )
    ratio = compute(plan, read_shop(ROOT)[0]).value("compression_ratio")
    assert ratio is not None
    engine = small_block(4.030, 3.550, ratio, PETROL, duration=230, flow=249)
    pull = PullSpec("planned.csv", 2500, 6300, 100, Weather(99e3, 25, 0.0), Tune(0.875, spark=34))
    session = Session("autocross-v8", engine, Dialect((Column("engine_speed", "RPM", "rpm", 0),)), (), Noise(0, 0))
    made = float(session.channels(pull)["power"].max())
    assert least < made < most
    assert expected == pytest.approx(made, rel=0.10)


def test_the_plan_has_alternatives() -> None:
    plan = builds()["autocross-v8"].plan
    assert plan is not None
    assert plan.alternatives is not None
    assert sum(len(candidates) for candidates in plan.alternatives.values()) >= 6


def test_one_engine_was_built_three_times_and_has_its_services() -> None:
    same = [build for build in builds().values() if build.build.engine_number == "E-117"]
    assert len(same) == 3
    assert all(build.service and build.service.entries for build in same)
    assert sum(build.returned is not None for build in same) == 2


def test_parts_repeat_with_findings() -> None:
    uses = {(use.maker, use.number): use for maker in index_parts(summaries()) for use in maker.parts}
    pistons = uses["Ombersedge", "OE-362-030D"]
    assert len({occurrence.summary.slug for occurrence in pistons.uses}) == 6
    assert pistons.finding == "three of nine measured short and returned"
    assert sum(len(use.uses) >= 3 for use in uses.values()) >= 8


# ------------------------------------------------------------------------------------------ the spreadsheet


def archive_with_sheet(archive: Path) -> Path:
    archive.mkdir(parents=True, exist_ok=True)
    shutil.copy(SHEET, archive)
    shutil.copy(MAP, archive)
    (archive / "builds").mkdir(exist_ok=True)
    return archive / SHEET.name


def run_import(archive: Path) -> list[str]:
    plan, problems = plan_import(archive, archive / SHEET.name, archive / MAP.name)
    assert plan is not None, problems
    report = carry_out(plan, dry_run=False)
    assert report.ok, [str(problem) for problem in report.problems]
    return [line.strip() for line in report.lines]


def test_twelve_builds_came_from_the_spreadsheet_and_agree_with_it(tmp_path: Path) -> None:
    archive_with_sheet(tmp_path)
    assert "12 builds imported" in run_import(tmp_path)
    by_number = {build.build.number: build for build in builds().values()}
    agreed = 0
    for folder in build_folders(tmp_path):
        imported, problems = read_build(folder, tmp_path)
        assert imported is not None, problems
        kept = by_number[imported.build.number]
        sheet, now = imported.build, kept.build
        for name in ("title", "family", "purpose", "started", "finished"):
            assert getattr(sheet, name) == getattr(now, name), (kept.slug, name)
        assert now.customer is not None
        assert sheet.customer is not None
        assert str(now.customer.name).startswith(str(sheet.customer.name))
        for path in ("bottom_end.block.bores", "bottom_end.crankshaft.stroke", "bottom_end.rods.length"):
            assert imported.get(path).values.mean() == pytest.approx(kept.get(path).values.mean(), rel=3e-4), path
        assert imported.get("delivery.settings.jets") == kept.get("delivery.settings.jets")
        agreed += 1
    assert agreed == 12


def test_importing_the_spreadsheet_into_the_demo_again_changes_nothing(tmp_path: Path) -> None:
    archive_with_sheet(tmp_path)
    for folder in build_folders(ROOT):
        (tmp_path / "builds" / folder.name).mkdir()
        shutil.copy(folder / "build.yaml", tmp_path / "builds" / folder.name)
    before = {path: path.read_bytes() for path in (tmp_path / "builds").rglob("*") if path.is_file()}
    assert "12 rows imported before, unchanged" in run_import(tmp_path)
    assert {path: path.read_bytes() for path in before} == before
