"""`millbook import` and `millbook export`."""

from __future__ import annotations

from pathlib import Path

from tests.support.command_line import run
from tests.support.spreadsheets import HEADINGS, ROWS, csv_bytes


def test_from_a_sheet_to_builds_and_back(tmp_path: Path) -> None:
    sheet = tmp_path / "engines.csv"
    sheet.write_bytes(csv_bytes((HEADINGS, *ROWS)))
    shown = run("import", str(sheet), "--dry-run", archive=tmp_path)
    assert "bottom_end.block.bores" in shown.stdout
    assert [path.name for path in tmp_path.iterdir()] == ["engines.csv"]
    proposed = run("import", str(sheet), archive=tmp_path)
    assert proposed.exit_code == 0, proposed.output
    assert "bottom_end.block.bores" in proposed.stdout
    assert "Nothing was imported" in proposed.stdout
    map_path = tmp_path / "engines.map.yaml"
    trial = run("import", str(sheet), "--map", str(map_path), "--dry-run", archive=tmp_path)
    assert "3 builds would be imported" in trial.stdout
    assert not (tmp_path / "builds").exists()
    result = run("import", str(sheet), "--map", str(map_path), archive=tmp_path)
    assert result.exit_code == 0, result.output
    assert result.stdout.index("bottom_end.block.bores") < result.stdout.index("3 builds imported")
    assert run("check", archive=tmp_path).exit_code == 0
    exported = run("export", "--xlsx", str(tmp_path / "out.xlsx"), archive=tmp_path)
    assert exported.exit_code == 0, exported.output
    assert "3 builds written" in exported.stdout


def test_what_is_wrong_is_a_message_and_exit_status_one(tmp_path: Path) -> None:
    for arguments in (
        ("import", str(tmp_path / "none.xlsx")),
        ("import", str(tmp_path), "--map", str(tmp_path / "none.yaml")),
        ("export", "--xlsx", str(tmp_path / "out.csv")),
    ):
        result = run(*arguments, archive=tmp_path)
        assert result.exit_code == 1
        assert "error: " in result.stderr
        assert "Traceback" not in result.output
