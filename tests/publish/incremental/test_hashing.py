"""Source files are read once, and again when anything about them changes; times alone are not trusted."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from builder.publish.incremental import hashing
from builder.publish.incremental.hashing import SourceHasher, hash_parts


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name in ("index.md", "ash/index.md", "ash/a.svg"):
        (tmp_path / "f" / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / "f" / name).write_text(name)
    return tmp_path / "f"


def hash_of(folder: Path) -> str:
    """Return the hash of a folder without any known entry."""
    return SourceHasher({}).folder(folder)


def test_parts_are_set_off_from_each_other() -> None:
    assert len({hash_parts("ab", "c"), hash_parts("a", "bc"), hash_parts("abc"), hash_parts("abc", "")}) == 4


def test_a_folder_is_read_once_and_again_when_anything_in_it_changes(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(hashing, "RACY_WINDOW_NS", -1)
    hasher = SourceHasher({})
    first = hasher.folder(folder)
    assert set(hasher.entries) == {str(folder)}, "the names of its files are not kept"
    with monkeypatch.context() as patch:
        patch.setattr(hashing, "hash_file", lambda path: pytest.fail(f"{path} was read again"))
        again = SourceHasher(hasher.entries)
        assert again.folder(folder) == first
        assert again.entries == hasher.entries
    hashes = {first}
    for change in (
        lambda: (folder / "index.md").write_text("index.mD"),
        lambda: (folder / "index.md").rename(folder / "index.txt"),
        lambda: (folder / "link").symlink_to("index.txt"),
        lambda: [(folder / "link").unlink(), (folder / "link").symlink_to("nowhere")],
        lambda: [(folder / "link").unlink(), (folder / "link").mkdir(), (folder / "link" / "x").touch()],
    ):
        change()
        hasher = SourceHasher(hasher.entries)
        hashes.add(hasher.folder(folder))
        assert hasher.folder(folder) == hash_of(folder)
    assert len(hashes) == 6
    (folder / "index.txt").write_text("index.md")
    (folder / "index.txt").rename(folder / "index.md")
    (folder / "link" / "x").unlink()
    assert SourceHasher(hasher.entries).folder(folder) == first, "the same content, whenever it was written"


def test_a_file_modified_just_now_is_read_again_next_time(folder: Path) -> None:
    hasher = SourceHasher({})
    path = folder / "index.md"
    before = path.stat()
    first = hasher.file(path)
    assert hasher.entries == {}
    path.write_text("INDEX.MD")
    os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))
    assert SourceHasher(hasher.entries).file(path) != first


def test_what_is_no_regular_file_has_no_hash(tmp_path: Path) -> None:
    hasher = SourceHasher({})
    assert [hasher.file(path) for path in (tmp_path, tmp_path / "none", Path("/dev/null"))] == ["", "", ""]


def test_only_files_with_the_suffix_count(folder: Path) -> None:
    markdown = SourceHasher({}).folder(folder, suffix=".md")
    (folder / "ash" / "a.svg").write_text("another drawing")
    assert SourceHasher({}).folder(folder, suffix=".md") == markdown
    (folder / "ash" / "index.md").write_text("another page")
    assert SourceHasher({}).folder(folder, suffix=".md") != markdown
