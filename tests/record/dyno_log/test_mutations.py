"""Damaged logs: each is reported at its line, or its remaining rows read as in the undamaged log.

The expectation holds, for every line of the damaged file, the row of the pull it was, and the lines to be reported.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pytest

from builder.record.dyno_log.reader import DynoLog, read_dyno_log
from builder.record.problem import Problem
from tests.support.dyno_dialects import SLUGS, Dialect, dialects, in_si, nearly_equal, pull, table

FILES = 2700
PARTS = 6
ROWS = 24
SPEED, TORQUE, POWER, OIL = 1, 2, 3, 4
DIALECTS = [d for d in dialects() if d.thousands != "." or d.encoding != "utf-16-be"]


@dataclass
class Damaged:
    """A damaged log to be written: cells by line, the row each line was, and what the reader must report."""

    dialect: Dialect
    lines: list[list[str] | str]
    origin: list[int | None]
    reported: list[int] = field(default_factory=list)
    """Indices of lines of which at least one must be named in a problem."""
    must_fail: bool = False
    cut: int = 0
    nul: int | None = None
    clean: bool = False
    """Nothing was damaged: no problem may be reported."""

    def data_lines(self) -> list[int]:
        return [i for i, row in enumerate(self.origin) if row is not None]

    def text_lines(self) -> list[str]:
        return [line if isinstance(line, str) else self.dialect.line(line) for line in self.lines]

    def cells(self, index: int) -> list[str]:
        line = self.lines[index]
        assert not isinstance(line, str)
        return line


def undamaged(dialect: Dialect, data: np.ndarray) -> Damaged:
    heads, rows = table(dialect, data)
    lines: list[list[str] | str] = [*dialect.before, *heads, *rows]
    return Damaged(dialect, lines, [None] * (len(lines) - len(rows)) + list(range(len(rows))))


Mutation = Callable[[Damaged, random.Random], None]


def inner_line(log: Damaged, rng: random.Random) -> int:
    """A data line with good rows before and after it."""
    return rng.choice(log.data_lines()[2:-2])


def cut_off(log: Damaged, rng: random.Random) -> None:
    log.cut = rng.randrange(1, 200)


def swap_columns(log: Damaged, rng: random.Random) -> None:
    left, right = rng.sample(range(len(SLUGS)), 2)
    for index, line in enumerate(log.lines):
        if not isinstance(line, str):
            line = list(line)
            line[left], line[right] = line[right], line[left]
            log.lines[index] = line
    log.clean = True


def replace_cell(log: Damaged, index: int, place: int, cell: str) -> None:
    cells = list(log.cells(index))
    cells[place] = cell
    log.lines[index] = cells
    log.reported.append(index)


def no_number(log: Damaged, rng: random.Random) -> None:
    place = rng.choice([SPEED, TORQUE, POWER])
    replace_cell(
        log,
        inner_line(log, rng),
        place,
        rng.choice(["nan", "NaN", "inf", "-inf", "Infinity", "1e999", "x", "#REF!", "1.2.3", "--"]),
    )
    log.must_fail = True


def no_number_in_lesser_channel(log: Damaged, rng: random.Random) -> None:
    replace_cell(log, inner_line(log, rng), rng.choice([0, OIL]), rng.choice(["nan", "inf", "open", "?", "1e999"]))


def negative_speed(log: Damaged, rng: random.Random) -> None:
    index = rng.choice(log.data_lines())
    replace_cell(log, index, SPEED, "-" + log.cells(index)[SPEED])
    log.must_fail = True


def empty_speed(log: Damaged, rng: random.Random) -> None:
    replace_cell(log, inner_line(log, rng), SPEED, "")


def drop_cell(log: Damaged, rng: random.Random) -> None:
    index = inner_line(log, rng)
    cells = list(log.cells(index))
    del cells[rng.randrange(len(cells))]
    log.lines[index] = cells
    log.reported.append(index)
    log.must_fail = not log.dialect.trailing or cells != log.cells(index)


def add_cell(log: Damaged, rng: random.Random) -> None:
    index = inner_line(log, rng)
    cells = list(log.cells(index))
    cells.insert(rng.randrange(len(cells) + 1), "7")
    log.lines[index] = cells
    log.reported.append(index)
    log.must_fail = True


def nul_bytes(log: Damaged, rng: random.Random) -> None:
    log.nul = rng.randrange(len(log.lines))
    log.reported.append(log.nul)
    log.must_fail = True


def insert(log: Damaged, index: int, line: list[str] | str, row: int | None = None) -> None:
    log.lines.insert(index, line)
    log.origin.insert(index, row)


def repeat_header(log: Damaged, rng: random.Random) -> None:
    index = inner_line(log, rng)
    for head in reversed(log.dialect.heads()):
        insert(log, index, head)
    log.clean = True


def second_header(log: Damaged, rng: random.Random) -> None:
    head = list(log.dialect.heads()[0])
    while head == log.dialect.heads()[0]:
        rng.shuffle(head)
    index = rng.choice([*log.data_lines()[:-1], len(log.dialect.before)])
    insert(log, index, head)
    log.reported += [index, index + 1, index + 2]
    log.must_fail = True


def repeat_column(log: Damaged, rng: random.Random) -> None:
    place = rng.choice([SPEED, TORQUE, POWER])
    word = rng.choice(["", "Corrected ", "STD ", "Obs. "])
    for index, line in enumerate(log.lines):
        if not isinstance(line, str):
            log.lines[index] = [*line, word + line[place] if index == len(log.dialect.before) else line[place]]
    log.reported.append(len(log.dialect.before))
    log.must_fail = True


def swap_cells(log: Damaged, rng: random.Random) -> None:
    index = inner_line(log, rng)
    cells = list(log.cells(index))
    cells[SPEED], cells[TORQUE] = cells[TORQUE], cells[SPEED]
    log.lines[index] = cells
    log.reported.append(index)


def swap_units(log: Damaged, rng: random.Random) -> None:
    heads = len(log.dialect.before)
    row = list(log.cells(heads + len(log.dialect.heads()) - 1))
    if len(log.dialect.heads()) == 2:
        row[TORQUE], row[POWER] = row[POWER], row[TORQUE]
    else:
        row[TORQUE] = row[TORQUE].replace("lb-ft", "hp")
    log.lines[heads + len(log.dialect.heads()) - 1] = row
    log.reported += [heads, heads + 1]
    log.must_fail = True


def drop_header_cell(log: Damaged, rng: random.Random) -> None:
    for index in range(len(log.dialect.before), len(log.dialect.before) + len(log.dialect.heads())):
        log.lines[index] = log.cells(index)[1:]
    log.reported += list(range(len(log.lines)))
    log.must_fail = True


def join_lines(log: Damaged, rng: random.Random) -> None:
    index = inner_line(log, rng)
    log.lines[index] = log.dialect.line(log.cells(index)) + log.dialect.line(log.cells(index + 1))
    del log.lines[index + 1], log.origin[index + 1]
    log.reported.append(index)
    log.must_fail = True


def break_line(log: Damaged, rng: random.Random) -> None:
    index = inner_line(log, rng)
    text = log.dialect.line(log.cells(index))
    at = rng.randrange(1, len(log.dialect.line(log.cells(index)[:-1])))
    log.lines[index] = text[:at]
    insert(log, index + 1, text[at:])
    log.reported += [index, index + 1]
    log.must_fail = True


def drop_line(log: Damaged, rng: random.Random) -> None:
    index = inner_line(log, rng)
    del log.lines[index], log.origin[index]
    log.clean = True


def repeat_line(log: Damaged, rng: random.Random) -> None:
    index = inner_line(log, rng)
    insert(log, index, list(log.cells(index)), log.origin[index])
    # Time does not run backwards by that, so nothing is reported.
    log.clean = True


def blank_lines(log: Damaged, rng: random.Random) -> None:
    for _ in range(rng.randrange(1, 4)):
        insert(log, inner_line(log, rng), rng.choice(["", "  ", log.dialect.delimiter * 4]))
    log.clean = True


def footer(log: Damaged, rng: random.Random) -> None:
    cells = list(log.cells(log.data_lines()[-1]))
    cells[0] = rng.choice(["Max", "Avg:", "MEAN", "std dev"])
    insert(log, len(log.lines), cells)
    log.clean = True


def notes(log: Damaged, rng: random.Random) -> None:
    log.reported.append(len(log.lines))
    for _ in range(rng.randrange(1, 3)):
        insert(log, len(log.lines), rng.choice(["End of test", "Notes: none; 3 plugs, 2 jets", "Signed\toff|by"]))


def stray_characters(log: Damaged, rng: random.Random) -> None:
    """Characters that a bad connection leaves; digits, signs and marks would make another good number."""
    index = rng.choice(log.data_lines())
    text = log.dialect.line(log.cells(index))
    for _ in range(rng.randrange(1, 4)):
        at = rng.randrange(len(text) + 1)
        text = text[:at] + rng.choice(["x", '"', "'", " ", ";", "\t", "|", "§", "\u00a0", "(", "#", "%"]) + text[at:]
    log.lines[index] = text


MUTATIONS: list[Mutation] = [
    cut_off, cut_off, swap_columns, no_number, no_number_in_lesser_channel, negative_speed, empty_speed, drop_cell,
    add_cell, nul_bytes, repeat_header, second_header, repeat_column, swap_cells, swap_units, drop_header_cell,
    join_lines, break_line, drop_line, repeat_line, blank_lines, footer, notes, stray_characters, stray_characters,
]  # fmt: skip


def encode(log: Damaged) -> bytes:
    lines = log.text_lines()
    if log.nul is not None:
        text = lines[log.nul]
        lines[log.nul] = text[: len(text) // 2] + "\0" + text[len(text) // 2 :]
    if log.dialect.encoding == "cp1252":
        lines = [line.replace("\u202f", " ") for line in lines]
    data = log.dialect.encode(lines)
    return data[: len(data) - log.cut] if log.cut else data


def check_outcome(
    log: Damaged, expected: dict[str, np.ndarray], read: DynoLog | None, problems: list[Problem], path: Path
) -> None:
    errors = [p for p in problems if p.severity == "error"]
    assert (read is None) == bool(errors)
    assert all(p.path == path and 1 <= p.line <= len(log.lines) + 1 and p.message for p in problems)
    named = {p.line - 1 for p in problems}
    if log.reported:
        assert named & set(log.reported), "the damage is not reported"
    if log.must_fail:
        assert errors, "damage to a number that matters is an error"
    if log.clean:
        assert not problems
    if read is None:
        return
    lines_read = set()
    for place, line in enumerate(read.rows - 1):
        row = log.origin[line]
        assert row is not None, "a line that is no row was read as one"
        lines_read.add(int(line))
        for slug in SLUGS:
            value = read.channels[slug][place]
            if not nearly_equal(value, expected[slug][row]):
                assert line in named, "a value differs and is not reported"
    missing = False
    for line in log.data_lines():
        # A group of lines may be named by its first; what was cut away by the mutation is not there to be named.
        missing = line not in lines_read and (missing or line in named or log.cut > 0)
        assert line in lines_read or missing, "a row is missing and not reported"


@pytest.mark.parametrize("part", range(PARTS))
def test_damaged_logs_are_reported_or_read_correctly(tmp_path: Path, part: int) -> None:
    data = pull(ROWS, seed=part)
    expected = in_si(data)
    path = tmp_path / "pull.csv"
    shown = Path("dyno/pull.csv")
    for number in range(part, FILES, PARTS):
        rng = random.Random(number)
        log = undamaged(DIALECTS[number % len(DIALECTS)], data)
        mutation = MUTATIONS[(number // PARTS) % len(MUTATIONS)]
        mutation(log, rng)
        path.write_bytes(encode(log))
        read, problems = read_dyno_log(path, shown_as=shown)
        try:
            check_outcome(log, expected, read, problems, shown)
        except AssertionError as error:
            messages = "\n".join(map(str, problems)) or "no problem"
            raise AssertionError(
                f"file {number}, {mutation.__name__}, {log.dialect}: {error}\n{messages}\n{path.read_bytes()[:6000]!r}"
            ) from error


def test_a_changed_number_that_is_not_reported_fails_the_check(tmp_path: Path) -> None:
    """The check itself works: a digit changed without a report is noticed."""
    data = pull(ROWS)
    log = undamaged(Dialect(), data)
    log.lines[10] = log.dialect.line(log.cells(10)).replace("4", "5", 1)
    path = tmp_path / "pull.csv"
    path.write_bytes(encode(log))
    read, problems = read_dyno_log(path)
    named = {p.line for p in problems}
    assert read is not None
    assert 11 not in named
    with pytest.raises(AssertionError, match="a value differs"):
        check_outcome(log, in_si(data), read, problems, path)
