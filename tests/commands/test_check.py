"""`millbook check`."""

from __future__ import annotations

import shutil
from pathlib import Path

from tests.support.command_line import run

ROOT = Path(__file__).resolve().parents[2]
BUILD = "pilot-launch-four"


def test_a_problem_has_path_line_and_severity(published_archive: Path, tmp_path: Path) -> None:
    shutil.copytree(published_archive / "builds", tmp_path / "builds")
    (tmp_path / "builds" / BUILD / "bottom_end.yaml").write_text("block:\n  deck_height: 9.025\n")
    result = run("check", BUILD, archive=tmp_path)
    assert result.exit_code == 1
    assert f"builds/{BUILD}/bottom_end.yaml:2: error: " in result.output
    assert "9.025 in" in result.output


def test_an_unknown_build_has_a_suggestion(published_archive: Path) -> None:
    result = run("check", "pilot-lunch-four", archive=published_archive)
    assert result.exit_code == 1
    assert BUILD in result.output


def test_a_path_that_is_not_a_build_is_printed_as_written(published_archive: Path) -> None:
    result = run("check", f"../elsewhere/{BUILD}", archive=published_archive)
    assert result.exit_code == 1
    assert "no such build" in result.output


def test_a_weight_of_an_unknown_field_is_reported(tmp_path: Path) -> None:
    (tmp_path / "builds").mkdir()
    shutil.copytree(ROOT / "builds" / "fire-pump-flat-four", tmp_path / "builds" / "fire-pump-flat-four")
    (tmp_path / "builds" / "shop.yaml").write_text("name: X\nlikeness_weights:\n  displacment: 3\n")
    result = run("check", archive=tmp_path)
    assert "builds/shop.yaml:3: warning: likeness_weights: there is no field 'displacment'" in result.output
