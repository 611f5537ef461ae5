"""`millbook worksheet`."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.support.command_line import run

BUILD = "pilot-launch-four"


def test_the_bench_sheet_of_a_build(published_archive: Path, tmp_path: Path) -> None:
    result = run("worksheet", BUILD, "--out", str(tmp_path / "out"), archive=published_archive)
    assert result.exit_code == 0, result.output
    (path,) = (tmp_path / "out").iterdir()
    assert path.name == f"{BUILD}-bench-sheet.pdf"
    assert path.read_bytes().startswith(b"%PDF-")
    assert str(path) in result.stdout


def test_chosen_sections_make_a_shorter_sheet(published_archive: Path, tmp_path: Path) -> None:
    arguments = ("--section", "bores", "--section", "springs")
    assert run("worksheet", BUILD, "--out", str(tmp_path / "all"), archive=published_archive).exit_code == 0
    assert run("worksheet", BUILD, *arguments, "--out", str(tmp_path), archive=published_archive).exit_code == 0
    whole, chosen = tmp_path / "all" / f"{BUILD}-bench-sheet.pdf", tmp_path / f"{BUILD}-bores-springs-bench-sheet.pdf"
    assert chosen.stat().st_size < whole.stat().st_size


@pytest.mark.parametrize(
    ("arguments", "status", "message"),
    [
        (("pilot-lunch-four",), 1, "did you mean pilot-launch-four?"),
        ((BUILD, "--section", "bore"), 2, "did you mean 'bores'?"),
        ((BUILD, "--section", "ports"), 1, "has nothing to measure in ports"),
        ((BUILD, "--out", "/dev/null/sheets"), 1, "/dev/null"),
    ],
)
def test_bad_input_ends_in_a_message(
    published_archive: Path, arguments: tuple[str, ...], status: int, message: str
) -> None:
    result = run("worksheet", *arguments, archive=published_archive)
    assert result.exit_code == status
    assert message in " ".join(result.output.split())
    assert "Traceback" not in result.output


def test_a_record_with_an_error_has_no_bench_sheet(tmp_path: Path) -> None:
    folder = tmp_path / "builds" / "elm"
    folder.mkdir(parents=True)
    (folder / "build.yaml").write_text("title: Elm\nengine: {cylinders: four}\n", encoding="utf-8")
    result = run("worksheet", "elm", archive=tmp_path)
    assert result.exit_code == 1
    assert "build.yaml:2" in result.output
    assert "no bench sheet until the errors are corrected" in result.output
