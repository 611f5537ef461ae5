"""An archive that suddenly looks empty, and files that are somebody else's, stop a publish before it changes anything."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from builder.publish import workers
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
