"""Long text where a number belongs is refused at once: every pattern takes a time in proportion to the text."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from builder.record.dyno_log.encoding import decimal_evidence, is_number
from builder.record.dyno_log.reader import read_dyno_log
from builder.record.quantities.readings import read_reading
from builder.record.quantities.threads import parse_thread
from builder.record.quantities.units import UnitProblem, parse_quantity, parse_range
from builder.record.yaml_loader import parse_yaml
from tests.support.record_samples import ReadWith

HEAD = "Engine speed (rpm),Torque (lb-ft),Oil pressure (psi)\n"
ROWS = [f"{2000 + 100 * row},{100 + row % 7},{50 + row % 3}\n" for row in range(30)]
LONG = {
    "digits": "1" * 100_000,
    "digits and a letter": "1" * 60_000 + "x",
    "digits and points": "1" * 16_000 + "." + "1" * 16_000 + ".",
    "groups": "1" + ",111" * 8_000 + "x",
    "blanks": " " * 30_000 + "x",
    "digits and blanks": "1 " * 15_000 + "x",
    "exponents": "1e" * 15_000,
    "signs": "-" * 30_000,
    "quotes": '"1' * 15_000,
    "clock": "1:" * 15_000,
}


@contextmanager
def finishes(seconds: float = 60.0) -> Iterator[None]:
    """Guard against a pattern that backtracks: it takes minutes of processor time, where the others take moments."""
    started = time.process_time()
    yield
    assert time.process_time() - started < seconds


@pytest.mark.parametrize("text", LONG.values(), ids=LONG)
@pytest.mark.parametrize("place", range(3))
def test_a_cell_of_a_log(tmp_path: Path, text: str, place: int) -> None:
    rows = list(ROWS)
    cells = rows[15].strip().split(",")
    cells[place] = text if "," not in text else f'"{text}"'
    rows[15] = ",".join(cells) + "\n"
    path = tmp_path / "log.csv"
    path.write_text(HEAD + "".join(rows))
    with finishes():
        log, problems = read_dyno_log(path)
    assert log is not None or problems


@pytest.mark.parametrize("zeros", [63, 64, 65, 16_000])
def test_a_cell_of_more_than_64_characters_is_no_number(tmp_path: Path, zeros: int) -> None:
    path = tmp_path / "log.csv"
    path.write_text(HEAD + "".join([*ROWS[:15], f"3500,{'0' * (zeros - 3)}101,50\n", *ROWS[16:]]))
    log, problems = read_dyno_log(path)
    assert (log is not None) == (zeros <= 64)
    assert is_number("0" * zeros) == (zeros <= 64)
    assert decimal_evidence("0," + "0" * (zeros - 2)) == ("," if zeros <= 64 else "")
    if log is None:
        assert [problem.line for problem in problems] == [17]
        assert "is not a number" in problems[0].message


@pytest.mark.parametrize("text", LONG.values(), ids=LONG)
@pytest.mark.parametrize(
    "read",
    [
        lambda text: parse_quantity(text, "length"),
        lambda text: parse_quantity(f"{text} in", None),
        lambda text: parse_range(text, "length"),
        lambda text: parse_range(f"{text}..{text} in", "length", "in"),
        lambda text: read_reading(text, "length"),
        lambda text: read_reading({"unit": "in", "measured": [text, text]}, "length"),
        lambda text: read_reading({"unit": text, "measured": text}, "length"),
    ],
)
def test_a_value_of_a_record(read: Callable[[str], object], text: str) -> None:
    with finishes(), pytest.raises(ValueError):  # noqa: PT011  (a UnitProblem or a ValidationError)
        read(text)


@pytest.mark.parametrize("text", LONG.values(), ids=LONG)
def test_a_scalar_of_yaml(text: str) -> None:
    with finishes():
        parse_yaml(f"a: {text}\nb: '{text}'\nc: [{text}]\n".encode(), Path("x.yaml"))
        parse_thread(text)


@pytest.mark.parametrize("text", LONG.values(), ids=LONG)
@pytest.mark.parametrize(
    ("name", "line"),
    [
        ("bottom_end", "deck_clearance: '{}'\n"),
        ("bottom_end", "balance: {{rods_per_pin: '{}'}}\n"),
        ("build", "title: A\nfinished: '{}'\nengine: {{cylinders: '{}', year: '{}', compression_wanted: '{}'}}\n"),
        ("dyno", "range: '{}'\npulls: [{{name: A, setting: {{name: jets, level: '{}'}}}}]\n"),
        ("cam", "lifters: {{adjuster_thread: '{}'}}\ndegreeing: {{events: [{{at: '{}'}}]}}\n"),
    ],
)
def test_a_field_of_a_record(read: ReadWith, name: str, line: str, text: str) -> None:
    with finishes():
        build, problems = read(**{name: line.replace("{}", text)})
    assert build is None
    assert problems


@pytest.mark.parametrize("text", ["0e400 in", "1e-300 in", "1e300 in", "1e99999999 in", "0e-99999999 in"])
def test_an_exponent_that_no_reading_has(text: str) -> None:
    with pytest.raises(UnitProblem, match="too large or too small to be a reading"):
        parse_quantity(text, "length")


@pytest.mark.parametrize("length", [30, 300])
def test_thousands_of_unknown_names(read: ReadWith, length: int) -> None:
    names = [f"{index:04d}{index * 7919 % 10_007:0{length}d}" for index in range(2500)]
    with finishes():
        _, problems = read(dyno="pulls:\n" + "".join(f"  - {{name: p{name}, since: s{name}}}\n" for name in names))
    assert len(problems) == len(names)


@pytest.mark.parametrize("cell", ["1e30", "-1e300", "9" * 40, "1e9999"])
def test_a_number_too_large_to_compute_with(tmp_path: Path, cell: str) -> None:
    path = tmp_path / "log.csv"
    for rows in ([*ROWS[:15], f"3500,{cell},50\n", *ROWS[16:]], [row.replace(",10", f",{cell}") for row in ROWS]):
        path.write_text(HEAD + "".join(rows))
        log, problems = read_dyno_log(path)
        assert log is None
        assert problems
