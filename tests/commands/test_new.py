"""`millbook new`."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.support.command_line import run


@pytest.mark.parametrize("slug", ["../escape", "Upper Case", "/abs", "a" * 200, "", "nul\x00l"])
def test_a_slug_that_is_no_address_is_refused(slug: str, tmp_path: Path) -> None:
    result = run("new", slug, archive=tmp_path)
    assert result.exit_code != 0
    assert not list(tmp_path.parent.glob("escape*"))


def test_a_new_build_has_the_title_and_the_cylinders_asked_for(tmp_path: Path) -> None:
    assert run("new", "ferry", "--title", "Ferry six", "--cylinders", "6", archive=tmp_path).exit_code == 0
    build = (tmp_path / "builds" / "ferry" / "build.yaml").read_text(encoding="utf-8")
    assert "\ntitle: Ferry six " in build
    assert "\n  cylinders: 6 " in build
    assert "1 to 48" in run("new", "none", "--cylinders", "0", archive=tmp_path).output
