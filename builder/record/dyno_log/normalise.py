"""A log in an odd form -> the same log in the plain one, line by line: columns parted by blanks, times of a clock.

Lines keep their numbers, so that every problem still names the line of the shop's own file. What can be read in more
than one way is not turned; the caller is told instead.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import islice

from builder.record.dyno_log.encoding import CLOCK, CsvText, is_number, split_cells
from builder.record.dyno_log.header import Header, columns_named, heading

_SAMPLE = 200
_LEAST_ROWS = 3

# -- Columns parted by blanks -------------------------------------------------------------------------------------

_CELL = re.compile(r"\S+(?: \S+)*")
"""A run of words; two blanks or a tab end it."""


def parted_by_tabs(text: CsvText) -> CsvText | None:
    """A log whose columns are parted by blanks alone, with a tab in the place of every gap; None if it is none.

    It is one if line after line holds the same number of numbers and blanks between them. In the lines above the
    first such line, names of several words stand: there a gap is two blanks or more where that gives as many names,
    else any blank. A line that fits neither is left as it is, unless it has something below some of the names alone.
    """
    sample = [(line, line.text.split()) for line in islice(text.lines(), 2 * _SAMPLE)]
    rows = [(line, cells) for line, cells in sample if len(cells) > 1 and all(_is_value(cell) for cell in cells)]
    if len(rows) < _LEAST_ROWS:
        return None
    width = Counter(len(cells) for _, cells in rows).most_common(1)[0][0]
    start = next(line.start for line, cells in rows if len(cells) == width)
    heads: list[str] = []
    names: list[re.Match[str]] = []
    for line in text.lines():
        if line.start >= start:
            break
        words = line.text.expandtabs()
        cells = next((found for way in (_CELL, _WORD) if len(found := list(way.finditer(words))) == width), [])
        if cells:
            names = cells
            heads.append("\t".join(cell[0] for cell in cells))
        else:
            heads.append(_below(names, words) or line.text)
    body = b"\n".join(b"\t".join(row.split()) for row in text.data[start:].split(b"\n"))
    return replace(text, data="".join(f"{head}\n" for head in heads).encode() + body, blanks=True)


_WORD = re.compile(r"\S+")


def _below(names: Sequence[re.Match[str]], words: str) -> str:
    """A line of cells that each stand below a name of their own, such as units where some names have none."""
    places: dict[int, str] = {}
    for cell in _CELL.finditer(words):
        under = [i for i, name in enumerate(names) if name.start() < cell.end() and cell.start() < name.end()]
        if len(under) != 1 or under[0] in places:
            return ""
        places[under[0]] = cell[0]
    return "\t".join(places.get(index, "") for index in range(len(names))) if places else ""


def _is_value(cell: str) -> bool:
    return is_number(cell) or CLOCK.fullmatch(cell) is not None


# -- Times of a clock ---------------------------------------------------------------------------------------------

_FORMS: Mapping[str, tuple[int, int]] = {"hh:mm:ss": (1, 86_400), "mm:ss": (1, 3_600), "hh:mm": (60, 86_400)}
"""By the form of a clock's time: seconds that the second of two fields counts, and after how many it begins again."""


@dataclass(frozen=True, slots=True)
class Clock:
    """A time column in the form of a clock: which column, and the log with seconds in its place.

    ``doubt`` is the line and cell that may be read in two ways: then nothing was turned.
    """

    index: int
    text: CsvText
    told: str = ""
    doubt: tuple[int, str] | None = None


def clock_of(text: CsvText, header: Header, mapped: Mapping[str, str], stated: Mapping[str, str]) -> Clock | None:
    """The time column, if its cells are times of a clock (1:02:03.5, 02:03.5), turned to seconds."""
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
        return Clock(index, text, doubt=times[0][:2])
    turned, turns = _in_seconds(text, header, index, form)
    passes = f"; it passes the full {'hour' if form == 'mm:ss' else 'day'}" if turns else ""
    return Clock(index, turned, f"time is written as a clock shows it, {form}: read as seconds{passes}")


def _time_column(header: Header, mapped: Mapping[str, str]) -> int | None:
    if "time" in mapped:
        places = columns_named(mapped["time"], header.cells)
    else:
        places = [index for index, cell in enumerate(header.cells) if "time" in heading(cell).slugs]
    return places[0] if len(places) == 1 else None


def _form(times: Sequence[re.Match[str]], said: Iterable[str | None]) -> str | None:
    """Which fields a clock's times have; None where two fields may be minutes and seconds or hours and minutes."""
    if any(time["third"] for time in times):
        return "hh:mm:ss"  # two fields beside three are minutes and seconds of the first hour
    for words in said:
        squashed = re.sub(r"[^a-z:]", "", (words or "").casefold())
        for form, short in (("mm:ss", "m:s"), ("hh:mm", "h:m")):
            if form in squashed or short in squashed:
                return form
    # Nobody writes parts of a minute behind a point, nor counts on after the 23rd hour.
    return "mm:ss" if any(time["part"] or int(time["first"]) > 23 for time in times) else None


def _in_seconds(text: CsvText, header: Header, index: int, form: str) -> tuple[CsvText, int]:
    """The log with seconds in the place of a clock's times, and how often the clock began again."""
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
