"""Any dyno's CSV -> channels in SI, with everything that was read, skipped and assumed told in plain sentences.

The rule is: never silently wrong. What cannot be made out for certain is a `Problem` with its line, an error where
engine speed, torque or power are concerned, a warning where a lesser channel or a footer is merely left out.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import islice
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from builder.record.dyno_log.channels import CHANNELS
from builder.record.dyno_log.columns import Column, Columns, resolve_columns
from builder.record.dyno_log.diagnostics import Rows
from builder.record.dyno_log.encoding import (
    DELIMITER_NAMES,
    MARK_NAMES,
    MAX_BYTES,
    CsvText,
    Line,
    Unreadable,
    decimal_evidence,
    is_number,
    load_text,
    number,
    split_cells,
    weigh_decimal,
)
from builder.record.dyno_log.header import SEARCHED_LINES, Header, find_header, whole_rows
from builder.record.dyno_log.normalise import Clock, clock_of, parted_by_tabs
from builder.record.dyno_log.plausibility import doubts
from builder.record.dyno_log.rows import read_rows
from builder.record.problem import Problem

Mark = Literal[".", ","]

_SAMPLE = 200
_BLANKS_FIX = (
    "where blanks part the columns, two or more must stand between names of several words, and none inside a number"
)
_MARK_FIX = 'write in the record: decimal_mark: "." or ","'


@dataclass(frozen=True, eq=False)
class DynoLog:
    """One log as read. Keys are slugs of `channels.CHANNELS`; all arrays have the same length and are read-only.

    channels: SI values (engine speed in rev/s, spark advance in degrees), NaN where a cell was empty.
    units, headers: the unit and the column header as written in the log or stated by the record.
    rows: the 1-based line in the file of each row.
    told: what was read, skipped and assumed, in plain sentences.
    """

    path: Path
    channels: Mapping[str, NDArray[np.float64]]
    units: Mapping[str, str]
    headers: Mapping[str, str]
    rows: NDArray[np.int64]
    notes: tuple[str, ...]


def read_dyno_csv(
    path: Path,
    *,
    columns: Mapping[str, str] | None = None,
    units: Mapping[str, str] | None = None,
    decimal: Mark | None = None,
    shown_as: Path | None = None,
    limit: int = MAX_BYTES,
) -> tuple[DynoLog | None, list[Problem]]:
    """Read a dyno's CSV of any dialect.

    columns: channel slug -> header text, where the record says which column it is ("column 3" also does).
    units: channel slug -> unit, where the log gives none or a wrong one.
    decimal: the decimal mark, where the file leaves it open.
    shown_as: the path to show in problems and to keep in the log.
    limit: the largest file that is read [bytes].

    Returns the log, None if there is an error, and the problems in order of their lines. Never raises for what is
    in the file.
    """
    shown = shown_as or path
    text = load_text(path, limit)
    if isinstance(text, Unreadable):
        return None, [Problem(shown, text.line, text.message)]
    text, first_lines, header = _header_of(text, columns or {})
    if header is None:
        return None, [_no_header(text, bool(first_lines), columns or {}, shown)]
    columns, units = dict(columns or {}), dict(units or {})
    clock = clock_of(text, header, columns, units)
    if clock is not None:
        text, header, columns, units = _with_clock(clock, header, columns, units)
    found = resolve_columns(header, columns, units, shown)
    if clock is not None:
        _tell_of_clock(clock, found, shown)
    if any(problem.severity == "error" for problem in found.problems):
        return None, _in_order(found.problems)
    words = _drop_columns_of_words(text, header, found, shown)
    mark = decimal or _decimal_mark(text, header, found)
    if mark is None:
        return None, _in_order([*found.problems, _open_mark(text, header, found, shown)])
    rows = read_rows(text, header, found.found, mark, words, shown)
    problems = [*found.problems, *rows.problems]
    if any(problem.severity == "error" for problem in problems):
        return None, _in_order(problems)
    channels = _in_si(rows, found.found)
    problems += _drop_empty(channels, rows, found, shown)
    if any(problem.severity == "error" for problem in problems):
        return None, _in_order(problems)
    troubles, remarks = doubts(channels, rows.lines, shown)
    problems += troubles
    if any(problem.severity == "error" for problem in problems):
        return None, _in_order(problems)
    log = DynoLog(
        path=shown,
        channels=channels,
        units={column.slug: column.unit for column in found.found if column.slug in channels},
        headers={column.slug: column.header for column in found.found if column.slug in channels},
        rows=rows.lines,
        notes=(*_told_of_form(text, header, mark), *found.told, *rows.told, *remarks),
    )
    return log, _in_order(problems)


def _header_of(text: CsvText, mapped: Mapping[str, str]) -> tuple[CsvText, list[Line], Header | None]:
    """The header, and the text it was found in: as it is, else with tabs where blanks part the columns."""
    lines = list(islice(text.lines(), SEARCHED_LINES))
    header = find_header(lines, mapped)
    if header is not None and whole_rows(lines, header):
        return text, lines, header
    tabbed = parted_by_tabs(text)
    if tabbed is not None:
        tabbed_lines = list(islice(tabbed.lines(), SEARCHED_LINES))
        in_tabs = find_header(tabbed_lines, mapped)
        if in_tabs is not None and whole_rows(tabbed_lines, in_tabs):
            return tabbed, tabbed_lines, in_tabs
    return text, lines, header


def _with_clock(
    clock: Clock, header: Header, mapped: dict[str, str], stated: dict[str, str]
) -> tuple[CsvText, Header, dict[str, str], dict[str, str]]:
    """Seconds in the place of a clock's times; where it is not clear what they are, no time column at all."""
    if clock.doubt is None:
        return clock.text, header, mapped, stated | {"time": "s"}
    cells = tuple("the clock's time" if index == clock.index else cell for index, cell in enumerate(header.cells))
    without = [{slug: said for slug, said in each.items() if slug != "time"} for each in (mapped, stated)]
    return clock.text, replace(header, cells=cells), without[0], without[1]


