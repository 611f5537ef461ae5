"""The spare ends up with just the files of the site, whatever lay in it, and by sharing them where that can be."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest

from builder.publish.deploy.site_mirror import sync_mirror, update_mirror
from builder.publish.incremental.state import Manifest, scan
from tests.support import tiny_archive as tiny

FILES = {"index.html": "home", "builds/ash/index.html": "ash", "builds/ash/data/pull.csv": "1,2", "a b/é.txt": "x"}


@pytest.fixture
def site(tmp_path: Path) -> Path:
    for name, words in FILES.items():
        path = tmp_path / "site" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(words, encoding="utf-8")
    (tmp_path / "spare").mkdir()
    return tmp_path / "site"


def same(one: Path, other: Path) -> bool:
    return tiny.tree(one) == tiny.tree(other)


def test_an_empty_folder_is_filled_and_shares_every_file(site: Path) -> None:
    spare = site.with_name("spare")
    assert sync_mirror(site, spare, scan(site, Manifest()))
    assert same(site, spare)
    assert all(os.path.samefile(site / name, spare / name) for name in FILES)


def test_one_that_is_right_is_not_touched(site: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    spare = site.with_name("spare")
    files = scan(site, Manifest())
    sync_mirror(site, spare, files)
    for name in ("link", "unlink", "rmdir"):
        monkeypatch.setattr(os, name, lambda *_: pytest.fail("it was touched"))
    assert sync_mirror(site, spare, files)


@pytest.mark.parametrize(
    "harm",
    [
        lambda spare: (spare / "stray.txt").write_text("stray"),
        lambda spare: (spare / "builds/ash/index.html").unlink(),
        lambda spare: shutil.rmtree(spare / "builds"),
        lambda spare: (spare / "old/deep/er").mkdir(parents=True),
        lambda spare: [(spare / "index.html").unlink(), (spare / "index.html").write_text("of an older site")],
        lambda spare: [(spare / "index.html").unlink(), (spare / "index.html").mkdir()],
        lambda spare: [(spare / "index.html").unlink(), (spare / "index.html").symlink_to("/dev/null")],
        lambda spare: [shutil.rmtree(spare / "builds"), (spare / "builds").write_text("a file where a folder was")],
        lambda spare: [shutil.rmtree(spare / "builds"), (spare / "builds").symlink_to("..")],
    ],
)
def test_what_is_not_as_it_should_be_is_mended(site: Path, harm: object) -> None:
    spare = site.with_name("spare")
    files = scan(site, Manifest())
    sync_mirror(site, spare, files)
    harm(spare)  # type: ignore[operator]
    assert sync_mirror(site, spare, files)
    assert same(site, spare)
    assert {name for name in FILES if (site / name).is_file()} == set(FILES), "the site itself was left alone"


def test_for_no_files_it_is_emptied(site: Path) -> None:
    spare = site.with_name("spare")
    sync_mirror(site, spare, scan(site, Manifest()))
    assert sync_mirror(site, spare, Manifest())
    assert list(spare.iterdir()) == []
    assert len(scan(site, Manifest()).files("builds/ash")) == 1


def test_a_drive_that_cannot_share_gets_copies_and_no_spare(site: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object) -> None:
        raise OSError(1, "Operation not permitted")

    monkeypatch.setattr(os, "link", refuse)
    spare = site.with_name("spare")
    assert not sync_mirror(site, spare, scan(site, Manifest()))
    assert same(site, spare)
    assert not update_mirror(site, spare, ["index.html"])


def test_it_follows_what_changed(site: Path) -> None:
    spare = site.with_name("spare")
    sync_mirror(site, spare, scan(site, Manifest()))
    (site / "index.html").unlink()
    (site / "index.html").write_text("a new home")
    shutil.rmtree(site / "builds/ash/data")
    (site / "builds/birch").mkdir()
    (site / "builds/birch/index.html").write_text("birch")
    assert update_mirror(
        site, spare, ["index.html", "builds/ash/data/pull.csv", "builds/birch/index.html", "never.html"]
    )
    assert same(site, spare)
