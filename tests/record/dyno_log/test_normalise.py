"""Logs in odd forms: columns parted by blanks alone, and times as a clock shows them."""

from __future__ import annotations

import datetime
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from builder.record.dyno_log.encoding import LogText
from builder.record.dyno_log.normalise import blanks_to_tabs
from builder.record.dyno_log.reader import DynoLog, read_dyno_log
from tests.support.dyno_dialects import pull

RPM = [2000 + 150 * i for i in range(12)]
TORQUE = [300.5 + i for i in range(12)]


def read(tmp_path: Path, content: str, **kwargs: object) -> tuple[DynoLog | None, list[str]]:
    path = tmp_path / "pull.txt"
    path.write_text(content, encoding="utf-8")
    log, problems = read_dyno_log(path, shown_as=Path("pull.txt"), **kwargs)  # type: ignore[arg-type]
    return log, [str(problem) for problem in problems]


def good(tmp_path: Path, content: str, **kwargs: object) -> DynoLog:
    log, problems = read(tmp_path, content, **kwargs)
    assert problems == []
    assert log is not None
    return log


def clocked(times: list[str], head: str = "Time", delimiter: str = ",", place: int = 0) -> str:
    """A log with a column of times, first, second or last."""
    lines = [["RPM", "Torque (Nm)"], *([f"{rpm}", f"{torque:.0f}"] for rpm, torque in zip(RPM, TORQUE, strict=True))]
    for line, cell in zip(lines, [head, *times], strict=True):
        line.insert(place, cell)
    return "".join(delimiter.join(line) + "\n" for line in lines)


# -- Times of a clock ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("place", [0, 1, 2])
@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_hours_minutes_and_seconds(tmp_path: Path, place: int, delimiter: str) -> None:
    log = good(tmp_path, clocked([f"10:59:{48 + i}.25" for i in range(12)], delimiter=delimiter, place=place))
    np.testing.assert_allclose(log.channels["time"], 10 * 3600 + 59 * 60 + 48.25 + np.arange(12))
    assert log.units["time"] == "s"
    assert any("hh:mm:ss: read as seconds" in line for line in log.notes)
    np.testing.assert_allclose(log.channels["engine_speed"] * 60, RPM)


@pytest.mark.parametrize("head", ["Time", "Time (s)", "Time (mm:ss.s)", "Elapsed time [min:s]"])
def test_minutes_and_seconds_with_parts_of_a_second(tmp_path: Path, head: str) -> None:
    log = good(tmp_path, clocked([f"{i // 6:02d}:{i % 6 * 10:02d}.5" for i in range(12)], head))
    np.testing.assert_allclose(log.channels["time"], 10.0 * np.arange(12) + 0.5)


def test_a_decimal_comma_stays_one(tmp_path: Path) -> None:
    log = good(tmp_path, clocked([f"0:00:{i:02d},25" for i in range(12)], delimiter=";").replace("300;", "300,0;"))
    np.testing.assert_allclose(log.channels["time"], np.arange(12) + 0.25)


def test_quoted_times_are_times(tmp_path: Path) -> None:
    log = good(tmp_path, clocked([f'"01:02:{i:02d}"' for i in range(12)]))
    np.testing.assert_allclose(log.channels["time"], 3720 + np.arange(12))


def test_two_fields_that_could_be_either_are_left_out_until_the_record_says(tmp_path: Path) -> None:
    content = clocked([f"10:{10 + i}" for i in range(12)], place=2)
    log, problems = read(tmp_path, content)
    assert log is not None
    assert "time" not in log.channels
    assert log.channels["torque"].size == 12
    (problem,) = problems
    assert problem.startswith("pull.txt:2: warning: '10:10' may be minutes and seconds or hours and minutes")
    assert "units: {time: mm:ss} or units: {time: hh:mm}" in problem
    minutes = good(tmp_path, content, units={"time": "mm:ss"})
    np.testing.assert_allclose(minutes.channels["time"], 610 + np.arange(12))
    hours = good(tmp_path, content, units={"time": "hh:mm"})
    np.testing.assert_allclose(hours.channels["time"], 60 * (610 + np.arange(12)))


