"""A manifest names every file, and what somebody touched since."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from builder.publish.incremental import manifest
from builder.publish.incremental.hashing import hash_bytes
from builder.publish.incremental.manifest import changed_paths, rescan, scan

LATER = 2**63
FILES = ("index.md", "builds/ash/index.md", "builds/ash/a.svg", "builds/birch/index.md")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name in FILES:
        (tmp_path / "f" / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / "f" / name).write_text(name)
    return tmp_path / "f"


def test_every_file_has_an_entry_with_its_hash(folder: Path) -> None:
    files = scan(folder, {})
    assert sorted(files) == sorted(FILES)
    assert files["builds/ash/a.svg"].sha256 == hash_bytes(b"builds/ash/a.svg")
    assert files["builds/ash/a.svg"].size == len("builds/ash/a.svg")
    assert scan(folder / "nowhere", files) == {}


def test_a_file_that_was_not_touched_is_not_read_again(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    files = scan(folder, {})
    (folder / "builds/ash/b.svg").write_text("new")
    read: list[str] = []
    monkeypatch.setattr(manifest, "hash_file", lambda path: read.append(Path(path).name) or "f" * 64)
    now = scan(folder, files, LATER)
    assert read == ["b.svg"]
    assert changed_paths(files, now) == {"builds/ash/b.svg"}
    assert now["builds/birch/index.md"] is files["builds/birch/index.md"]


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        (lambda f: (f / "index.md").write_text("other"), {"index.md"}),
        (lambda f: (f / "index.md").unlink(), {"index.md"}),
        (lambda f: (f / "new").mkdir(), set()),
        (lambda f: [(f / "new").mkdir(), (f / "new/x").touch()], {"new/x"}),
        (lambda f: os.utime(f / "index.md", ns=(1, 1)), set()),
        (lambda f: [(f / "index.md").unlink(), (f / "index.md").symlink_to("/dev/null")], {"index.md"}),
        (lambda f: [(f / "index.md").unlink(), (f / "index.md").mkdir()], {"index.md"}),
        (lambda f: (f / "builds/ash/index.md").rename(f / "builds/ash/other.md"),
         {"builds/ash/index.md", "builds/ash/other.md"}),
    ],
)  # fmt: skip
def test_every_change_is_named(folder: Path, change: object, expected: set[str]) -> None:
    files = scan(folder, {})
    change(folder)  # type: ignore[operator]
    now = scan(folder, files)
    assert changed_paths(files, now) == changed_paths(now, files) == expected
    assert changed_paths(now, rescan(folder, files, expected)) == set()


@pytest.mark.skipif(os.name == "nt", reason="ctime is the time of creation there")
def test_a_file_with_the_size_and_time_it_had_is_read_again_where_its_inode_changed(folder: Path) -> None:
    files = scan(folder, {})
    path = folder / "index.md"
    before = path.stat()
    path.write_text("INDEX.MD")
    os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))
    assert changed_paths(files, scan(folder, files, before.st_ctime_ns)) == {"index.md"}
    assert changed_paths(files, scan(folder, files, LATER)) == set(), "the times and the size alone do not tell"


def test_only_the_named_files_are_scanned_again(folder: Path) -> None:
    files = scan(folder, {})
    (folder / "index.md").write_text("changed")
    (folder / "builds/ash/a.svg").unlink()
    assert changed_paths(files, rescan(folder, files, ["builds/ash/a.svg", "never.md"])) == {"builds/ash/a.svg"}
