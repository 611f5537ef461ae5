"""Read any dyno's CSV into channels in SI, with notes of everything that was read, skipped and assumed.

The rule is: never silently wrong. What is not certain is a `Problem` with its line: an error where engine speed,
torque or power are concerned, a warning where a lesser channel or a footer is left out.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
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
    Line,
    LogText,
    Unreadable,
    decimal_evidence,
    is_number,
    likely_decimal_mark,
    load_text,
    number,
    split_cells,
)
from builder.record.dyno_log.header import SEARCHED_LINES, Header, complete_rows, find_header, incomplete_header
from builder.record.dyno_log.normalise import Clock, blanks_to_tabs, read_clock
from builder.record.dyno_log.plausibility import check_channels
from builder.record.dyno_log.rows import read_rows
from builder.record.problem import Problem, errors_in

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
    notes: what was read, skipped and assumed, in plain sentences.
    """

    path: Path
    channels: Mapping[str, NDArray[np.float64]]
    units: Mapping[str, str]
    headers: Mapping[str, str]
    rows: NDArray[np.int64]
    notes: tuple[str, ...]


def read_dyno_log(
    path: Path,
    *,
    columns: Mapping[str, str] | None = None,
    units: Mapping[str, str] | None = None,
    decimal: Mark | None = None,
    shown_as: Path | None = None,
    limit: int = MAX_BYTES,
) -> tuple[DynoLog | None, list[Problem]]:
    """Read a dyno's CSV of any dialect.

    columns: header text by channel, where the record says which column it is ("column 3" also does).
    units: unit by channel, where the log gives none or a wrong one.
    decimal: the decimal mark, where the file leaves it open.
    shown_as: the path that problems and the log name.
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
        return None, [_no_header(text, first_lines, columns or {}, shown)]
    columns, units = dict(columns or {}), dict(units or {})
    clock = read_clock(text, header, columns, units)
    if clock is not None:
        text, header, columns, units = _with_clock(clock, header, columns, units)
    resolved = resolve_columns(header, columns, units, shown)
    if clock is not None:
        _note_clock(clock, resolved, shown)
    problems = resolved.problems  # every step below adds to it
    if errors_in(problems):
        return None, _in_order(problems)
    words = _drop_columns_of_words(text, header, resolved, shown)
    mark = decimal or _decimal_mark(text, header, resolved)
    if mark is None:
        return None, _in_order([*problems, _open_mark(text, header, resolved, shown)])
    rows = read_rows(text, header, resolved.columns, mark, words, shown)
    problems += rows.problems
    if errors_in(problems):
        return None, _in_order(problems)
    channels = _in_si(rows, resolved.columns)
    problems += _drop_empty(channels, rows, resolved, shown)
    if errors_in(problems):
        return None, _in_order(problems)
    implausible, remarks = check_channels(channels, rows.lines, shown)
    problems += implausible
    if errors_in(problems):
        return None, _in_order(problems)
    log = DynoLog(
        path=shown,
        channels=channels,
        units={column.slug: column.unit for column in resolved.columns if column.slug in channels},
        headers={column.slug: column.header for column in resolved.columns if column.slug in channels},
        rows=rows.lines,
        notes=(*_format_notes(text, header, mark), *resolved.notes, *rows.notes, *remarks),
    )
    return log, _in_order(problems)


def without_comments(path: Path, log: DynoLog, columns: Mapping[str, str] | None = None) -> bytes | None:
    """Return a log that was read from `path` as UTF-8, with its header, its units and the rows that were read.

    Every other line is left out: those before the header, comments, summaries, footers. `columns` are those with
    which it was read. None where the file cannot be read any more.
    """
    text = load_text(path)
    if isinstance(text, Unreadable):
        return None
    header = _header_of(text, columns or {})[2]
    if header is None:
        return None
    numbers = {*range(header.line, header.data_line), *log.rows.tolist()}
    if header.declared:
        numbers.add(1)
    return "".join(f"{line.text}\n" for line in text.lines() if line.number in numbers).encode()


def _header_of(text: LogText, mapped: Mapping[str, str]) -> tuple[LogText, list[Line], Header | None]:
    """Return the text, its first lines and its header: as it is, else with tabs where blanks separate the columns."""
    lines = list(islice(text.lines(), SEARCHED_LINES))
    header = find_header(lines, mapped)
    if header is not None and complete_rows(lines, header):
        return text, lines, header
    tabbed = blanks_to_tabs(text)
    if tabbed is not None:
        tabbed_lines = list(islice(tabbed.lines(), SEARCHED_LINES))
        tabbed_header = find_header(tabbed_lines, mapped)
        if tabbed_header is not None and complete_rows(tabbed_lines, tabbed_header):
            return tabbed, tabbed_lines, tabbed_header
    return text, lines, header


def _with_clock(
    clock: Clock, header: Header, mapped: dict[str, str], stated: dict[str, str]
) -> tuple[LogText, Header, dict[str, str], dict[str, str]]:
    """Return the log with seconds for a clock's times; without its time column where these are ambiguous."""
    if clock.ambiguous is None:
        return clock.text, header, mapped, stated | {"time": "s"}
    cells = tuple("the clock's time" if index == clock.index else cell for index, cell in enumerate(header.cells))
    without_time = [{slug: text for slug, text in given.items() if slug != "time"} for given in (mapped, stated)]
    return clock.text, replace(header, cells=cells), without_time[0], without_time[1]


