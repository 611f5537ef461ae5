"""A row becomes a build, whole or not at all, and never over another."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import pytest

from builder.record.problem import errors_in
from builder.record.redaction import without_private
from builder.record.spreadsheet.import_plan import plan_import, propose_map
from tests.support.spreadsheets import HEADINGS, ROWS, csv_bytes, import_sheet, imported, job_list, write_xlsx
from tests.support.tiny_archive import read_tree


@pytest.fixture
def sheet(tmp_path: Path) -> Path:
    path = tmp_path / "engines.csv"
    path.write_bytes(csv_bytes((HEADINGS, *ROWS)))
    return path


def test_every_row_becomes_a_build_with_its_values_as_they_are_in_the_sheet(tmp_path: Path, sheet: Path) -> None:
    report = import_sheet(tmp_path, sheet)
    assert report.ok
    build = imported(tmp_path, "0142-pilot-launch")
    assert (build.build.title, build.build.number, build.build.status) == ("Pilot launch", "0142", "finished")
    assert build.get("build.customer.name") == "H. Fenwick"
    assert str(build.build.finished) == "1998-05-17"
    assert build.get("bottom_end.block.bores").listed.text == "4.0305 in"
    assert build.get("bottom_end.crankshaft.stroke").listed.text == "3.480 in"
    assert build.build.private_notes == "paid half in advance"
    assert {path.name for path in (tmp_path / "builds").iterdir()} == {
        "0142-pilot-launch", "0143-post-van", "0150-offshore", "_schema", "shop.yaml"
    }  # fmt: skip


def test_where_a_build_came_from_stays_in_its_record_and_is_private(tmp_path: Path, sheet: Path) -> None:
    import_sheet(tmp_path, sheet)
    build = imported(tmp_path, "0143-post-van")
    source = build.build.imported_from
    assert source is not None
    assert (source.file, source.row) == ("engines.csv", "3")
    assert source.cells == {name: text for name, text in zip(HEADINGS, ROWS[1], strict=True) if text}
    public = without_private(build).build.imported_from
    assert public is not None
    assert (public.file, public.row, public.cells) == (None, None, None)


def test_a_second_run_changes_nothing(tmp_path: Path, sheet: Path) -> None:
    import_sheet(tmp_path, sheet)
    before = read_tree(tmp_path / "builds")
    report = import_sheet(tmp_path, sheet)
    assert report.ok
    assert not report.problems
    assert read_tree(tmp_path / "builds") == before
    assert any("3 rows imported before, unchanged" in line for line in report.lines)


def test_a_changed_sheet_says_which_rows_differ_and_touches_nothing(tmp_path: Path, sheet: Path) -> None:
    import_sheet(tmp_path, sheet)
    before = read_tree(tmp_path / "builds")
    changed = [list(row) for row in ROWS]
    changed[0][5] = "4.0405"
    changed[2][1] = "Offshore racer"  # another name for its folder
    new = ("0151", "Fire pump", "", "2002-01-01", "4", "3.5", "3.5", "")
    sheet.write_bytes(csv_bytes((HEADINGS, new, *changed)))
    report = import_sheet(tmp_path, sheet)
    text = "\n".join(map(str, report.problems))
    assert "engines.csv:3" in text
    assert "Bore (in) '4.0305', now '4.0405'" in text
    assert "engines.csv:5" in text
    assert "Engine 'Offshore', now 'Offshore racer'" in text
    after = read_tree(tmp_path / "builds")
    assert {name: after[name] for name in before} == before
    assert {name.split("/")[0] for name in after.keys() - before.keys()} == {"0151-fire-pump"}


def test_a_folder_that_did_not_come_from_the_row_is_never_touched(tmp_path: Path, sheet: Path) -> None:
    own = tmp_path / "builds" / "0142-pilot-launch"
    own.mkdir(parents=True)
    (own / "build.yaml").write_text("title: mine\nengine: {cylinders: 4}\n")
    before = read_tree(own)
    report = import_sheet(tmp_path, sheet)
    assert not report.ok
    (error,) = errors_in(report.problems)
    assert str(error).startswith(
        "engines.csv:2: error: builds/0142-pilot-launch exists and did not come from this file"
    )
    assert read_tree(own) == before
    imported(tmp_path, "0143-post-van")


def test_what_cannot_be_read_is_reported_and_the_rest_of_the_row_goes_in(tmp_path: Path, sheet: Path) -> None:
    row = ("7", "Tug", "", "2001-13-40", "V8", "four", "3.48 kg", "")
    sheet.write_bytes(csv_bytes((HEADINGS, row, ROWS[0])))
    report = import_sheet(tmp_path, sheet)
    build = imported(tmp_path, "7-tug")
    assert build.cylinders == 8
    assert build.bottom_end is None
    messages = [str(problem) for problem in report.problems]
    assert len(messages) == 3
    assert all(message.startswith("engines.csv:2: warning: column ") for message in messages)
    assert "column D (Finished): '2001-13-40' is not a day of the calendar" in messages[0]
    assert "column F (Bore (in)): 'four' is not a number" in messages[1]
    assert "column G (Stroke (in)): crankshaft.stroke: 'kg' is a unit of mass, but this is a length" in messages[2]


def test_a_row_without_what_a_build_needs_is_left_out_and_says_so(tmp_path: Path, sheet: Path) -> None:
    rows = (("1", "", "", "", "4", "4.0", "3.5", ""), ("2", "Van", "", "", "", "4.0", "3.5", ""), ROWS[0])
    sheet.write_bytes(csv_bytes((HEADINGS, *rows)))
    report = import_sheet(tmp_path, sheet)
    errors = [str(problem) for problem in errors_in(report.problems)]
    assert len(errors) == 2
    assert "engines.csv:2: error: has no title, which every build needs" in errors[0]
    assert "engines.csv:3: error: has no engine.cylinders, which every build needs" in errors[1]
    assert all(error.endswith("the row is left out") for error in errors)
    assert not (tmp_path / "builds" / ".import").exists()
    imported(tmp_path, "0142-pilot-launch")


def test_two_rows_with_one_name_are_both_left_out(tmp_path: Path, sheet: Path) -> None:
    sheet.write_bytes(csv_bytes((HEADINGS, ROWS[0], ROWS[1], ROWS[0])))
    report = import_sheet(tmp_path, sheet)
    assert [problem.line for problem in errors_in(report.problems)] == [2, 4]
    assert {path.name for path in (tmp_path / "builds").glob("0*")} == {"0143-post-van"}


def test_a_dry_run_reports_the_same_and_writes_nothing(tmp_path: Path, sheet: Path) -> None:
    sheet.write_bytes(csv_bytes((HEADINGS, *ROWS, ("7", "Tug", "", "x", "V8", "four", "3", ""))))
    propose_map(tmp_path, sheet)
    before = read_tree(tmp_path)
    report = import_sheet(tmp_path, sheet, dry_run=True)
    assert "4 builds would be imported" in report.lines[0]
    assert {path for path in read_tree(tmp_path) if path != "builds"} == set(before)
    assert report.problems == import_sheet(tmp_path, sheet).problems


def test_the_proposed_map_is_never_written_over_one_that_exists(tmp_path: Path, sheet: Path) -> None:
    first = propose_map(tmp_path, sheet)
    assert first.ok
    path = tmp_path / "engines.map.yaml"
    path.write_text("mine")
    again = propose_map(tmp_path, sheet)
    assert path.read_text() == "mine"
    assert any("exists and was left as it is" in line for line in again.lines)


def test_a_map_is_checked_with_its_lines_before_anything_is_written(tmp_path: Path, sheet: Path) -> None:
    text = (
        'slug: "{number}"\ncolumns:\n  Job: number\n  Engin: title\n'
        '  "Bore (in)": {into: bottom_end.block.bore, unit: in}\n'
        '  "Stroke (in)": {into: bottom_end.crankshaft.stroke, unit: kg}\nvalues: {engine.cylinders: 4, colour: red}\n'
    )
    report = import_sheet(tmp_path, sheet, text)
    shown = [str(problem).split("engines.map.yaml")[1] for problem in report.problems]
    assert shown[0].startswith(":4: error: the sheet has no column 'Engin': did you mean 'Engine'?")
    assert shown[1].startswith(":5: error: Bore (in): there is no field 'bore' in block: did you mean 'bores'?")
    assert shown[2].startswith(":6: error: Stroke (in): 'kg' is a unit of mass, but this is a length")
    assert shown[3].startswith(":7: error: there is no field 'colour'")
    assert not (tmp_path / "builds").exists()


def test_a_column_of_numbers_without_a_unit_is_refused_with_the_fix(tmp_path: Path, sheet: Path) -> None:
    sheet.write_bytes(csv_bytes((("Job", "Engine", "Bore"), ("1", "Van", "4.030"))))
    text = "columns: {Job: number, Engine: title, Bore: bottom_end.block.bores}\nvalues: {engine.cylinders: 4}\n"
    report = import_sheet(tmp_path, sheet, text)
    assert "Bore: its numbers have no unit: write {into: bottom_end.block.bores, unit: in} or" in str(
        report.problems[0]
    )


def test_readings_of_several_columns_become_one(tmp_path: Path) -> None:
    sheet = write_xlsx(tmp_path / "e.xlsx", {"Builds": [
        ["Job", "Engine", "Cyl", "Bore 1 (in)", "Bore 2 (in)", "Deck height, listed (in)", "Deck height, measured (in)",
         "Int dur @ .050", "Main clearance, allowed (in)", "Main clearance, measured (in)", "Piston maker"],
        [1, "Twin", 2, 4.0305, 4.0304, 9.025, 9.018, 230, "0.0022-0.0030", "0.0026; 0.0025; 0.0026", "Larkmoor"],
    ]})  # fmt: skip
    assert import_sheet(tmp_path, sheet).ok
    folder = tmp_path / "builds" / "1-twin"
    bottom_end = (folder / "bottom_end.yaml").read_text()
    assert "bores: {unit: in, measured: [4.0305, 4.0304]}" in bottom_end
    assert "deck_height: {unit: in, listed: 9.025, measured: 9.018}" in bottom_end
    assert "durations:\n      - at: 0.050 in\n        duration: 230 deg\n" in (folder / "cam.yaml").read_text()
    assert (
        "main_oil_clearance: {unit: in, measured: [0.0026, 0.0025, 0.0026], allowed: 0.0022..0.0030}"
        in (folder / "assembly.yaml").read_text()
    )
    imported(tmp_path, "1-twin")


def test_two_columns_in_different_units_fill_one_field(tmp_path: Path, sheet: Path) -> None:
    rows = (("Job", "Engine", "Cyl", "Stroke (in)", "Stroke (mm)"), ("1", "A", "4", "3.48", ""),
            ("2", "B", "4", "", "88.4"), ("3", "C", "4", "3.48", "88.4"))  # fmt: skip
    sheet.write_bytes(csv_bytes(rows))
    report = import_sheet(tmp_path, sheet)
    assert imported(tmp_path, "1-a").get("bottom_end.crankshaft.stroke").listed.text == "3.48 in"
    assert imported(tmp_path, "2-b").get("bottom_end.crankshaft.stroke").listed.text == "88.4 mm"
    assert "several columns give bottom_end.crankshaft.stroke, and they differ" in str(report.problems[0])
    assert imported(tmp_path, "3-c").get("bottom_end.crankshaft.stroke").listed.text == "3.48 in"


def test_text_that_yaml_would_read_as_something_else_stays_text(tmp_path: Path, sheet: Path) -> None:
    texts = [
        "yes",
        "12:30",
        "- x",
        "a: b # c",
        "'quoted'",
        '"',
        "{a}",
        "0x10",
        "1e5",
        "two\nlines",
        "@home",
        "~",
        "%",
        "é ß 你",
    ]
    rows = [("Job", "Engine", "Cyl", "Notes"), *((str(i), "X", "4", text) for i, text in enumerate(texts, start=1))]
    sheet.write_bytes(csv_bytes(rows))
    assert import_sheet(tmp_path, sheet).ok
    assert [imported(tmp_path, f"{i}-x").build.private_notes for i in range(1, len(texts) + 1)] == texts


def test_staging_left_by_a_killed_import_is_removed_and_anything_else_of_that_name_is_not(
    tmp_path: Path, sheet: Path
) -> None:
    staging = tmp_path / "builds" / ".import"
    (staging / "half").mkdir(parents=True)
    (staging / "half" / "build.yaml").write_text("title: ha")
    report = import_sheet(tmp_path, sheet)
    assert not report.ok
    assert (staging / "half" / "build.yaml").exists()
    (staging / "made-by-millbook-import.txt").write_text("")
    assert import_sheet(tmp_path, sheet).ok
    assert not staging.exists()


def _die_at_write(point: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """End this process at the given write of a text file, without any clearing up."""
    writes = iter(range(1, 10_000))
    write_text = Path.write_text

    def write(self: Path, *args: Any, **options: Any) -> int:
        if next(writes) == point:
            os._exit(9)
        return write_text(self, *args, **options)

    monkeypatch.setattr(Path, "write_text", write)


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs a process that can be copied")
def test_an_import_that_is_killed_leaves_whole_builds_only(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    rows = [(str(i), f"Engine {i}", "", "", "4", "4.0", "3.5", "") for i in range(1, 9)]
    sheet = tmp_path / "engines.csv"
    sheet.write_bytes(csv_bytes((HEADINGS, *rows)))
    propose_map(tmp_path, sheet)
    for point in range(1, 40, 4):
        child = os.fork()
        if child == 0:
            _die_at_write(point, monkeypatch)
            import_sheet(tmp_path, sheet)
            os._exit(0)
        os.waitpid(child, 0)
        for folder in (tmp_path / "builds").glob("[0-9]*"):
            assert {path.name for path in folder.iterdir()} == {"build.yaml", "bottom_end.yaml"}
            imported(tmp_path, folder.name)
    assert import_sheet(tmp_path, sheet).ok
    assert len(list((tmp_path / "builds").glob("[0-9]*"))) == 8


DYNO = [["Job", "Run", "RPM", "Torque (lb-ft)"], *([142, run, rpm, 200 + rpm / 100 + add]
        for run, add in (("first", 0), ("68 jets", 5)) for rpm in range(2500, 5600, 250))]  # fmt: skip


def test_a_sheet_of_dyno_readings_is_joined_by_number(tmp_path: Path) -> None:
    strays = [[999, "x", 3000, 210]]
    sheet = write_xlsx(tmp_path / "e.xlsx", {"Builds": [HEADINGS, *ROWS], "Dyno": [*DYNO, *strays]})
    propose_map(tmp_path, sheet)
    text = (tmp_path / "e.map.yaml").read_text()
    assert "dyno:\n  sheet: Dyno\n  number: Job\n  pull: Run\n" in text
    (tmp_path / "e.map.yaml").write_text(text.replace("values:\n", "values:\n  dyno.readings: observed\n"))
    report = import_sheet(tmp_path, sheet)
    assert [str(problem) for problem in report.problems] == [
        "e.xlsx:28: warning: no build has the number '999', or more than one: its readings are not imported"
    ]
    build = imported(tmp_path, "0142-pilot-launch")
    assert [pull.name for pull in build.pulls] == ["first", "68 jets"]
    assert build.get("dyno.readings") == "observed"
    assert imported(tmp_path, "0143-post-van").dyno is None
    assert build.logs["68 jets"].channels["torque"].max() == pytest.approx((200 + 55 + 5) * 1.3558179483)
    before = read_tree(tmp_path / "builds")
    assert import_sheet(tmp_path, sheet).ok
    assert read_tree(tmp_path / "builds") == before
    changed = [list(row) for row in DYNO]
    changed[3][3] = 1.0
    write_xlsx(sheet, {"Builds": [HEADINGS, *ROWS], "Dyno": changed})
    report = import_sheet(tmp_path, sheet)
    assert "differs from builds/0142-pilot-launch" in str(report.problems[0])
    assert "the readings of first in e.xlsx" in str(report.problems[0])
    assert read_tree(tmp_path / "builds") == before


def test_a_folder_of_logs_is_joined_by_the_number_that_each_name_begins_with(tmp_path: Path, sheet: Path) -> None:
    logs = tmp_path / "logs"
    logs.mkdir()
    text = "RPM,Torque (lb-ft)\n" + "".join(f"{rpm},{200 + rpm / 100}\n" for rpm in range(2500, 5600, 250))
    for name in ("142.csv", "0142-second pull.csv", "0143 first.csv", "777.csv"):
        (logs / name).write_text(text)
    (logs / "0150.csv").write_text("nothing here\n")
    propose_map(tmp_path, sheet)
    map_path = tmp_path / "engines.map.yaml"
    map_path.write_text(map_path.read_text() + "dyno: {folder: logs}\n")
    report = import_sheet(tmp_path, sheet)
    assert len(imported(tmp_path, "0142-pilot-launch").pulls) == 2
    assert len(imported(tmp_path, "0143-post-van").pulls) == 1
    assert imported(tmp_path, "0150-offshore").pulls == ()
    text = "\n".join(map(str, report.problems))
    assert "777.csv:1: warning: its name begins with the number of no build" in text
    assert "engines.csv:4: warning: pull 0150: 0150.csv:1: " in text
    before = read_tree(tmp_path / "builds")
    again = import_sheet(tmp_path, sheet)
    assert [str(problem) for problem in again.problems] == [str(report.problems[0])]  # of 777.csv alone
    assert read_tree(tmp_path / "builds") == before
    assert (tmp_path / "builds/0142-pilot-launch/dyno/0142-second-pull.csv").read_bytes() == (
        logs / "0142-second pull.csv"
    ).read_bytes()


def test_the_plan_shows_each_column_before_anything_is_written(tmp_path: Path, sheet: Path) -> None:
    propose_map(tmp_path, sheet)
    plan, _ = plan_import(tmp_path, sheet, tmp_path / "engines.map.yaml")
    assert plan is not None
    bore = next(line for line in plan.lines if "Bore (in)" in line)
    assert bore.split() == ["F", "Bore", "(in)", "bottom_end.block.bores", "in", "4.0305", "3"]
    assert not (tmp_path / "builds").exists()


def test_a_job_list_as_shops_keep_them_goes_in_without_a_change_to_its_map(tmp_path: Path) -> None:
    sheet = write_xlsx(tmp_path / "jobs.xlsx", {"Jobs": job_list(30), "Prices": [["part", "price"]]})
    report = import_sheet(tmp_path, sheet)
    (total,) = errors_in(report.problems)
    assert total.line == 34
    assert "has no title" in total.message
    builds = [imported(tmp_path, folder.name) for folder in sorted((tmp_path / "builds").glob("[09]*"))]
    assert len(builds) == 30
    for build, row in zip(builds, sorted(job_list(30)[3:-1], key=lambda row: str(row[0])), strict=True):
        assert build.build.number == row[0]
        assert float(build.get("bottom_end.block.bores").listed.number) == row[8]
        assert float(build.get("top_end.heads.chambers").measured[0].number) == row[12]
        power = build.get("dyno.noted_result.power")
        assert (power.number if power else None) == (str(row[26]).partition(" ")[0] if row[26] else None)
        card = build.get("cam.card.intake.durations")
        assert (card[0].duration.text if card else None) == (f"{row[15][:3]} deg" if row[15] else None)
    assert len(report.problems) < 10  # the same fault of many rows is one line
