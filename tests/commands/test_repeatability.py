"""`millbook repeatability`."""

from __future__ import annotations

from pathlib import Path

from tests.support.command_line import run


def test_repeatability_prints_the_line_for_shop_yaml(published_archive: Path) -> None:
    result = run("repeatability", archive=published_archive)
    assert result.exit_code == 0
    assert "repeatability: {value: 0." in result.output
    assert "pilot-launch-four" in result.output
