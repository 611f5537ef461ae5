"""The shop's own edition: jobs, lessons and the plan; none of it in the public ones."""

from __future__ import annotations

from pathlib import Path

import pytest

from builder.publish.edition import Edition
from builder.publish.pipeline import publish
from tests.support import tiny_archive as tiny

PLAN = """\
alternatives:
  pistons: {A: {pistons.dish: 6 cc}, B: {pistons.dish: 0 cc}}
"""


@pytest.fixture
def archive(tmp_path: Path) -> Path:
    """Return an archive with a finished build that taught something, and a planned one."""
    archive = tmp_path / "shop"
    tiny.use_short_pages(archive)
    for number, slug in enumerate(("ash", "birch")):
        folder = tiny.write_build(archive, slug, number=number, torque=140.0 + number)
        with (folder / "build.yaml").open("a") as sheet:
            sheet.write("lessons: [OwnLesson, {lesson: PublicLesson, part: rings, visibility: public}]\n")
    planned = tiny.write_build(archive, "cedar", number=3)
    tiny.write_sheet(planned, title="Cedar", status="planned")
    with (planned / "build.yaml").open("a") as sheet:
        sheet.write("goals: {compression ratio: 9.5}\n")
    (planned / "plan.yaml").write_text(PLAN)
    (planned / "parts.yaml").write_text("parts: [{part: AwaitedPart, ordered: 2024-01-29}]\n")
    return archive


def test_the_shops_edition_has_jobs_lessons_and_the_plan(archive: Path) -> None:
    site = archive / ".millbook" / "shop" / "site"
    publish(archive, site, edition=Edition.SHOP)
    jobs, lessons = (site / "jobs.html").read_text(), (site / "lessons.html").read_text()
    assert "AwaitedPart" in jobs
    assert "cedar/index.html" in jobs
    assert lessons.count("OwnLesson") == lessons.count("PublicLesson") == 4  # by family and by part
    page = (site / "builds/cedar/index.html").read_text()
    assert "Pistons: what each changes" in page
    for text in ("Alternatives: 2 combinations", "Compression ratio: 9.5 wanted", "AwaitedPart", "heads.chambers"):
        assert text in page
    relatives = page[page.index('id="similar-builds"') :]
    assert "lbf ft at 4000 rpm" in relatives.replace("\N{NO-BREAK SPACE}", " ")
    assert "OwnLesson" in relatives
    assert "jobs.html" in page


@pytest.mark.parametrize("edition", [Edition.PUBLIC, Edition.PUBLIC_ALL])
def test_the_public_editions_have_public_lessons_alone(archive: Path, edition: Edition) -> None:
    publish(archive, archive / "site", edition=edition)
    everything = tiny.read_tree(archive / "site")
    assert not {"jobs.html", "lessons.html"} & everything.keys()
    pages = b"".join(content for content in everything.values() if content)
    assert b"PublicLesson" in pages
    for text in (b"OwnLesson", b"Alternatives: 2", b"Shop only"):
        assert text not in pages
    assert b"cedar" not in pages or edition is Edition.PUBLIC_ALL


def test_a_changed_lesson_gives_the_same_site_as_publishing_from_nothing(archive: Path, tmp_path: Path) -> None:
    site = archive / ".millbook" / "shop" / "site"
    publish(archive, site, edition=Edition.SHOP)
    sheet = archive / "builds" / "ash" / "build.yaml"
    sheet.write_text(sheet.read_text().replace("OwnLesson", "Another lesson"))
    tiny.write_sheet(archive / "builds" / "cedar", title="Cedar", status="waiting for parts")
    publish(archive, site, edition=Edition.SHOP)
    changed = tiny.read_tree(site)
    publish(archive, site, edition=Edition.SHOP, full=True)
    assert changed == tiny.read_tree(site)
    assert b"Another lesson" in (changed["lessons.html"] or b"")
