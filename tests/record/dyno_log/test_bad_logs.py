"""Every way a log can be bad ends in a message with file and line: an error where a number matters, else a warning."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest

from builder.record.dyno_log.reader import DynoLog, read_dyno_log
from tests.support.dyno_dialects import Dialect, pull, write_log

HEAD = "Time (s),RPM,Torque (Nm),Power (kW),Oil temp (C)\n"
ROWS = [
    f"{0.1 * i:.1f},{3000 + 100 * i},{300 + i},{(3000 + 100 * i) * (300 + i) / 9549.3:.1f},{90 + i}" for i in range(8)
]


def text(**changed: str) -> str:
    """The good log with lines replaced: line5="...". Line 2 is the first row."""
    rows = list(ROWS)
    for line, row in changed.items():
        rows[int(line.removeprefix("line")) - 2] = row
    return HEAD + "\n".join(rows) + "\n"


def read(tmp_path: Path, content: str | bytes, **kwargs: object) -> tuple[DynoLog | None, list[str]]:
    path = tmp_path / "pull.csv"
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    log, problems = read_dyno_log(path, shown_as=Path("pull.csv"), **kwargs)  # type: ignore[arg-type]
    return log, [str(problem) for problem in problems]


def refused(tmp_path: Path, content: str | bytes, start: str, *parts: str, **kwargs: object) -> None:
    log, problems = read(tmp_path, content, **kwargs)
    assert log is None
    assert problems
    matches = [problem for problem in problems if problem.startswith(f"pull.csv:{start}")]
    assert matches, problems
    for part in parts:
        assert part in matches[0]


def warned(tmp_path: Path, content: str | bytes, start: str, *parts: str, **kwargs: object) -> DynoLog:
    log, problems = read(tmp_path, content, **kwargs)
    assert log is not None, problems
    matches = [problem for problem in problems if problem.startswith(f"pull.csv:{start}")]
    assert matches, problems
    for part in parts:
        assert part in matches[0]
    return log


def test_the_log_that_is_changed_below_is_good(tmp_path: Path) -> None:
    log, problems = read(tmp_path, text())
    assert problems == []
    assert log is not None
    assert log.rows.size == 8


@pytest.mark.parametrize(
    "cell", ["abc", "nan", "NaN", "inf", "-Infinity", "1e999", "3,1.5", "--", "3 00", "0x1F", "1_0", "٣٠٠"]
)
def test_a_cell_that_is_no_number_in_a_required_column(tmp_path: Path, cell: str) -> None:
    refused(tmp_path, text(line5=f'0.3,3300,"{cell}",104.0,93'), "5: error: ", repr(cell), "'Torque (Nm)'")
    refused(tmp_path, text(line5=f'0.3,"{cell}",303,104.0,93'), "5: error: ", repr(cell), "'RPM'")


@pytest.mark.parametrize("cell", ["abc", "nan", "inf", "n/a"])
def test_a_cell_that_is_no_number_in_a_lesser_column(tmp_path: Path, cell: str) -> None:
    log = warned(tmp_path, text(line5=f"0.3,3300,303,104.7,{cell}"), "5: warning: ", repr(cell), "the cell is left out")
    assert np.isnan(log.channels["oil_temperature"]).tolist() == [False] * 3 + [True] + [False] * 4


def test_words_in_a_required_column_of_the_last_row(tmp_path: Path) -> None:
    refused(tmp_path, text(line9="0.7,3700,x,119.0,97"), "9: error: ", "'x' under 'Torque (Nm)'")


def test_negative_speed(tmp_path: Path) -> None:
    refused(tmp_path, text(line4="0.2,-3200,302,101.2,92"), "4: error: ", "negative (-3200)")
    refused(tmp_path, text(line9="0.7,-3700,307,119.0,97"), "9: error: ", "negative (-3700)")


@pytest.mark.parametrize(
    ("row", "cells"),
    [("0.3,3300,303,104.7", 4), ("0.3,3300,303,104.7,93,1", 6), ("3300", 1), ("0.3,3,300,303,104.7,93", 6)],
)
def test_rows_of_another_length(tmp_path: Path, row: str, cells: int) -> None:
    refused(tmp_path, text(line5=row), "5: error: ", f"has {cells} cells and the header 5")


def test_a_short_row_at_the_end_is_cut_off_or_wrong(tmp_path: Path) -> None:
    refused(tmp_path, text(line9="0.7,3700,307"), "9: error: ", "3 cells")
    log = warned(tmp_path, text(line9="0.7,3700,307").rstrip("\n"), "9: warning: ", "not whole")
    assert log.rows.tolist() == list(range(2, 9))


def test_a_row_without_speed_is_skipped(tmp_path: Path) -> None:
    log = warned(tmp_path, text(line5="0.3,,303,104.7,93"), "5: warning: ", "no engine speed")
    assert 5 not in log.rows


def test_nul_bytes(tmp_path: Path) -> None:
    refused(tmp_path, text(line6="0.4,34\x0000,304,108.2,94"), "6: error: ", "NUL bytes (1, the first on this line)")
    refused(tmp_path, text() + "\0" * 100, "10: error: ", "NUL bytes (100,")


@pytest.mark.parametrize(
    "content", [b"", b"\n\n\r\n", b"\xef\xbb\xbf", b"\xff\xfe", "  \n\t".encode("utf-16"), b"\x1a"]
)
def test_an_empty_file(tmp_path: Path, content: bytes) -> None:
    refused(tmp_path, content, "1: error: ", "empty")


def test_bytes_that_are_no_text(tmp_path: Path) -> None:
    refused(tmp_path, b"RPM,Torque (Nm)\n3000,300\n35\x8100,310\n", "3: error: ", "not readable as Windows-1252")
    refused(tmp_path, b"\xef\xbb\xbfRPM,Torque (Nm)\n30\xff00,300\n", "2: error: ", "not readable as UTF-8")
    refused(tmp_path, "RPM,Torque (Nm)\n".encode("utf-16") + b"\x00\xd8\x00\x00", "2: error: ", "UTF-16")


def test_no_header(tmp_path: Path) -> None:
    refused(tmp_path, "3000,300\n3500,310\n", "1: error: ", "no header was found in the first 2 lines")
    refused(tmp_path, "Drehzahl,Moment\n1,2\n", "1: error: ", "'Drehzahl'", columns={"engine_speed": "Drehzahl"})
    refused(tmp_path, "x" * 100_000, "1: error: ", "too long")


def test_a_header_that_lacks_one_column_names_what_it_may_be(tmp_path: Path) -> None:
    refused(tmp_path, "Bench 2;;\nRPM;Twist [Nm];Note\n3000;300;x\n", "2: error: ", "columns: {torque: 'Twist [Nm]'}")
    refused(tmp_path, "Turns,Torque (Nm)\n3000,300\n", "1: error: ", "columns: {engine_speed: 'Turns'}")


def test_no_rows(tmp_path: Path) -> None:
    refused(tmp_path, HEAD, "1: error: ", "no row of numbers")
    refused(tmp_path, HEAD + "s,rpm,Nm,kW,C\n", "1: error: ", "no row of numbers")
    refused(tmp_path, HEAD + "1,Max,2,3,4\n", "1: error: ", "no row of numbers")
    refused(tmp_path, HEAD + "a,b,c,d,e\n", "2: error: ", "'b' under 'RPM'")


def test_missing_columns(tmp_path: Path) -> None:
    refused(tmp_path, "Time (s),RPM\n1,3000\n", "1: error: ", "no header")
    refused(tmp_path, "RPM,Torque (Nm)\n3000,300\n", "1: error: ", "'Trq'", "none", columns={"torque": "Trq"})
    refused(tmp_path, "Speed (mph),Torque (Nm)\n30,300\n", "1: error: ", "'mph'", "rpm")


def test_no_unit_is_guessed(tmp_path: Path) -> None:
    refused(tmp_path, "RPM,Torque\n3000,300\n", "1: error: ", "'Torque' has no unit", "units: {torque: lb-ft}")
    refused(tmp_path, "RPM,Torque (Nm),Power\n3000,300,9\n", "1: error: ", "'Power' has no unit")
    refused(tmp_path, "Engine speed,Torque (Nm)\n3000,300\n", "1: error: ", "'Engine speed' has no unit")
    rows = "3000,300,90\n3500,310,91\n"
    log = warned(tmp_path, "RPM,Torque (Nm),Oil temp\n" + rows, "1: warning: ", "'Oil temp' has no unit", "left out")
    assert "oil_temperature" not in log.channels
    warned(tmp_path, "RPM,Torque (Nm),Fuel (gal/h)\n" + rows, "1: warning: ", "'gal/h'", "US gal/h, imp gal/h")


def test_units_that_do_not_fit(tmp_path: Path) -> None:
    refused(tmp_path, "RPM,Torque (hp)\n3000,300\n", "1: error: ", "'hp' of column 'Torque (hp)'", "lb-ft, N m")
    refused(tmp_path, 'RPM;"Torque, hp"\n3000;300\n', "1: error: ", "'hp' of column 'Torque, hp'")
    refused(tmp_path, "RPM,Torque (Nm)\nrpm,kW\n3000,300\n", "2: error: ", "gives one unit", "'kW'")
    refused(tmp_path, "RPM,Torque\nrpm,hp\n3000,300\n", "2: error: ", "'hp' of column 'Torque'")
    refused(tmp_path, "RPM,Torque (Nm)\nrpm,lb-ft\n3000,300\n", "2: error: ", "gives one unit", "'lb-ft'")
    refused(tmp_path, "RPM,Torque (Nm)\n3000,300\n", "1: error: ", "'furlong'", units={"torque": "furlong"})


def test_a_line_between_header_and_data_that_is_neither(tmp_path: Path) -> None:
    refused(tmp_path, "RPM,Torque (Nm)\nas,measured\n3000,300\n3500,310\n", "2: error: ", "'as' under 'RPM'")


@pytest.mark.parametrize("word", ["Corrected", "STD", "Obs.", "Smoothed"])
def test_two_columns_for_one_channel(tmp_path: Path, word: str) -> None:
    content = f"RPM,Torque (Nm),{word} Torque (Nm)\n3000,300,310\n3500,302,312\n"
    refused(tmp_path, content, "1: error: ", "2 columns look like torque", "'Torque (Nm)' (column 2)",
            f"'{word} Torque (Nm)' (column 3)", "columns: {torque: 'Torque (Nm)'}")  # fmt: skip


def test_two_columns_for_a_lesser_channel(tmp_path: Path) -> None:
    content = "RPM,Torque (Nm),Inlet temp (C),Ambient temp (C)\n3000,300,30,25\n3500,302,30,25\n"
    log = warned(tmp_path, content, "1: warning: ", "2 columns look like air_temperature", "left out")
    assert "air_temperature" not in log.channels


def test_columns_of_one_name(tmp_path: Path) -> None:
    content = "RPM,Torque (Nm),Torque (Nm)\n3000,300,310\n3500,302,312\n"
    refused(tmp_path, content, "1: error: ", "write one of column 2 and column 3", columns={"torque": "Torque (Nm)"})
    log, problems = read(tmp_path, content, columns={"torque": "column 3"})
    assert problems == []
    assert log is not None
    assert log.channels["torque"].tolist() == [310.0, 312.0]


def test_torque_observed_with_power_corrected(tmp_path: Path) -> None:
    rows = "3000,300,94.2\n3500,302,110.7\n"
    refused(tmp_path, "RPM,Observed Torque (Nm),Corrected Power (kW)\n" + rows, "1: error: ", "looks corrected")
    warned(tmp_path, "RPM,Torque (Nm),Corrected Power (kW)\n" + rows, "1: warning: ", "looks corrected")


def test_two_headers(tmp_path: Path) -> None:
    swapped = "RPM,Time (s),Torque (Nm),Power (kW),Oil temp (C)"
    refused(tmp_path, HEAD + swapped + "\n" + "\n".join(ROWS), "2: error: ", "second header", "line 1")
    refused(tmp_path, text(line6=swapped), "6: error: ", "second header", "line 1")
    refused(tmp_path, swapped + "\n" + text(), "2: error: ", "second header")


def test_the_record_names_a_column_that_is_missing(tmp_path: Path) -> None:
    refused(tmp_path, text(), "1: error: ", "'tork'", "did you mean torque", columns={"tork": "Torque (Nm)"})
    refused(tmp_path, text(), "1: error: ", "'oil_temp'", units={"oil_temp": "C"})
    refused(tmp_path, text(), "1: error: ", "did you mean 'Torque (Nm)'", columns={"torque": "Torque Nn"})
    log, problems = read(tmp_path, text(), units={"fuel_flow": "lb/h"})
    assert problems == []
    assert log is not None
    assert "the record gives a unit for fuel_flow, which the log does not have" in log.notes


def test_speeds_that_never_rise(tmp_path: Path) -> None:
    refused(tmp_path, "RPM,Torque (Nm)\n3000,300\n3000,302\n", "2: error: ", "3000 rpm in every row")
    refused(tmp_path, "RPM,Torque (Nm)\n3000,300\n", "2: error: ", "only one row")
    warned(tmp_path, "RPM,Torque (Nm)\n3000,300\n3010,302\n2995,301\n", "2: warning: ", "at one speed")


def test_a_required_column_is_empty(tmp_path: Path) -> None:
    refused(tmp_path, "RPM,Torque (Nm),Power (kW)\n3000,,\n3500,,\n", "2: error: ", "torque is empty")
    log = warned(tmp_path, "RPM,Torque (Nm),Power (kW)\n3000,,94\n3500,,110\n", "2: warning: ", "torque is empty")
    assert set(log.channels) == set(log.units) == {"engine_speed", "power"}


def test_marks_that_disagree(tmp_path: Path) -> None:
    content = "RPM;Torque (Nm)\n3000;300.5\n3100;301.5\n3200;302,5\n3300;303.5\n"
    refused(tmp_path, content, "4: error: ", "'302,5'", "decimal mark is a point")
    content = "RPM;Torque (Nm);Oil temp (C)\n3000;300.5;9\n3,100;301.5;9\n3200;302.5;9\n"
    refused(tmp_path, content, "3: error: ", "'3,100'", "line 2 without one")


def test_implausible_numbers_are_pointed_out(tmp_path: Path) -> None:
    warned(tmp_path, "RPM,Torque (Nm)\n3000,300\n35000,310\n", "3: warning: ", "engine speed of 583.3 rev/s")
    warned(tmp_path, "RPM,Torque (kN m)\n3000,300\n3500,310\n", "2: warning: ", "torque of 3e+05 N m")
    warned(tmp_path, text(line5="0.3,3300,303,104.7,1300"), "5: warning: ", "oil temperature of 1573 K")
    warned(tmp_path, text(line5="9.3,3300,303,104.7,93"), "6: warning: ", "time runs backwards")


def test_cells_of_a_row_swapped(tmp_path: Path) -> None:
    warned(tmp_path, text(line5="0.3,303,3300,104.7,93"), "5: warning: ", "leaps to 303 rpm")
    warned(tmp_path, text(line5="0.3,3300,104.7,303,93"), "5: warning: ", "do not go together")


def test_a_column_of_words_is_left_out(tmp_path: Path) -> None:
    rows = [f"{3000 + 100 * i},300,row {i}" for i in range(6)]
    log = warned(tmp_path, "RPM,Torque (Nm),Time (s)\n" + "\n".join(rows) + "\n", "2: warning: ", "holds words")
    assert "time" not in log.channels


@pytest.mark.parametrize(
    ("tail", "is_read"),
    [
        ("3800,308.25", True),
        ("3800,308.2", False),
        ("3800,30", False),
        ("3800,", False),
        ("38", False),
        ('"3800","308.25"', True),
    ],
)
def test_a_file_cut_off_in_its_last_number(tmp_path: Path, tail: str, is_read: bool) -> None:
    content = "RPM,Torque (Nm)\n3000,300.25\n3100,310.00\n3200,305.50\n" + tail
    log, problems = read(tmp_path, content)
    assert log is not None
    assert (5 in log.rows) is is_read
    assert is_read or problems[0].startswith("pull.csv:5: warning: ")


def test_utf_16_cut_in_half_a_character(tmp_path: Path) -> None:
    data = write_log(Dialect(encoding="utf-16-le"), pull(20))
    log, problems = read(tmp_path, data[:-3])
    assert log is not None
    assert log.rows.size == 20
    assert np.isnan(log.channels["oil_temperature"][-1])
    assert problems[0].startswith("pull.csv:21: warning: the file ends inside this line")


def test_paths_that_are_no_files(tmp_path: Path) -> None:
    good = tmp_path / "good.csv"
    good.write_text(text())
    (tmp_path / "link.csv").symlink_to(good)
    for path, message in ((tmp_path, "plain file"), (tmp_path / "none.csv", "no such file"),
                       (tmp_path / "link.csv", "link"), (Path(os.devnull), "plain file"),
                       (Path("a\0b"), "cannot be read"), (tmp_path / ("x" * 300), "cannot be read")):  # fmt: skip
        log, problems = read_dyno_log(path)
        assert log is None
        assert [p.severity for p in problems] == ["error"]
        assert message in problems[0].message


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
def test_a_named_pipe_does_not_hang(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.csv")
    log, problems = read_dyno_log(tmp_path / "pipe.csv")
    assert log is None
    assert "plain file" in problems[0].message


def test_a_file_too_large(tmp_path: Path) -> None:
    refused(tmp_path, text(), "1: error: ", "the most that is read is", limit=100)
    with (tmp_path / "huge.csv").open("wb") as file:
        file.truncate(200_000_001)
    log, problems = read_dyno_log(tmp_path / "huge.csv")
    assert log is None
    assert "200 MB" in problems[0].message


def test_lines_too_long_too_many_and_too_irregular(tmp_path: Path) -> None:
    refused(tmp_path, text() + "1," * 200_000, "10: error: ", "too long")
    refused(tmp_path, HEAD + "x,y,z\n" * 2000, "502: error: ", "more than 500 lines")
    log, problems = read(tmp_path, HEAD + "\n".join(ROWS * 3 + ["bad,3000,x,y,1"] * 50 + ROWS) + "\n")
    assert log is None
    assert len(problems) < 20
    assert "40 more lines" in problems[-1]


def test_a_hostile_header_is_abandoned(tmp_path: Path) -> None:
    refused(tmp_path, ("a,b;" * 10_000 + "\n") * 20, "1: error: ", "no header")


def test_thousands_of_rows_without_speed_are_counted_not_listed(tmp_path: Path) -> None:
    rows = [f"{0.1 * i:.1f},{3000 + i if i % 3 == 0 else ''},{300 if i % 3 == 0 else ''},," for i in range(3000)]
    log, problems = read(tmp_path, HEAD + "\n".join(rows) + "\n")
    assert log is not None
    assert log.rows.size == 1000
    assert len(problems) == 12
    assert all("warning" in problem for problem in problems)
    assert any("2,000 rows without engine speed" in note for note in log.notes)


def test_a_thousands_mark_that_reads_as_a_decimal_mark_makes_no_engine_of_six_rpm(tmp_path: Path) -> None:
    rows = "".join(f"{speed / 1000:.3f};{200 + speed / 100:.1f}\n" for speed in range(2000, 6001, 200))
    refused(tmp_path, "RPM;Torque (Nm)\n" + rows, "2", "never above 6 rpm", "Two thousand is 2000")
    swapped = "".join(f"{120 + step},{2000 + 100 * step}\n" for step in range(20))
    warned(tmp_path, "RPM,Torque (Nm)\n" + swapped, "2", "never above 139 rpm", "is it this column")