def _tell_of_clock(clock: Clock, found: Columns, path: Path) -> None:
    if clock.doubt is None:
        found.told.append(clock.told)
        return
    line, cell = clock.doubt
    found.problems.append(Problem(
        path, line, f"{cell!r} may be minutes and seconds or hours and minutes; say in the record which, "
        "units: {time: mm:ss} or units: {time: hh:mm}; time is left out", "warning",
    ))  # fmt: skip


def _in_order(problems: list[Problem]) -> list[Problem]:
    return sorted(dict.fromkeys(problems), key=lambda problem: problem.line)


def _no_header(text: CsvText, any_lines: bool, mapped: Mapping[str, str], path: Path) -> Problem:
    if not any_lines:
        return Problem(path, 1, "the first line is too long to be one of a log; the file is damaged or not a log")
    searched = min(SEARCHED_LINES, text.data.count(b"\n"))
    wanted = ", ".join(map(repr, mapped.values()))
    return Problem(
        path,
        1,
        f"no header was found in the first {searched} lines: one line must name a column of engine speed and one of "
        "torque or power, e.g. Engine speed (rpm), Torque (lb-ft); "
        + (f"the record maps {wanted}" if mapped else "or say in the record, under columns, how they are headed")
        + (f"; {_BLANKS_FIX}" if parted_by_tabs(text) is not None else ""),
    )


def _data_cells(text: CsvText, header: Header, columns: list[Column]) -> Iterator[list[str]]:
    """The cells of the wanted columns, row by row."""
    for line in text.lines(header.data_start, header.data_line):
        cells = split_cells(line.text, header.delimiter)
        if len(cells) > 1:
            yield [cells[column.index] if column.index < len(cells) else "" for column in columns]


def _drop_columns_of_words(text: CsvText, header: Header, found: Columns, path: Path) -> frozenset[int]:
    """Leave out lesser channels that hold words from the first rows on; return the columns of words."""
    lines = islice(text.lines(header.data_start, header.data_line), 20)
    sample = [split_cells(line.text, header.delimiter) for line in lines if line.text.strip()]
    by_habit, only = set(), set()
    for index in range(len(header.cells)):
        cells = [row[index] for row in sample if index < len(row) and row[index]]
        words = sum(not is_number(cell) for cell in cells)
        if words and words >= 0.8 * len(sample):
            by_habit.add(index)
        if words and words == len(cells) and words >= min(3, len(sample)):
            only.add(index)
    for column in list(found.found):
        if column.index in by_habit | only and not column.required:
            found.found.remove(column)
            found.problems.append(Problem(
                path, header.data_line,
                f"column {column.header!r} holds words instead of numbers; {column.slug} is left out", "warning",
            ))  # fmt: skip
    return frozenset(by_habit - {column.index for column in found.found})


