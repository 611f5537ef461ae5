"""The shop's own notes of a build: stage of the job, what it waits for, lessons."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from builder.archive.index import dump_index, parse_lines
from builder.archive.shop_notes import jobs_by_stage, lessons_by, shop_notes, with_wanted_values
from builder.archive.summary import LessonSummary, ShopNotes, Stage, Summary
from builder.figures.evaluate import compute
from builder.figures.review.delivery_readiness import readiness
from builder.record.load import read_build
from builder.record.models.shop import Shop

ENGINE = "title: One\nengine: {cylinders: 4}\n"
ORDERED = "parts: [{part: pistons, maker: Larkmoor, ordered: 2024-01-29, expected: 2024-02-10}]\n"
DELIVERED = "delivered: 2024-05-20\nsigned: [{what: assembled by, who: RT}]\n"


def notes(archive: Path, shop: Shop | None = None, **files: str) -> ShopNotes:
    folder = archive / "builds" / "one"
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in files.items():
        (folder / f"{name}.yaml").write_text(text)
    build, problems = read_build(folder, archive)
    assert build is not None, problems
    shop = shop or Shop()
    sheet = compute(build, shop)
    return shop_notes(build, sheet, readiness(build, shop, sheet))


@pytest.mark.parametrize(
    ("status", "files", "stage"),
    [
        ("planned", {"parts": ORDERED}, "planned"),
        ("in progress", {}, "in progress"),
        ("in progress", {"parts": ORDERED}, "waiting for parts"),
        ("in progress", {"parts": ORDERED.replace("expected", "received")}, "in progress"),
        ("in progress", {"parts": ORDERED.replace("expected: 2024-02-10", "verdict: fits")}, "in progress"),
        ("waiting for parts", {}, "waiting for parts"),
        ("finished", {}, "finished"),
        ("finished", {"delivery": DELIVERED.partition("\n")[2]}, "ready"),
        ("finished", {"delivery": DELIVERED}, "delivered"),
        ("withdrawn", {}, None),
    ],
)
def test_the_stage_of_a_job(tmp_path: Path, status: str, files: dict[str, str], stage: Stage | None) -> None:
    shop = Shop(delivery_requires=("delivery.signed",))
    assert notes(tmp_path, shop, build=f"{ENGINE}status: {status}\n", **files).stage == stage


def test_a_past_build_that_was_imported_finished_is_no_job(tmp_path: Path) -> None:
    imported = "imported_from: {file: engines.xlsx, row: 12, cells: {Job: '0142'}}\n"
    shop = Shop(delivery_requires=("delivery.signed",))
    assert notes(tmp_path / "a", shop, build=f"{ENGINE}status: finished\n{imported}").stage is None
    assert notes(tmp_path / "b", shop, build=f"{ENGINE}status: in progress\n{imported}").stage == "in progress"


def test_what_a_job_waits_for(tmp_path: Path) -> None:
    sheet = f"{ENGINE}status: in progress\ngoals: {{compression ratio: 9.5}}\n"
    found = notes(tmp_path, Shop(delivery_requires=("delivery.signed",)), build=sheet, parts=ORDERED)
    by_kind = {kind: [item for item in found.waits if item.kind == kind] for kind in ("part", "reading", "delivery")}
    assert [(item.what, item.detail) for item in by_kind["part"]] == [("pistons (Larkmoor)", "expected 2024-02-10")]
    assert "top_end.yaml: heads.chambers" in [item.what for item in by_kind["reading"]]
    assert {item.detail for item in by_kind["reading"]} == {"for compression ratio"}
    assert [item.what for item in by_kind["delivery"]] == ["Sign-off"]
    assert notes(tmp_path, build=f"{ENGINE}status: finished\n", delivery=DELIVERED).waits == ()


def test_a_planned_engine_waits_for_every_part_that_is_not_at_hand(tmp_path: Path) -> None:
    parts = (
        "parts:\n  - {part: pistons}\n  - {part: block, source: customer's own}\n  - {part: cam, source: shop stock}\n"
        "  - {part: rods, received: 2024-01-02}\n"
    )
    found = notes(tmp_path, build=f"{ENGINE}status: planned\ngoals: {{displacement: 2.9 L}}\n", parts=parts)
    assert [item.what for item in found.waits if item.kind == "part"] == ["pistons"]
    plan = with_wanted_values(Summary("one", "One", status="planned", shop=found))
    assert plan.displacement == pytest.approx(2.9e-3)
    assert with_wanted_values(replace(plan, displacement=3e-3)).displacement == 3e-3


def test_notes_are_read_from_the_index_as_written(tmp_path: Path) -> None:
    lessons = "lessons: [first, {lesson: second, part: rings, visibility: public}]\n"
    found = notes(tmp_path, build=f"{ENGINE}status: planned\n{lessons}goals: {{displacement: 2.9 L}}\n", parts=ORDERED)
    assert found.lessons == (LessonSummary("first"), LessonSummary("second", "rings", True))
    summary = Summary("one", "One", status="planned", shop=found)
    assert parse_lines(dump_index([summary]))["one"][0] == summary


def test_lessons_are_listed_by_family_and_by_part() -> None:
    def build(slug: str, family: str | None, *lessons: LessonSummary) -> Summary:
        return Summary(slug, slug, family=family, shop=ShopNotes("delivered", lessons=lessons))

    rows = [
        build("a", "Kestrel", LessonSummary("one", "Rings"), LessonSummary("two")),
        build("b", None, LessonSummary("three", "rings ")),
        Summary("c", "of the public edition", family="Kestrel"),
    ]
    families = lessons_by(rows, "family")
    assert [(group.title, len(group.lessons)) for group in families] == [("Kestrel", 2), ("Other builds", 1)]
    parts = lessons_by(rows, "part")
    assert [(group.title, [item.lesson.text for item in group.lessons]) for group in parts] == [
        ("Rings", ["one", "three"]),
        ("Engine as a whole", ["two"]),
    ]


def test_jobs_are_listed_by_stage_and_a_long_list_says_how_many_more() -> None:
    rows = [
        Summary(f"d{number}", "done", shop=ShopNotes("delivered", delivered=f"20{number:02d}-01-01"))
        for number in range(40)
    ]
    groups = {group.stage: group for group in jobs_by_stage([*rows, Summary("x", "x", shop=ShopNotes(None))])}
    assert list(groups) == ["planned", "in progress", "waiting for parts", "finished", "ready", "delivered"]
    assert [job.slug for job in groups["delivered"].jobs][:2] == ["d39", "d38"]
    assert len(groups["delivered"].jobs) + groups["delivered"].hidden == 40
    assert groups["planned"].jobs == ()