def test_more_minutes_than_a_day_has_hours_can_only_be_minutes(tmp_path: Path) -> None:
    log = good(tmp_path, clocked([f"{20 + i}:30" for i in range(12)]))
    np.testing.assert_allclose(log.channels["time"], 60.0 * (20 + np.arange(12)) + 30)


def test_the_hours_appear_when_the_first_is_full(tmp_path: Path) -> None:
    times = [f"59:{50 + i}.5" if i < 10 else f"1:00:0{i - 10}.5" for i in range(12)]
    log = good(tmp_path, clocked(times))
    np.testing.assert_allclose(log.channels["time"], 3590.5 + np.arange(12))


@pytest.mark.parametrize(
    ("before", "after", "note"), [("23:59:", "00:00:", "it passes the full day"), ("59:", "00:", "the full hour")]
)
def test_a_clock_that_begins_again_goes_on(tmp_path: Path, before: str, after: str, note: str) -> None:
    times = [f"{before}{54 + i}.0" if i < 6 else f"{after}{i - 6:02d}.0" for i in range(12)]
    log = good(tmp_path, clocked(times))
    np.testing.assert_allclose(np.diff(log.channels["time"]), 1.0)
    assert any(note in line for line in log.notes)


def test_a_second_pull_in_the_file_is_not_a_new_day(tmp_path: Path) -> None:
    times = [f"00:10:{10 + i}" if i < 6 else f"00:00:{i:02d}" for i in range(12)]
    log, problems = read(tmp_path, clocked(times))
    assert log is not None
    assert any("time runs backwards" in problem for problem in problems)


def test_a_cell_that_is_no_time_is_named_and_left_out(tmp_path: Path) -> None:
    times = [f"0:00:{i:02d}" for i in range(12)]
    times[5] = "0:00:71"
    log, problems = read(tmp_path, clocked(times))
    assert log is not None
    assert np.isnan(log.channels["time"][5])
    assert problems == ["pull.txt:7: warning: '0:00:71' under 'Time' is not a number; the cell is left out"]


def test_a_mapped_column_may_hold_a_clock(tmp_path: Path) -> None:
    content = clocked([f"0:00:{i:02d}" for i in range(12)], "Stamp hh:mm:ss")
    log = good(tmp_path, content, columns={"time": "Stamp hh:mm:ss"})
    np.testing.assert_allclose(log.channels["time"], np.arange(12))


@given(st.lists(st.integers(0, 86_399_999), min_size=12, max_size=12, unique=True))
def test_every_time_of_the_day_is_pythons(tmp_path_factory: pytest.TempPathFactory, stamps: list[int]) -> None:
    """Source: datetime.timedelta of the Python standard library writes the times, and its seconds are expected."""
    stamps.sort()
    times = [str(datetime.timedelta(milliseconds=stamp)) for stamp in stamps]
    times = [time if "." in time else f"{time}.000000" for time in times]
    log, _ = read(tmp_path_factory.mktemp("clock"), clocked(times))
    assert log is not None
    np.testing.assert_allclose(log.channels["time"], np.array(stamps) / 1000)


# -- Columns parted by blanks -------------------------------------------------------------------------------------

HEAD = "  Time     RPM   Torque   Power    Oil temp\n     s            lb-ft      hp        °C\n"


def in_blanks(data: np.ndarray, head: str = HEAD) -> str:
    rows = (f"{t:6.2f}  {n:6.1f}  {m:7.1f} {p:7.1f} {oil:10.1f}" for t, n, m, p, oil in data)
    return head + "".join(f"{row}\n" for row in rows)


def test_columns_separated_by_blanks_with_a_units_row_below_some_of_them(tmp_path: Path) -> None:
    data = pull(25)
    log = good(tmp_path, "Run 3 of the day\n\n" + in_blanks(data))
    by_commas = good(tmp_path, "Time (s),RPM,Torque (lb-ft),Power (hp),Oil temp (°C)\n"
                     + "".join(",".join(f"{v:.2f}" for v in row) + "\n" for row in data))  # fmt: skip
    assert log.channels.keys() == by_commas.channels.keys()
    for slug, values in log.channels.items():
        np.testing.assert_allclose(values, by_commas.channels[slug], rtol=1e-12)
    assert log.rows[0] == 5
    assert "blank-separated" in log.notes[0]


