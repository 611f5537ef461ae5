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