def _note_clock(clock: Clock, resolved: Columns, path: Path) -> None:
    if clock.ambiguous is None:
        resolved.notes.append(clock.note)
        return
    line, cell = clock.ambiguous
    resolved.problems.append(Problem(
        path, line, f"{cell!r} may be minutes and seconds or hours and minutes; say in the record which, "
        "units: {time: mm:ss} or units: {time: hh:mm}; time is left out", "warning",
    ))  # fmt: skip


def _in_order(problems: list[Problem]) -> list[Problem]:
    return sorted(dict.fromkeys(problems), key=lambda problem: problem.line)


def _no_header(text: LogText, first_lines: Sequence[Line], mapped: Mapping[str, str], path: Path) -> Problem:
    if not first_lines:
        return Problem(path, 1, "the first line is too long to be one of a log; the file is damaged or not a log")
    if not mapped and (incomplete := incomplete_header(first_lines)):
        line, missing, unknown = incomplete
        has, lacks = ("an engine speed", "torque or power") if missing == "torque" else ("torque or power", "speed")
        cells = ", ".join(repr(cell[:40]) for cell in unknown[:6])
        return Problem(
            path,
            line.number,
            f"names {has} and no {lacks} that is known: if it is one of {cells}, say so at the pull, such as "
            f"columns: {{{missing}: {unknown[0][:40]!r}}}",
        )
    searched = min(SEARCHED_LINES, text.data.count(b"\n"))
    headers = ", ".join(map(repr, mapped.values()))
    return Problem(
        path,
        1,
        f"no header was found in the first {searched} lines: one line must name a column of engine speed and one of "
        "torque or power, e.g. Engine speed (rpm), Torque (lb-ft); "
        + (f"the record maps {headers}" if mapped else "or say in the record, under columns, how they are headed")
        + (f"; {_BLANKS_FIX}" if blanks_to_tabs(text) is not None else ""),
    )


def _data_cells(text: LogText, header: Header, columns: list[Column]) -> Iterator[list[str]]:
    """Yield the cells of the given columns, row by row."""
    for line in text.lines(header.data_start, header.data_line):
        cells = split_cells(line.text, header.delimiter)
        if len(cells) > 1:
            yield [cells[column.index] if column.index < len(cells) else "" for column in columns]


def _drop_columns_of_words(text: LogText, header: Header, resolved: Columns, path: Path) -> frozenset[int]:
    """Drop lesser channels that hold words from the first rows on; return the columns of words."""
    lines = islice(text.lines(header.data_start, header.data_line), 20)
    sample = [split_cells(line.text, header.delimiter) for line in lines if line.text.strip()]
    mostly_words, only_words = set(), set()
    for index in range(len(header.cells)):
        cells = [row[index] for row in sample if index < len(row) and row[index]]
        words = sum(not is_number(cell) for cell in cells)
        if words and words >= 0.8 * len(sample):
            mostly_words.add(index)
        if words and words == len(cells) and words >= min(3, len(sample)):
            only_words.add(index)
    for column in list(resolved.columns):
        if column.index in mostly_words | only_words and not column.required:
            resolved.columns.remove(column)
            resolved.problems.append(Problem(
                path, header.data_line,
                f"column {column.header!r} holds words instead of numbers; {column.slug} is left out", "warning",
            ))  # fmt: skip
    return frozenset(mostly_words - {column.index for column in resolved.columns})


