"""The mirror ends up with just the files of the site, whatever was in it, as hard links where there are any."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest

from builder.publish.deploy.site_mirror import sync_mirror, update_mirror
from builder.publish.incremental.manifest import scan
from tests.support import tiny_archive as tiny

FILES = {"index.html": "home", "builds/ash/index.html": "ash", "builds/ash/data/pull.csv": "1,2", "a b/é.txt": "x"}


@pytest.fixture
def site(tmp_path: Path) -> Path:
    for name, content in FILES.items():
        path = tmp_path / "site" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(content, encoding="utf-8")
    (tmp_path / "mirror").mkdir()
    return tmp_path / "site"


def same(first: Path, second: Path) -> bool:
    return tiny.read_tree(first) == tiny.read_tree(second)


def test_an_empty_folder_is_filled_with_hard_links(site: Path) -> None:
    mirror = site.with_name("mirror")
    assert sync_mirror(site, mirror, scan(site, {}))
    assert same(site, mirror)
    assert all(os.path.samefile(site / name, mirror / name) for name in FILES)


def test_one_that_is_right_is_not_touched(site: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    mirror = site.with_name("mirror")
    files = scan(site, {})
    sync_mirror(site, mirror, files)
    for name in ("link", "unlink", "rmdir"):
        monkeypatch.setattr(os, name, lambda *_: pytest.fail("it was touched"))
    assert sync_mirror(site, mirror, files)


@pytest.mark.parametrize(
    "damage",
    [
        lambda mirror: (mirror / "stray.txt").write_text("stray"),
        lambda mirror: (mirror / "builds/ash/index.html").unlink(),
        lambda mirror: shutil.rmtree(mirror / "builds"),
        lambda mirror: (mirror / "old/deep/er").mkdir(parents=True),
        lambda mirror: [(mirror / "index.html").unlink(), (mirror / "index.html").write_text("of an older site")],
        lambda mirror: [(mirror / "index.html").unlink(), (mirror / "index.html").mkdir()],
        lambda mirror: [(mirror / "index.html").unlink(), (mirror / "index.html").symlink_to("/dev/null")],
        lambda mirror: [shutil.rmtree(mirror / "builds"), (mirror / "builds").write_text("a file where a folder was")],
        lambda mirror: [shutil.rmtree(mirror / "builds"), (mirror / "builds").symlink_to("..")],
    ],
)
def test_what_is_not_as_it_should_be_is_repaired(site: Path, damage: object) -> None:
    mirror = site.with_name("mirror")
    files = scan(site, {})
    sync_mirror(site, mirror, files)
    damage(mirror)  # type: ignore[operator]
    assert sync_mirror(site, mirror, files)
    assert same(site, mirror)
    assert {name for name in FILES if (site / name).is_file()} == set(FILES), "the site itself was left alone"


def test_for_no_files_it_is_emptied(site: Path) -> None:
    mirror = site.with_name("mirror")
    sync_mirror(site, mirror, scan(site, {}))
    assert sync_mirror(site, mirror, {})
    assert list(mirror.iterdir()) == []
    assert set(scan(site, {})) == set(FILES)


def test_a_drive_without_hard_links_gets_copies_and_no_mirror(site: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object) -> None:
        raise OSError(1, "Operation not permitted")

    monkeypatch.setattr(os, "link", refuse)
    mirror = site.with_name("mirror")
    assert not sync_mirror(site, mirror, scan(site, {}))
    assert same(site, mirror)
    assert not update_mirror(site, mirror, ["index.html"])


def test_changes_are_repeated_in_it(site: Path) -> None:
    mirror = site.with_name("mirror")
    sync_mirror(site, mirror, scan(site, {}))
    (site / "index.html").unlink()
    (site / "index.html").write_text("a new home")
    shutil.rmtree(site / "builds/ash/data")
    (site / "builds/birch").mkdir()
    (site / "builds/birch/index.html").write_text("birch")
    assert update_mirror(
        site, mirror, ["index.html", "builds/ash/data/pull.csv", "builds/birch/index.html", "never.html"]
    )
    assert same(site, mirror)
