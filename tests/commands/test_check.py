"""`millbook check`."""

from __future__ import annotations

import shutil
from pathlib import Path

from tests.support.command_line import run

ROOT = Path(__file__).resolve().parents[2]
BUILD = "pilot-launch-four"


def test_check_tells_path_line_severity(published_archive: Path, tmp_path: Path) -> None:
    shutil.copytree(published_archive / "builds", tmp_path / "builds")
    (tmp_path / "builds" / BUILD / "bottom_end.yaml").write_text("block:\n  deck_height: 9.025\n")
    result = run("check", BUILD, archive=tmp_path)
    assert result.exit_code == 1
    assert f"builds/{BUILD}/bottom_end.yaml:2: error: " in result.output
    assert "9.025 in" in result.output


def test_check_suggests_the_build_that_was_meant(published_archive: Path) -> None:
    result = run("check", "pilot-lunch-four", archive=published_archive)
    assert result.exit_code == 1
    assert BUILD in result.output


def test_a_path_that_is_no_build_is_told_as_it_was_written(published_archive: Path) -> None:
    result = run("check", f"../elsewhere/{BUILD}", archive=published_archive)
    assert result.exit_code == 1
    assert "no such build" in result.output


def test_a_weight_that_means_nothing_is_told(tmp_path: Path) -> None:
    (tmp_path / "builds").mkdir()
    shutil.copytree(ROOT / "builds" / "fire-pump-flat-four", tmp_path / "builds" / "fire-pump-flat-four")
    (tmp_path / "builds" / "shop.yaml").write_text("name: X\nlikeness_weights:\n  displacment: 3\n")
    result = run("check", archive=tmp_path)
    assert "builds/shop.yaml:3: warning: likeness: there is no field 'displacment'" in result.output
