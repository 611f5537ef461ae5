"""The ledger tells what was touched, by name, and believes nothing that it cannot know."""

from __future__ import annotations

import os
import time
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from builder.publish.incremental import state
from builder.publish.incremental.state import BuildState, Manifest, changed_paths, load_state, rescan, scan


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name in ("index.md", "builds/ash/index.md", "builds/ash/a.svg", "builds/birch/index.md"):
        (tmp_path / "f" / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / "f" / name).write_text(name)
    return tmp_path / "f"


def test_a_tree_names_every_file_with_its_digest(folder: Path) -> None:
    tree = scan(folder, Manifest())
    assert sorted(tree) == ["builds/ash/a.svg", "builds/ash/index.md", "builds/birch/index.md", "index.md"]
    assert tree.files("builds/ash")["builds/ash/a.svg"] == state.digest_bytes(b"builds/ash/a.svg")
    assert set(tree.stat_signatures("builds/ash")) == {"a.svg", "index.md"}
    assert tree.files("nowhere") == tree.stat_signatures("nowhere") == {}


def test_what_was_not_touched_is_not_read_again(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    tree = scan(folder, Manifest())
    (folder / "builds/ash/b.svg").write_text("new")
    read: list[str] = []
    monkeypatch.setattr(state, "digest_file", lambda path: read.append(Path(path).name) or "f" * 32)
    again = scan(folder, tree)
    assert read == ["b.svg"]
    assert changed_paths(tree, again) == {"builds/ash/b.svg"}
    assert again.directories["builds/birch"] is tree.directories["builds/birch"]


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
def test_every_change_is_told_by_name(folder: Path, change: object, expected: set[str]) -> None:
    tree = scan(folder, Manifest())
    change(folder)  # type: ignore[operator]
    whole = scan(folder, tree)
    assert changed_paths(tree, whole) == changed_paths(whole, tree) == expected
    assert changed_paths(whole, rescan(folder, tree, expected)) == set()


def test_only_the_named_files_are_looked_at_again(folder: Path) -> None:
    tree = scan(folder, Manifest())
    (folder / "index.md").write_text("changed")
    (folder / "builds/ash/a.svg").unlink()
    (folder / "builds/ash/index.md").unlink()
    again = rescan(folder, tree, ["builds/ash/a.svg"])
    assert changed_paths(tree, again) == {"builds/ash/a.svg", "builds/ash/index.md"}
    assert "builds/ash" not in again.directories


def _old(path: Path) -> None:
    """Make a file old enough for its times to be believed."""
    for _ in range(100):
        if time.time_ns() - max(path.stat().st_mtime_ns, path.stat().st_ctime_ns) > state._RACY_WINDOW_NS:
            return
        time.sleep(0.05)


def test_a_folder_of_the_shop_is_read_once_and_again_when_anything_in_it_changes(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(state, "_RACY_WINDOW_NS", 20_000_000)
    ledger = BuildState()
    _old(folder / "builds/birch/index.md")
    first = ledger.folder(folder)
    assert ledger.dirty
    monkeypatch.setattr(state, "digest_file", lambda path: pytest.fail(f"{path} was read again"))
    assert ledger.folder(folder) == first
    monkeypatch.undo()
    seen = {first}
    for change in (
        lambda: (folder / "index.md").write_text("index.mD"),
        lambda: (folder / "index.md").rename(folder / "index.txt"),
        lambda: (folder / "link").symlink_to("index.txt"),
        lambda: [(folder / "link").unlink(), (folder / "link").symlink_to("nowhere")],
        lambda: [(folder / "link").unlink(), (folder / "link").mkdir(), (folder / "link" / "x").touch()],
    ):
        change()
        seen.add(ledger.folder(folder))
    assert len(seen) == 6
    (folder / "index.txt").write_text("index.md")
    (folder / "index.txt").rename(folder / "index.md")
    (folder / "link" / "x").unlink()
    assert ledger.folder(folder) == first, "the same content, whenever it was written"


def test_what_was_touched_just_now_is_not_believed(folder: Path) -> None:
    ledger = BuildState()
    path = folder / "index.md"
    before = path.stat()
    first = ledger.digest(path)
    path.write_text("INDEX.MD")
    os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))
    assert ledger.digest(path) != first
    assert not ledger.dirty


def test_no_ordinary_file_has_no_digest(tmp_path: Path) -> None:
    assert [BuildState().digest(path) for path in (tmp_path, tmp_path / "none", Path("/dev/null"))] == ["", "", ""]


def test_a_ledger_comes_back_as_it_was_saved(folder: Path, tmp_path: Path) -> None:
    ledger = BuildState(
        builds={"ash": "1"}, skipped={"elm": ("2", "its status is planned")}, problem_counts={"ash": (0, 1)}
    )
    ledger.photos["ash"] = {"d": [["n.jpg", 640, 480]]}
    ledger.pages = scan(folder, Manifest())
    ledger.global_hash, ledger.static_pages, ledger.shop_faults = "w", ["glossary.md"], 2
    ledger.save(tmp_path / "ledger.json")
    assert load_state(tmp_path / "ledger.json") == ledger
    ledger.discard("ash")
    assert (ledger.builds, ledger.problem_counts, ledger.photos) == ({}, {}, {})


@given(st.integers(0, 10_000), st.integers(0, 255))
def test_a_damaged_ledger_is_an_empty_one(at: int, byte: int) -> None:
    import tempfile

    with tempfile.TemporaryDirectory() as made:
        path = Path(made) / "ledger.json"
        ledger = BuildState(builds={"ash": "1"}, pages=Manifest({"": ("index.md/1/2/3", "a" * 32)}), global_hash="w")
        ledger.save(path)
        content = bytearray(path.read_bytes())
        if content[at % len(content)] == byte:
            return
        content[at % len(content)] = byte
        path.write_bytes(content)
        assert load_state(path) == BuildState()
