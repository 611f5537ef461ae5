"""`millbook sheet`."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.support.command_line import run

BUILD = "pilot-launch-four"


def test_a_sheet_alone(published_archive: Path, tmp_path: Path) -> None:
    result = run("sheet", BUILD, "--kind", "build", "--out", str(tmp_path / "out"), archive=published_archive)
    assert result.exit_code == 0, result.output
    (path,) = (tmp_path / "out").iterdir()
    assert path.name == f"{BUILD}-build-sheet.pdf"
    assert path.read_bytes().startswith(b"%PDF-")
    assert str(path) in result.stdout


def test_both_sheets(published_archive: Path, tmp_path: Path) -> None:
    assert run("sheet", BUILD, "--out", str(tmp_path), archive=published_archive).exit_code == 0
    assert {path.name for path in tmp_path.glob("*.pdf")} == {f"{BUILD}-dyno-sheet.pdf", f"{BUILD}-build-sheet.pdf"}


@pytest.mark.parametrize(
    ("arguments", "status", "message"),
    [
        (("pilot-lunch-four",), 1, "did you mean pilot-launch-four?"),
        ((BUILD, "--kind", "lap"), 2, "'lap' is not one of 'dyno', 'build'"),
        ((BUILD, "--out", "/dev/null/sheets"), 1, "/dev/null"),
    ],
)
def test_bad_input_ends_in_a_message(
    published_archive: Path, arguments: tuple[str, ...], status: int, message: str
) -> None:
    result = run("sheet", *arguments, archive=published_archive)
    assert result.exit_code == status
    assert message in result.output
    assert "Traceback" not in result.output


def test_a_build_without_a_pull_has_no_dyno_sheet(tmp_path: Path) -> None:
    folder = tmp_path / "builds" / "elm"
    folder.mkdir(parents=True)
    (folder / "build.yaml").write_text("title: Elm\nengine: {cylinders: 4}\n", encoding="utf-8")
    result = run("sheet", "elm", "--kind", "dyno", "--out", str(tmp_path), archive=tmp_path)
    assert result.exit_code == 1
    assert "elm has no dyno sheet: no pull of its session counts; see dyno.yaml" in result.output
    assert run("sheet", "elm", "--out", str(tmp_path), archive=tmp_path).exit_code == 0
    assert [path.name for path in tmp_path.glob("*.pdf")] == ["elm-build-sheet.pdf"]


def test_a_record_with_an_error_has_no_sheet(tmp_path: Path) -> None:
    folder = tmp_path / "builds" / "elm"
    folder.mkdir(parents=True)
    (folder / "build.yaml").write_text("title: Elm\nengine: {cylinders: four}\n", encoding="utf-8")
    result = run("sheet", "elm", archive=tmp_path)
    assert result.exit_code == 1
    assert "build.yaml:2" in result.output
    assert "no sheet until the errors are corrected" in result.output
    assert not list(tmp_path.glob("*.pdf"))
