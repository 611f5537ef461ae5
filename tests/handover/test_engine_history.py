"""The chapter "History of this engine": what a binder tells of other builds, and nothing of a former owner."""

from __future__ import annotations

from pathlib import Path

import pytest
import yaml

from builder.archive.engine_lookup import history_until
from builder.handover.packs import handover
from builder.record.load import read_build, read_shop
from tests.support.handover_samples import read_files, text_of, write_yaml
from tests.support.returning_engine import CANARY, SLUGS, returning_engine


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return an archive of one engine with the pack of its last build."""
    folder = returning_engine(tmp_path_factory.mktemp("engine"))
    assert handover(folder, (SLUGS[2],)).ok
    return folder


def test_the_new_owner_reads_the_life_of_the_engine_and_nothing_of_the_former_owner(archive: Path) -> None:
    files = read_files(archive / "handover" / SLUGS[2])
    for name, content in files.items():
        text = text_of(content) if name.endswith(".pdf") else content.decode("utf-8", "replace")
        assert CANARY not in text, name
    binder = " ".join(text_of(files["binder.pdf"]).split())
    for expected in (
        "History of this engine",
        "Build 1: Engine for the pilot launch",
        "Came back for wear",
        "E-041, build 3",
    ):
        assert expected in binder
    assert "Wear since the last build" in binder
    assert "E-041, build 3" in text_of(files["engine-tag.pdf"])
    build_sheet = text_of(files["build-sheet.pdf"])  # the same as on the site: it depends on no other build
    assert "Engine E-041" in build_sheet
    assert "build 3" not in build_sheet


def test_a_build_knows_the_builds_before_it_and_none_after_it(archive: Path) -> None:
    shop, _ = read_shop(archive)
    for index, slug in enumerate(SLUGS):
        build, _ = read_build(archive / "builds" / slug, archive)
        assert build is not None
        history = history_until(build, archive, shop)
        assert history is not None
        assert tuple(summary.slug for summary in history.builds) == SLUGS[: index + 1]


def test_what_changes_in_another_build_makes_a_new_issue(archive: Path) -> None:
    path = archive / "builds" / SLUGS[0] / "service.yaml"
    service = yaml.safe_load(path.read_text(encoding="utf-8"))
    service["entries"][0]["private_note"] = "changed, and private"
    write_yaml(path, service)
    assert "issue 1" in handover(archive, (SLUGS[2],)).lines[0]
    service["entries"][0]["what"] = "plugs changed"
    write_yaml(path, service)
    assert "issue 2" in handover(archive, (SLUGS[2],)).lines[0]
    text = " ".join(text_of((archive / "handover" / SLUGS[2] / "binder.pdf").read_bytes()).split())
    assert "Plugs changed" in text
    assert "Oil and filter changed" in text
