"""The state comes back as it was saved, or not at all."""

from __future__ import annotations

import json
import tempfile
from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from builder.publish.incremental.hashing import SourceEntry
from builder.publish.incremental.manifest import FileEntry
from builder.publish.incremental.state import BuildState, PublishedBuild, SkippedBuild, load_state, save_state

STATE = BuildState(
    global_hash="g",
    shop_hash="s",
    shop_page_hash="p",
    shop_problems=2,
    index_hash="i",
    sources={"builds/ash": SourceEntry("1", "2"), 'with "quotes" and é and \udcff': SourceEntry("3", "4")},
    builds={"ash": PublishedBuild("1", {"d": [["n.jpg", 640, 480]]}, ["c"], 0, 1, "r", "o")},
    skipped={"elm": SkippedBuild("2", "planned")},
    static_pages=("glossary.md",),
    overview_charts=("k",),
    pages={"index.md": FileEntry(4, 1_700_000_000_123_456_789, 7, "a" * 64), 'a "b"\n.md': FileEntry(0, 1, 0, "")},
    site={"index.html": FileEntry(9, 2, 8, "b" * 64)},
)


def test_a_state_comes_back_as_it_was_saved(tmp_path: Path) -> None:
    for state in (STATE, BuildState()):
        save_state(state, tmp_path / "work" / "state.json")
        assert load_state(tmp_path / "work" / "state.json") == state
    assert [path.name for path in (tmp_path / "work").iterdir()] == ["state.json"]


def test_the_file_is_a_header_and_json(tmp_path: Path) -> None:
    save_state(STATE, tmp_path / "state.json")
    header, body = (tmp_path / "state.json").read_bytes().split(b"\n")
    assert header.startswith(b"millbook state ")
    assert json.loads(body)["pages"]["index.md"] == [4, 1_700_000_000_123_456_789, 7, "a" * 64]


@given(st.integers(0, 10_000), st.integers(0, 255))
def test_a_damaged_state_counts_as_none(position: int, byte: int) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "state.json"
        save_state(STATE, path)
        content = bytearray(path.read_bytes())
        if content[position % len(content)] == byte:
            return
        content[position % len(content)] = byte
        path.write_bytes(content)
        assert load_state(path) == BuildState()


def test_a_cut_or_missing_state_counts_as_none(tmp_path: Path) -> None:
    path = tmp_path / "state.json"
    assert load_state(path) == BuildState()
    save_state(STATE, path)
    path.write_bytes(path.read_bytes()[:-1])
    assert load_state(path) == BuildState()