def _decimal_mark(text: LogText, header: Header, resolved: Columns) -> Mark | None:
    """Return the file's decimal mark, from unambiguous cells, else from what an engine can do; None if open."""
    if header.delimiter == "," and text.data.find(b'"', header.data_start) < 0:
        return "."
    sample = [cell for row in islice(_data_cells(text, header, resolved.columns), _SAMPLE) for cell in row]
    mark = likely_decimal_mark(sample)
    if mark in ("", "?"):
        # No cell so far decides it. One further down may.
        at = header.data_start
        if not any(text.data.find(mark.encode(), at) > 0 for mark in ".," if mark != header.delimiter):
            return "."
        for row in _data_cells(text, header, resolved.columns):
            evidence = {decimal_evidence(cell) for cell in row}
            if evidence & {".", ","}:
                mark = likely_decimal_mark(row)
                break
            mark = "?" if "?" in evidence else mark
    if mark == "?":
        return _plausible_mark(sample, text, header, resolved)
    return "," if mark == "," else "."


def _plausible_mark(sample: list[str], text: LogText, header: Header, resolved: Columns) -> Mark | None:
    """Return the mark with which "3,500" (3.5 or 3500) is something that an engine can do; None if both or neither."""
    possible: list[Mark] = [mark for mark in (".", ",") if _is_plausible(mark, text, header, resolved)]
    if len(possible) != 1:
        return None
    resolved.notes.append(
        f"no number shows which mark is the decimal mark: taken as a {MARK_NAMES[possible[0]]}, "
        "since the other reading gives numbers that no engine makes"
    )
    return possible[0]


def _is_plausible(mark: Mark, text: LogText, header: Header, resolved: Columns) -> bool:
    rows = list(islice(_data_cells(text, header, resolved.columns), _SAMPLE))
    for index, column in enumerate(resolved.columns):
        values = [v for row in rows if (v := number(row[index], mark)) is not None]
        if not values or not column.required:
            continue
        largest = max(map(abs, values)) * column.scale
        # An engine on a dyno turns between 300 and 30,000 rpm and makes 1 to 20,000 N m, 100 W to 15 MW.
        low = {"engine_speed": 5.0, "torque": 1.0, "power": 100.0}[column.slug]
        if not low <= largest <= CHANNELS[column.slug].high:
            return False
    return True


def _open_mark(text: LogText, header: Header, resolved: Columns, path: Path) -> Problem:
    for line in text.lines(header.data_start, header.data_line):
        cells = split_cells(line.text, header.delimiter)
        for column in resolved.columns:
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


def _drop_empty(channels: dict[str, NDArray[np.float64]], rows: Rows, resolved: Columns, path: Path) -> list[Problem]:
    """Drop channels without a single number; without torque and power there is no pull."""
    empty = [slug for slug, values in channels.items() if np.isnan(values).all()]
    for slug in empty:
        del channels[slug]
        resolved.notes.append(f"{CHANNELS[slug].title}: empty in every row, ignored")
    dropped = [slug for slug in ("torque", "power") if slug in empty]
    severity: Literal["warning", "error"] = "warning" if channels.keys() & {"torque", "power"} else "error"
    return [
        Problem(path, int(rows.lines[0]), f"the column of {slug} is empty in every row", severity) for slug in dropped
    ]


def _format_notes(text: LogText, header: Header, mark: Mark) -> list[str]:
    declared = ", as its first line says" if header.declared else ""
    separator = "blank" if text.split_at_blanks else DELIMITER_NAMES[header.delimiter]
    notes = [
        f"encoding {text.encoding}; {separator}-separated{declared}; decimal {MARK_NAMES[mark]}",
        f"header on line {header.line}"
        + (f", units on line {header.units_line}" if header.units_line else ", no units row")
        + f", data from line {header.data_line}",
    ]
    if header.line > 1 + header.declared:
        notes.append(f"{header.line - 1} lines before the header ignored")
    return notes
