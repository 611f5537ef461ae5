"""Rewrite unusual logs line by line in the usual form: columns separated by blanks, times of a clock.

Lines keep their numbers, so that every problem still names the line of the shop's own file. What can be read in more
than one way is not rewritten; the caller gets the line and cell instead.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import islice

from builder.record.dyno_log.encoding import CLOCK, LogText, is_number, split_cells
from builder.record.dyno_log.header import Header, columns_named, heading

_SAMPLE = 200
_MIN_ROWS = 3

# -- Columns separated by blanks ----------------------------------------------------------------------------------

_CELL = re.compile(r"\S+(?: \S+)*")
"""A run of words; two blanks or a tab end it."""


def blanks_to_tabs(text: LogText) -> LogText | None:
    """Return a log whose columns are separated by blanks alone with a tab for every gap; None for any other log.

    In such a log line after line holds the same number of numbers with blanks between them. The lines above the
    first of them may have names of several words: there a gap is two blanks or more where that gives as many names,
    else any blank. A line that fits neither way is left as it is, unless each of its cells is below a name.
    """
    sample = [(line, line.text.split()) for line in islice(text.lines(), 2 * _SAMPLE)]
    rows = [(line, cells) for line, cells in sample if len(cells) > 1 and all(_is_value(cell) for cell in cells)]
    if len(rows) < _MIN_ROWS:
        return None
    width = Counter(len(cells) for _, cells in rows).most_common(1)[0][0]
    start = next(line.start for line, cells in rows if len(cells) == width)
    heads: list[str] = []
    names: list[re.Match[str]] = []
    for line in text.lines():
        if line.start >= start:
            break
        words = line.text.expandtabs()
        matches = (list(pattern.finditer(words)) for pattern in (_CELL, _WORD))
        cells = next((cells for cells in matches if len(cells) == width), [])
        if cells:
            names = cells
            heads.append("\t".join(cell[0] for cell in cells))
        else:
            heads.append(_below(names, words) or line.text)
    body = b"\n".join(b"\t".join(row.split()) for row in text.data[start:].split(b"\n"))
    return replace(text, data="".join(f"{head}\n" for head in heads).encode() + body, split_at_blanks=True)


_WORD = re.compile(r"\S+")


def _below(names: Sequence[re.Match[str]], words: str) -> str:
    """Return the cells of a line, each below a name of its own, with tabs (units where some names have none)."""
    places: dict[int, str] = {}
    for cell in _CELL.finditer(words):
        above = [i for i, name in enumerate(names) if name.start() < cell.end() and cell.start() < name.end()]
        if len(above) != 1 or above[0] in places:
            return ""
        places[above[0]] = cell[0]
    return "\t".join(places.get(index, "") for index in range(len(names))) if places else ""


def _is_value(cell: str) -> bool:
    return is_number(cell) or CLOCK.fullmatch(cell) is not None


# -- Times of a clock ---------------------------------------------------------------------------------------------

_FORMS: Mapping[str, tuple[int, int]] = {"hh:mm:ss": (1, 86_400), "mm:ss": (1, 3_600), "hh:mm": (60, 86_400)}
"""By the form of a clock's time: seconds that the second of two fields counts, and after how many it begins again."""


@dataclass(frozen=True, slots=True)
class Clock:
    """A time column in the form of a clock: its index, and the log with seconds in its place.

    ``ambiguous`` is the line and cell that may be read in two ways: then nothing was converted.
    """

    index: int
    text: LogText
    note: str = ""
    ambiguous: tuple[int, str] | None = None


def read_clock(text: LogText, header: Header, mapped: Mapping[str, str], stated: Mapping[str, str]) -> Clock | None:
    """Return the time column converted to seconds, if its cells are times of a clock (1:02:03.5, 02:03.5)."""
    index = _time_column(header, mapped)
    if index is None:
        return None
    sample = []
    for line in islice(text.lines(header.data_start, header.data_line), _SAMPLE):
        cells = split_cells(line.text, header.delimiter)
        if index < len(cells) and cells[index]:
            sample.append((line.number, cells[index]))
    times = [(line, cell, match) for line, cell in sample if (match := CLOCK.fullmatch(cell))]
    if not times or len(times) < 0.8 * len(sample):
        return None
    form = _form([match for _, _, match in times], (stated.get("time"), header.cells[index], header.unit(index)))
    if form is None:
        return Clock(index, text, ambiguous=times[0][:2])
    converted, turns = _in_seconds(text, header, index, form)
    passes = f"; it passes the full {'hour' if form == 'mm:ss' else 'day'}" if turns else ""
    return Clock(index, converted, f"time is written as a clock shows it, {form}: read as seconds{passes}")


def _time_column(header: Header, mapped: Mapping[str, str]) -> int | None:
    if "time" in mapped:
        places = columns_named(mapped["time"], header.cells)
    else:
        places = [index for index, cell in enumerate(header.cells) if "time" in heading(cell).slugs]
    return places[0] if len(places) == 1 else None


def _form(times: Sequence[re.Match[str]], descriptions: Iterable[str | None]) -> str | None:
    """Return which fields a clock's times have; None where two may be minutes and seconds or hours and minutes."""
    if any(time["third"] for time in times):
        return "hh:mm:ss"  # two fields among others of three are minutes and seconds of the first hour
    for description in descriptions:
        squashed = re.sub(r"[^a-z:]", "", (description or "").casefold())
        for form, short in (("mm:ss", "m:s"), ("hh:mm", "h:m")):
            if form in squashed or short in squashed:
                return form
    # Nobody writes parts of a minute behind a point, nor counts on after the 23rd hour.
    return "mm:ss" if any(time["part"] or int(time["first"]) > 23 for time in times) else None


def _in_seconds(text: LogText, header: Header, index: int, form: str) -> tuple[LogText, int]:
    """Return the log with seconds in the place of a clock's times, and how often the clock began again."""
    unit, turn = _FORMS[form]
    edge = re.escape(header.delimiter)
    cell = re.compile(
        rf'^((?:[^{edge}\n]*{edge}){{{index}}}[ "]*)([0-9]{{1,4}}):([0-5][0-9])(?::([0-5][0-9]))?'
        rf'(?=(?:[.,][0-9]+)?[ "]*(?:{edge}|$))',
        re.MULTILINE,
    )
    turns, last = 0, 0

    def seconds(match: re.Match[str]) -> str:
        nonlocal turns, last
        value = int(match[2]) * 60 + int(match[3])
        value = value * unit if match[4] is None else value * 60 + int(match[4])
        if last - turns * turn > 0.9 * turn and value < 0.1 * turn:
            turns += 1
        last = value + turns * turn
        return f"{match[1]}{last}"

    body = cell.sub(seconds, text.data[header.data_start :].decode("utf-8"))
    return replace(text, data=text.data[: header.data_start] + body.encode()), turns