@pytest.mark.parametrize(
    "head",
    [
        "Engine speed (rpm)   Torque (lb ft)\n",
        "Engine speed, rpm  Torque, lb ft\n",
        "RPM Torque\nrpm lb-ft\n",
        "RPM\tTorque\n\tlb-ft\n",
        "\n   RPM      Torque(lb-ft)\n  =====     =======\n",
    ],
)
@pytest.mark.parametrize("gap", [" ", "   ", " \t "])
def test_names_of_several_words_are_separated_by_wide_gaps(tmp_path: Path, head: str, gap: str) -> None:
    log = good(tmp_path, head + "".join(f"  {rpm}{gap}{torque} \n" for rpm, torque in zip(RPM, TORQUE, strict=True)))
    np.testing.assert_allclose(log.channels["engine_speed"] * 60, RPM)
    np.testing.assert_allclose(log.channels["torque"] / 1.3558179483314004, TORQUE)


def test_a_decimal_comma_and_a_clock_between_blanks(tmp_path: Path) -> None:
    rows = (f"0:00:{i:02d},5  {rpm}  {torque:.1f}\n" for i, (rpm, torque) in enumerate(zip(RPM, TORQUE, strict=True)))
    log = good(tmp_path, "Time  RPM  Torque(Nm)\n" + "".join(row.replace(".", ",") for row in rows))
    np.testing.assert_allclose(log.channels["time"], np.arange(12) + 0.5)
    np.testing.assert_allclose(log.channels["torque"], TORQUE)


def test_a_line_that_blanks_leave_ambiguous_is_reported(tmp_path: Path) -> None:
    rows = [f"{rpm} {torque} {90 + i}\n" for i, (rpm, torque) in enumerate(zip(RPM, TORQUE, strict=True))]
    lost = [*rows[:5], f"{RPM[5]}         95\n", *rows[6:]]
    log, problems = read(tmp_path, "RPM  Torque (Nm)  Oil temp (C)\n" + "".join(lost))
    assert log is None
    assert [problem for problem in problems if problem.startswith("pull.txt:7: error: the row has 2 cells")]
    words = [*rows[:5], rows[5].replace("305.5", "slip"), *rows[6:], "End of the run\n"]
    log, problems = read(tmp_path, "RPM  Torque (Nm)  Oil temp (C)\n" + "".join(words))
    assert log is None
    assert any(
        problem.startswith("pull.txt:7: error: 'slip' under 'Torque (Nm)' is not a number") for problem in problems
    )
    assert any("'End of the run'" in problem for problem in problems)


@pytest.mark.parametrize("head", ["Engine speed Torque (Nm)\n", "RPM  Engine torque Nm  Oil\n"])
def test_names_that_cannot_be_separated_need_wider_gaps(tmp_path: Path, head: str) -> None:
    log, problems = read(tmp_path, head + "".join(f"{rpm} {torque}\n" for rpm, torque in zip(RPM, TORQUE, strict=True)))
    assert log is None
    assert "two or more must stand between names of several words" in problems[0]


def test_thousands_separated_by_a_blank_are_not_two_columns(tmp_path: Path) -> None:
    rows = (f"{rpm // 1000} {rpm % 1000:03d} {torque}\n" for rpm, torque in zip(RPM, TORQUE, strict=True))
    log, problems = read(tmp_path, "RPM Torque(Nm)\n" + "".join(rows))
    assert log is None
    assert "and none inside a number" in problems[0]


def test_other_files_are_left_as_they_are() -> None:
    for content in (b"RPM,Torque\n2000,300\n", b"a b c\nwords and more words\n", b"1 2\n3 4\n"):
        assert blanks_to_tabs(LogText(content, "ASCII", True)) is None
