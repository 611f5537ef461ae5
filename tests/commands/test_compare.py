"""`millbook compare`."""

from __future__ import annotations

from pathlib import Path

from tests.support.command_line import run

BUILD = "pilot-launch-four"


def test_compare_writes_a_page(published_archive: Path, tmp_path: Path) -> None:
    result = run("compare", BUILD, "roadster-six", "--out", str(tmp_path), archive=published_archive)
    assert result.exit_code == 0, result.output
    page = Path(result.output.strip()).read_text(encoding="utf-8")
    assert "<svg" in page
    assert "Compression ratio" in page
    assert run("compare", BUILD, BUILD, archive=published_archive).exit_code == 1
