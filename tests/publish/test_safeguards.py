"""An archive that suddenly looks empty, and files that are somebody else's, stop a publish before any change."""

from __future__ import annotations

import os
import re
import shutil
from pathlib import Path

import pytest

from builder.publish import workers
from builder.publish.deploy.working_folder import MARK
from builder.publish.edition import Edition
from builder.publish.errors import PublishRefused
from builder.publish.pipeline import publish
from tests.support import tiny_archive as tiny
from tests.support.command_line import run


@pytest.fixture(scope="module")
def published(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An archive of three builds, published."""
    archive = tmp_path_factory.mktemp("safeguards") / "shop"
    tiny.use_short_pages(archive)
    for number, slug in enumerate(("ash", "birch", "cedar")):
        tiny.write_build(archive, slug, number=number)
    publish(archive, archive / "site")
    return archive


@pytest.fixture
def archive(published: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of that archive, published at its own place."""
    monkeypatch.setattr(workers, "_available_cpus", lambda: 1)
    archive = shutil.copytree(published, tmp_path / "shop", symlinks=True)
    publish(archive, archive / "site")
    return archive


@pytest.mark.parametrize("loss", ["missing", "a file", "empty"])
@pytest.mark.parametrize("state", ["state", "no state"])
def test_an_unmounted_share_does_not_empty_the_site(archive: Path, loss: str, state: str) -> None:
    (archive / "builds").rename(archive / "away")
    if loss == "a file":
        (archive / "builds").write_text("")
    elif loss == "empty":
        (archive / "builds").mkdir()
    if state == "no state":
        shutil.rmtree(archive / ".millbook")
    before = tiny.read_tree(archive / "site")
    result = run("publish", archive=archive)
    assert result.exit_code == 2
    assert "--allow-removals" in result.output if loss == "empty" else str(archive / "builds") in result.output
    assert tiny.read_tree(archive / "site") == before
    if loss == "empty":
        assert run("publish", "--allow-removals", archive=archive).exit_code == 0
        assert not (archive / "site" / "builds").exists()


@pytest.mark.parametrize("state", ["state", "no state"])
def test_losing_more_than_half_names_the_builds_and_why(archive: Path, state: str) -> None:
    shutil.rmtree(archive / "builds" / "ash")
    tiny.write_sheet(archive / "builds" / "birch", title="Birch", status="withdrawn")
    if state == "no state":
        shutil.rmtree(archive / ".millbook")
    before = tiny.read_tree(archive / "site")
    for _ in range(2):
        with pytest.raises(PublishRefused, match=r"2 of 3 .*ash \(its folder is gone\), birch \(its status is withdr"):
            publish(archive, archive / "site")
        assert tiny.read_tree(archive / "site") == before
    assert publish(archive, archive / "site", allow_removals=True).published == ("cedar",)
    tiny.write_sheet(archive / "builds" / "birch", title="Birch")
    assert publish(archive, archive / "site").published == ("birch", "cedar")


def test_records_that_can_no_longer_be_read_count_as_lost(archive: Path) -> None:
    for slug in ("ash", "birch"):
        (archive / "builds" / slug / "build.yaml").write_text("title: [\n")
    with pytest.raises(PublishRefused, match=r"ash \(1 error in its record\)"):
        publish(archive, archive / "site", full=True)


def test_half_may_go_and_the_shop_s_own_edition_may_lose_all(archive: Path) -> None:
    shutil.rmtree(archive / "builds" / "ash")
    assert publish(archive, archive / "site").published == ("birch", "cedar")
    shop = archive / ".millbook" / "shop" / "site"
    assert len(publish(archive, shop, edition=Edition.SHOP).published) == 2
    for slug in ("birch", "cedar"):
        shutil.rmtree(archive / "builds" / slug)
    assert publish(archive, shop, edition=Edition.SHOP).published == ()


def test_another_site_of_the_archive_does_not_hide_what_is_lost(archive: Path, tmp_path: Path) -> None:
    """The state is that of the site published last: for another one its folders count."""
    for slug in ("ash", "birch"):
        shutil.rmtree(archive / "builds" / slug)
    assert publish(archive, tmp_path / "elsewhere").published == ("cedar",)
    with pytest.raises(PublishRefused, match="2 of 3"):
        publish(archive, archive / "site")


WORKING_NAMES = (
    ".site.next", ".site.last", ".site.mirror", ".millbook", ".millbook/pages", ".millbook/pages/builds",
    ".millbook/bodies", ".millbook/charts", ".millbook/templates",
)  # fmt: skip


def foreign_folder(home: Path) -> Path:
    """Write a folder of somebody else."""
    folder = home / "somebody"
    (folder / "inner").mkdir(parents=True)
    (folder / "keep.txt").write_text("not ours")
    (folder / "inner" / "index.html").write_text("not ours either")
    return folder


def everything_in(folder: Path) -> dict[str, bytes | str | None]:
    """Return what is in a folder, links as their targets, without the locks."""
    return {
        str(path): os.readlink(path) if path.is_symlink() else path.read_bytes() if path.is_file() else None
        for path in folder.rglob("*")
        if path.suffix != ".lock"
    }


@pytest.mark.skipif(os.name == "nt", reason="links need rights there")
@pytest.mark.parametrize("name", WORKING_NAMES)
def test_what_only_has_the_name_of_a_working_folder_is_left_alone(archive: Path, tmp_path: Path, name: str) -> None:
    outside, place = foreign_folder(tmp_path), archive / name
    tiny.write_sheet(archive / "builds" / "ash", title="Changed")
    shutil.rmtree(place, ignore_errors=True)
    plants = {
        "link": lambda: place.symlink_to(outside),
        "link to nothing": lambda: place.symlink_to(tmp_path / "nowhere"),
        "folder": lambda: shutil.copytree(outside, place),
        "file": lambda: place.write_text("not ours"),
    }
    for number, plant in enumerate(plants.values()):
        plant()
        before = everything_in(tmp_path)
        with pytest.raises(PublishRefused, match=f"{re.escape(str(place))} .*remove or rename it"):
            publish(archive, archive / "site")
        assert everything_in(tmp_path) == before
        place.rename(tmp_path / f"renamed-{number}")
    assert publish(archive, archive / "site").published == ("ash", "birch", "cedar")


@pytest.mark.skipif(os.name == "nt", reason="links need rights there")
@pytest.mark.parametrize("name", ["pages/builds/ash", "pages/assets", "bodies/ash.md", "state.json", "index.json",
                                  "state.json.part"])  # fmt: skip
@pytest.mark.parametrize("state", ["state", "no state"])
def test_a_link_inside_a_working_folder_is_removed_and_not_followed(
    archive: Path, tmp_path: Path, name: str, state: str
) -> None:
    outside, place = foreign_folder(tmp_path), archive / ".millbook" / name
    shutil.rmtree(place) if place.is_dir() else place.unlink(missing_ok=True)
    if state == "no state":
        (archive / ".millbook" / "state.json").unlink(missing_ok=True)
    place.symlink_to(outside / "keep.txt" if "." in name else outside)
    tiny.write_sheet(archive / "builds" / "ash", title="Changed")
    before = tiny.read_tree(outside)
    publish(archive, archive / "site")
    assert tiny.read_tree(outside) == before
    assert not place.is_symlink()
    assert b"Changed" in (archive / "site" / "builds" / "ash" / "index.html").read_bytes()


@pytest.mark.skipif(os.name == "nt", reason="links need rights there")
def test_a_lock_that_is_a_link_is_not_followed(archive: Path, tmp_path: Path) -> None:
    for place in (archive / ".site.lock", archive / ".millbook" / "lock"):
        place.unlink(missing_ok=True)
        place.symlink_to(tmp_path / "outside")
        with pytest.raises(PublishRefused, match="is a link"):
            publish(archive, archive / "site")
        place.unlink()
        assert not (tmp_path / "outside").exists()


def test_the_working_folder_of_a_version_without_marks_is_taken_over(archive: Path) -> None:
    for mark in (archive / ".millbook").rglob(MARK):
        mark.unlink()
    before = tiny.read_tree(archive / "site")
    assert publish(archive, archive / "site").changed == 0
    assert tiny.read_tree(archive / "site") == before
    assert len(list((archive / ".millbook").rglob(MARK))) == len(WORKING_NAMES) - 3
