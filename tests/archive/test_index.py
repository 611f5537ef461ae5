"""The index on disk: what was written is read back, and damage is noticed."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from builder.archive.index import dump_index, read_index, write_index
from builder.archive.summary import CoarseCurve, Summary, newest_first
from tests.support import archive_samples as samples


def test_the_index_is_read_as_written(tmp_path: Path) -> None:
    builds = samples.invented_archive(50, sparse=0.4)
    path = tmp_path / "cache" / "index"
    write_index(path, dump_index(builds))
    assert read_index(path) == newest_first(builds)
    assert [p.name for p in path.parent.iterdir()] == ["index"]
    assert dump_index(builds) == dump_index(tuple(reversed(builds)))


def test_a_damaged_index_is_not_read(tmp_path: Path) -> None:
    path = tmp_path / "index"
    assert read_index(path) is None
    good = dump_index(samples.invented_archive(5))
    for bad in (b"", b"[]\n", good[:-10], good.replace(b"gasoline", b"diesel", 1), b"\xff\x00" + good, b"{}\n{}"):
        path.write_bytes(bad)
        assert read_index(path) is None
    assert read_index(tmp_path) is None


def test_nan_and_infinity_are_not_written(tmp_path: Path) -> None:
    odd = Summary("odd", "odd \ud800 </script>", bore=math.nan, stroke=math.inf, displacement=0.001,
                  curve=CoarseCurve(10.0, 5.0, (1.0, math.nan)))  # fmt: skip
    write_index(tmp_path / "i", dump_index([odd]))
    assert read_index(tmp_path / "i") == (replace(odd, bore=None, stroke=None, curve=None),)


@given(st.text(), st.text(), st.floats(allow_nan=False, allow_infinity=False))
def test_any_text_and_number_is_read_as_written(title: str, words: str, value: float) -> None:
    import json

    build = Summary("a", title or "t", words=words, head_flow=value)
    lines = dump_index([build]).splitlines()
    assert json.loads(lines[1]).get("head_flow") == value
    assert len(lines) == 2
