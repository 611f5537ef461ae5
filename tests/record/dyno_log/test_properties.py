"""No bytes make the reader raise; and lines read at once give what reading cell by cell gives."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from builder.record.dyno_log import rows as log_rows
from builder.record.dyno_log.encoding import number, split_cells
from builder.record.dyno_log.header import heading
from builder.record.dyno_log.reader import DynoLog, read_dyno_log
from builder.record.dyno_log.rows import read_numbers
from builder.record.problem import Problem

SHARED = settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=300)

CELLS = st.one_of(
    st.integers(-10, 9000).map(str),
    st.floats(-1e4, 1e4).map(lambda value: f"{value:.2f}"),
    st.floats().map(repr),
    st.sampled_from(["", " ", "nan", "1,234.5", "1.234,5", "1 234,5", '"', '""', '"a', "rpm", "lb-ft", "RPM",
                     "Max", "#", "Torque (Nm)", "Torque", "Power (kW)", "Oil temp", "(", "\0", "−5", "1e999", "٣",
                     "\u2028", "\x0c"]),
    st.text(max_size=5),
)  # fmt: skip


@st.composite
def messy_logs(draw: st.DrawFn) -> bytes:
    delimiter = draw(st.sampled_from(",;\t|"))
    lines = draw(st.lists(st.lists(CELLS, max_size=5), max_size=12))
    if draw(st.booleans()):
        lines.insert(draw(st.integers(0, len(lines))), ["RPM", "Torque (Nm)", draw(CELLS)])
    newline = draw(st.sampled_from(["\n", "\r\n", "\r", "\n\r"]))
    text = newline.join(delimiter.join(cells) for cells in lines)
    codec = draw(st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-be", "cp1252"]))
    data = text.encode(codec, "replace")
    return data[: len(data) - draw(st.integers(0, 3))]


def check(log: DynoLog | None, problems: list[Problem]) -> None:
    assert (log is None) == any(problem.severity == "error" for problem in problems)
    assert all(problem.line >= 1 and problem.message for problem in problems)
    if log is not None:
        sizes = {values.size for values in log.channels.values()} | {log.rows.size}
        assert len(sizes) == 1
        assert np.all(log.channels["engine_speed"] >= 0.0)
        assert not any(np.isinf(values).any() for values in log.channels.values())
        assert np.all(np.diff(log.rows) > 0)
        assert log.notes


@SHARED
@given(data=st.one_of(st.binary(max_size=400), messy_logs()))
@example(data=b"\xff\xfe\x00\xd8")
@example(data=b'"RPM,Torque (Nm)\n"1,2')
@example(data=b"RPM,Torque (Nm)\n1e300,1e300\n1,2\n")
def test_no_bytes_make_the_reader_raise(tmp_path: Path, data: bytes) -> None:
    path = tmp_path / "any.csv"
    path.write_bytes(data)
    check(*read_dyno_log(path))


@SHARED
@given(data=messy_logs(), slug=st.sampled_from(["torque", "power", "tork", "fuel_flow"]), text=CELLS, unit=CELLS)
def test_no_mapping_in_the_record_makes_the_reader_raise(
    tmp_path: Path, data: bytes, slug: str, text: str, unit: str
) -> None:
    path = tmp_path / "any.csv"
    path.write_bytes(data)
    check(*read_dyno_log(path, columns={slug: text}, units={slug: unit}))


@SHARED
@given(text=st.text(max_size=90))
def test_any_text_may_be_a_heading_or_a_line(text: str) -> None:
    heading(text)
    assert split_cells(text, ",")
    value = number(text, ".")
    assert value is None or math.isfinite(value)


NUMBERS = st.one_of(
    st.integers(-(10**16), 10**16).map(str),
    st.decimals(-(10**9), 10**9, places=4).map(str),
    st.floats(allow_nan=False, allow_infinity=False).map(repr),
    st.from_regex(r"[+-]?[0-9]{0,9}\.?[0-9]{0,9}", fullmatch=True),
    st.from_regex(r"[+-]?[0-9.eE+-]{1,6}", fullmatch=True),
    st.just(""),
)


@given(
    rows=st.lists(st.tuples(NUMBERS, NUMBERS, NUMBERS), min_size=1, max_size=6),
    delimiter=st.sampled_from(";\t|,"),
    decimal=st.sampled_from(".,"),
    quoted=st.booleans(),
    pad=st.sampled_from(["", " "]),
)
def test_lines_read_at_once_have_the_same_bits_as_cell_by_cell(
    rows: list[tuple[str, str, str]], delimiter: str, decimal: str, quoted: bool, pad: str
) -> None:
    rows = [tuple(cell.replace(".", decimal) for cell in row) for row in rows]  # type: ignore[misc]
    if delimiter == decimal:
        rows = [tuple(cell.replace(",", "") for cell in row) for row in rows]  # type: ignore[misc]
    cells = [[f'"{cell}"' if quoted else cell for cell in row] for row in rows]
    lines = [(pad + delimiter + pad).join(row).encode() for row in cells]
    columns = [2, 0]
    numbers = read_numbers(lines, delimiter, 3, columns, decimal)
    cell_by_cell = [[number(row[i], decimal) if row[i] else math.nan for row in rows] for i in columns]
    if numbers is None:
        return
    assert all(value is not None for column in cell_by_cell for value in column)
    expected = np.array(cell_by_cell, dtype=float)
    np.testing.assert_array_equal(numbers, expected)
    assert np.array_equal(np.signbit(numbers), np.signbit(expected) & ~np.isnan(numbers))


@pytest.mark.parametrize(
    ("lines", "delimiter", "decimal"),
    [
        ([b"1.25,-2,3", b"4,,6.5"], ",", "."),
        ([b"1,25;-2;3", b"4;;6,5"], ";", ","),
        ([b'"1.25"\t"-2"\t"3"', b"4\t\t6.5"], "\t", "."),
        ([b" 1.25 | -2 | 3", b"4 | | 6.5 "], "|", "."),
    ],
)
def test_regular_lines_are_read_at_once(lines: list[bytes], delimiter: str, decimal: str) -> None:
    numbers = read_numbers(lines, delimiter, 3, [0, 1, 2], decimal)
    assert numbers is not None
    np.testing.assert_array_equal(numbers, [[1.25, 4.0], [-2.0, np.nan], [3.0, 6.5]])


def test_long_numbers_and_exponents_are_read_at_once() -> None:
    numbers = read_numbers([b"0.1234567890123456,1e-3"], ",", 2, [0, 1], ".")
    assert numbers is not None
    assert numbers[:, 0].tolist() == [0.1234567890123456, 1e-3]


@pytest.mark.parametrize(
    "row",
    [b"1,2", b"1,2,3,4", b"", b"1,x,3", b"1,nan,3", b"1,1e999,3", b"1,2 3,4", b'1,"2,3', b"1,-,3",
     b"1,2.3.4,5", b"1,3-4,5", b"1,0x1F,3", b"1,1_0,3", b"1,\xc2\xa02,3", b"1,\xe2\x88\x922,3"],
)  # fmt: skip
def test_an_irregular_line_has_all_of_them_read_one_by_one(row: bytes) -> None:
    assert read_numbers([b"1,2,3", row, b"4,5,6"], ",", 3, [0, 1], ".") is None


def contents_of(path: Path) -> tuple[object, ...]:
    log, problems = read_dyno_log(path)
    assert log is not None
    return {slug: values.tolist() for slug, values in log.channels.items()}, log.rows.tolist(), log.notes, problems


def test_a_log_of_many_blocks_reads_the_same_either_way(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "sweep.csv"
    lines = [f"{i / 1000:.3f},{1500 + i / 10:.1f},{300 + i % 17},max hold,{i % 3}" for i in range(30_000)]
    lines[2_345] = ""
    lines[12_345] = "# a remark"
    lines[23_456] = "Max,9000,400,max hold,1"
    lines.append("Average,3000,308,,")
    path.write_text("Time (s),RPM,Torque (Nm),Held,Gear\n" + "\n".join(lines) + "\n")
    quick = contents_of(path)
    monkeypatch.setattr(log_rows, "read_numbers", lambda *_: None)
    careful = contents_of(path)
    assert quick == careful
    assert len(quick[1]) == 29_997  # type: ignore[arg-type]
