"""Whatever a spreadsheet holds: no traceback, nothing half written, no memory or time used up."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from builder.record.load import read_build
from tests.support.hostile_spreadsheets import HOSTILE, workbook
from tests.support.spreadsheets import import_sheet, imported


def test_there_are_two_hundred() -> None:
    assert len({name for name, _ in HOSTILE}) == len(HOSTILE) >= 200


def test_the_workbook_that_the_others_are_made_from_is_read(tmp_path: Path) -> None:
    path = tmp_path / "good.xlsx"
    path.write_bytes(workbook())
    assert import_sheet(tmp_path, path).ok
    assert imported(tmp_path, "0150-offshore").get("bottom_end.block.bores").listed.text == "4.155 in"


@pytest.mark.parametrize(("name", "make"), HOSTILE, ids=[name for name, _ in HOSTILE])
def test_a_hostile_spreadsheet_ends_in_messages_and_whole_builds(
    name: str, make: Callable[[], bytes], tmp_path: Path
) -> None:
    path = tmp_path / name
    path.write_bytes(make())
    report = import_sheet(tmp_path, path)
    for problem in report.problems:
        assert str(problem).isprintable()
        assert problem.message
        assert len(str(problem)) < 1500
    builds = tmp_path / "builds"
    folders = [entry for entry in builds.iterdir() if entry.is_dir()] if builds.exists() else []
    for folder in folders:
        assert folder.name != ".import"
        if folder.name != "_schema":
            build, problems = read_build(folder, tmp_path)
            assert build is not None, problems
    assert report.ok or report.problems
    assert {entry.name for entry in tmp_path.iterdir()} <= {name, "builds", f"{path.stem}.map.yaml"}


REFUSED = ("laughs", "outside", "bomb", "columns-100000", "columns-million", "rows-million", "deep", "csv-rows")


@pytest.mark.parametrize("kind", REFUSED)
def test_what_would_use_up_memory_or_read_other_files_is_refused(kind: str, tmp_path: Path) -> None:
    chosen = [(name, make) for name, make in HOSTILE if name.startswith(f"{kind}-") or name.rpartition(".")[0] == kind]
    assert chosen
    for name, make in chosen:
        path = tmp_path / name
        path.write_bytes(make())
        report = import_sheet(tmp_path, path)
        assert not report.ok, name
        assert not (tmp_path / "builds").exists()