def _decimal_mark(text: CsvText, header: Header, found: Columns) -> Mark | None:
    """The file's decimal mark, from cells that leave no doubt, else from what an engine can do; None if open."""
    if header.delimiter == "," and text.data.find(b'"', header.data_start) < 0:
        return "."
    sample = [cell for row in islice(_data_cells(text, header, found.found), _SAMPLE) for cell in row]
    mark, _ = weigh_decimal(sample)
    if mark in ("", "?"):
        # No cell so far decides it. One further down may.
        at = header.data_start
        if not any(text.data.find(mark.encode(), at) > 0 for mark in ".," if mark != header.delimiter):
            return "."
        for row in _data_cells(text, header, found.found):
            evidence = {decimal_evidence(cell) for cell in row}
            if evidence & {".", ","}:
                mark, _ = weigh_decimal(row)
                break
            mark = "?" if "?" in evidence else mark
    if mark == "?":
        return _plausible_mark(sample, text, header, found)
    return "," if mark == "," else "."


def _plausible_mark(sample: list[str], text: CsvText, header: Header, found: Columns) -> Mark | None:
    """Where "3,500" may be three and a half or three thousand five hundred: the reading that an engine can do."""
    possible: list[Mark] = [mark for mark in (".", ",") if _is_plausible(mark, text, header, found)]
    if len(possible) != 1:
        return None
    found.told.append(
        f"no number shows which mark is the decimal mark: taken as a {MARK_NAMES[possible[0]]}, "
        "since the other reading gives numbers that no engine makes"
    )
    return possible[0]


def _is_plausible(mark: Mark, text: CsvText, header: Header, found: Columns) -> bool:
    rows = list(islice(_data_cells(text, header, found.found), _SAMPLE))
    for index, column in enumerate(found.found):
        values = [v for row in rows if (v := number(row[index], mark)) is not None]
        if not values or not column.required:
            continue
        largest = max(map(abs, values)) * column.scale
        # An engine on a dyno turns between 300 and 30,000 rpm and makes 1 to 20,000 N m, 100 W to 15 MW.
        low = {"engine_speed": 5.0, "torque": 1.0, "power": 100.0}[column.slug]
        if not low <= largest <= CHANNELS[column.slug].high:
            return False
    return True


def _open_mark(text: CsvText, header: Header, found: Columns, path: Path) -> Problem:
    for line in text.lines(header.data_start, header.data_line):
        cells = split_cells(line.text, header.delimiter)
        for column in found.found:
            cell = cells[column.index] if column.index < len(cells) else ""
            if decimal_evidence(cell) == "?":
                readings = " or ".join(f"{number(cell, mark):g}" for mark in ".,")
                return Problem(path, line.number, f"{cell!r} can be read as {readings}, and nothing in the file shows "
                                                  "which; " + _MARK_FIX)  # fmt: skip
    return Problem(path, header.line, "the decimal mark is not clear; " + _MARK_FIX)


def _in_si(rows: Rows, columns: list[Column]) -> dict[str, NDArray[np.float64]]:
    channels: dict[str, NDArray[np.float64]] = {}
    for column, values in zip(columns, rows.values, strict=True):
        if column.scale != 1.0:
            values *= column.scale
        if column.offset:
            values += column.offset
        values.setflags(write=False)
        channels[column.slug] = values
    rows.lines.setflags(write=False)
    return channels


def _drop_empty(channels: dict[str, NDArray[np.float64]], rows: Rows, found: Columns, path: Path) -> list[Problem]:
    """Leave out channels without a single number; without torque and power there is no pull."""
    empty = [slug for slug, values in channels.items() if np.isnan(values).all()]
    for slug in empty:
        del channels[slug]
        found.told.append(f"{slug} is empty in every row and is left out")
    lost = [slug for slug in ("torque", "power") if slug in empty]
    severity: Literal["warning", "error"] = "warning" if channels.keys() & {"torque", "power"} else "error"
    return [Problem(path, int(rows.lines[0]), f"the column of {slug} is empty in every row", severity) for slug in lost]


def _told_of_form(text: CsvText, header: Header, mark: Mark) -> list[str]:
    declared = ", as its first line says" if header.declared else ""
    parted = "blanks" if text.blanks else DELIMITER_NAMES[header.delimiter]
    told = [
        f"encoding {text.encoding}; cells parted by {parted}{declared}; decimal {MARK_NAMES[mark]}",
        f"header on line {header.line}"
        + (f", units on line {header.units_line}" if header.units_line else ", no units row")
        + f", data from line {header.data_line}",
    ]
    if header.line > 1 + header.declared:
        told.append(f"the {header.line - 1} lines before the header were not read")
    return told
