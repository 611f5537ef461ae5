"""Decode a file: its encoding, its lines, the cells of a line and the numbers in them."""

from __future__ import annotations

import codecs
import os
import re
import stat
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

MAX_BYTES = 200_000_000
MAX_LINES = 5_000_000
MAX_LINE_BYTES = 65_536
DELIMITERS = (";", "\t", "|", ",")
DELIMITER_NAMES = {";": "semicolon", "\t": "tab", "|": "vertical bar", ",": "comma"}
MARK_NAMES = {".": "point", ",": "comma"}


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the file: its 1-based number, where it begins and where the next one begins."""

    number: int
    start: int
    stop: int
    text: str


@dataclass(frozen=True, slots=True)
class LogText:
    """A file as UTF-8 without byte-order mark, every line ended by a bare newline."""

    data: bytes
    encoding: str
    closed: bool
    """Whether the file itself ended its last line. If not, the line may have been cut off."""
    split_at_blanks: bool = False
    """Whether blanks separated its columns; they are replaced by tabs."""

    def lines(self, start: int = 0, number: int = 1) -> Iterator[Line]:
        """Yield the lines from byte `start` on, which is line `number`; stop at a line that is too long."""
        while start < len(self.data):
            end = self.data.find(b"\n", start, start + MAX_LINE_BYTES)
            if end < 0:
                return
            yield Line(number, start, end + 1, self.data[start:end].decode("utf-8"))
            start, number = end + 1, number + 1


@dataclass(frozen=True, slots=True)
class Unreadable:
    """Why a file cannot be read as text, and on which line that shows."""

    line: int
    message: str


def load_text(path: Path, limit: int = MAX_BYTES) -> LogText | Unreadable:
    """Read a plain file of at most `limit` bytes, and decode it."""
    try:
        mode = os.lstat(path).st_mode
        if stat.S_ISLNK(mode):
            return Unreadable(1, "this is a link; put the log itself into the build's folder")
        if not stat.S_ISREG(mode):
            return Unreadable(1, "this is not a plain file; name the CSV file that the dyno exported")
        # These flags refuse a link or a pipe that replaced the file after it was checked.
        flags = os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0)
        with os.fdopen(os.open(path, flags | getattr(os, "O_BINARY", 0)), "rb") as file:
            if not stat.S_ISREG(os.fstat(file.fileno()).st_mode):
                return Unreadable(1, "this is not a plain file; name the CSV file that the dyno exported")
            size = os.fstat(file.fileno()).st_size
            if size > limit:
                return _too_big(size, limit)
            data = file.read(limit + 1)
    except FileNotFoundError:
        return Unreadable(1, "there is no such file; check the name in the dyno record")
    except (OSError, ValueError) as error:
        return Unreadable(1, f"the file cannot be read ({getattr(error, 'strerror', None) or error})")
    return _too_big(len(data), limit) if len(data) > limit else decode(data)


def _too_big(size: int, limit: int) -> Unreadable:
    return Unreadable(
        1,
        f"the file has {size / 1e6:,.0f} MB and the most that is read is {limit / 1e6:,.0f} MB; "
        "export the pull alone, or at a lower sampling rate",
    )


def decode(data: bytes) -> LogText | Unreadable:
    """Find the encoding, by its mark or else by trying, and return the text or why there is none."""
    failure = Unreadable(1, "")
    for encoding, codec in _likely_encodings(data):
        decoder = codecs.getincrementaldecoder(codec)()
        try:
            text = data if encoding == "ASCII" else decoder.decode(data).removeprefix("\ufeff").encode("utf-8")
        except UnicodeDecodeError as error:
            before = data[: error.start]
            failure = Unreadable(
                (before.count(b"\n") or before.count(b"\r")) + 1,
                f"the file is not readable as {encoding}; export it as UTF-8, UTF-16 or Windows-1252",
            )
        else:
            cut_off = bool(decoder.getstate()[0])  # bytes that begin a character
            return _with_lines(text, encoding, cut_off)
    return failure


_MARKS = (
    (codecs.BOM_UTF8, "UTF-8 with byte-order mark", "utf-8"),
    (codecs.BOM_UTF16_LE, "UTF-16 LE", "utf-16-le"),
    (codecs.BOM_UTF16_BE, "UTF-16 BE", "utf-16-be"),
)


def _likely_encodings(data: bytes) -> list[tuple[str, str]]:
    """Return the encodings to try, each with Python's name for its codec."""
    for mark, encoding, codec in _MARKS:
        if data.startswith(mark):
            return [(encoding, codec)]
    head = data[:4096]
    # Text of mostly Western letters and digits in UTF-16 has every other byte zero, and the rest hardly any.
    zeros = head[0::2].count(0), head[1::2].count(0)
    is_utf16 = max(zeros) > 0.4 * len(head) / 2 and min(zeros) < 0.05 * len(head) / 2
    if is_utf16:
        return [("UTF-16 LE", "utf-16-le") if zeros[1] > zeros[0] else ("UTF-16 BE", "utf-16-be")]
    if data.isascii():
        return [("ASCII", "ascii")]
    return [("UTF-8", "utf-8"), ("Windows-1252", "cp1252")]


def _with_lines(text: bytes, encoding: str, cut_off: bool) -> LogText | Unreadable:
    """Return UTF-8 text with bare newlines at its line ends, or why it is no log."""
    if b"\r" in text:
        text = text.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    if text.endswith(b"\x1a"):  # the end-of-file mark of old systems
        text = text.rstrip(b"\x1a")
    if not text.strip():
        return Unreadable(1, "the file is empty; export the pull again")
    at = text.find(b"\0")
    if at >= 0:
        line = text.count(b"\n", 0, at) + 1
        return Unreadable(line, f"the file holds NUL bytes ({text.count(bytes(1))}, the first on this line): "
                                "it is damaged or not text; export the pull again")  # fmt: skip
    if text.count(b"\n") > MAX_LINES:
        return Unreadable(MAX_LINES, f"the file has more than {MAX_LINES:,} lines; export the pull alone")
    ended = text.endswith(b"\n")
    return LogText(text if ended else text + b"\n", encoding, closed=ended and not cut_off)


CLOCK = re.compile(r"(?P<first>[0-9]{1,4}):(?P<second>[0-5][0-9])(?::(?P<third>[0-5][0-9]))?(?P<part>[.,][0-9]+)?")
"""A time as a clock shows it: 1:02:03.5, 02:03.5."""

_QUOTED = re.compile(r'[^\S\t]*"([^"]*(?:""[^"]*)*)"[^\S\t]*')  # a tab may be the delimiter


def split_cells(text: str, delimiter: str) -> list[str]:
    """Return a line's cells without the blanks around them; a quoted cell may hold the delimiter and doubled quotes.

    A quote that never closes, or is inside a cell, is an ordinary character.
    """
    if '"' not in text:
        return [cell.strip() for cell in text.split(delimiter)]
    cells: list[str] = []
    at = 0
    while True:
        quoted = _QUOTED.match(text, at)
        if quoted and (quoted.end() == len(text) or text[quoted.end()] == delimiter):
            cells.append(quoted[1].replace('""', '"').strip())
            end = quoted.end()
        else:
            end = text.find(delimiter, at)
            end = len(text) if end < 0 else end
            cells.append(text[at:end].strip())
        if end >= len(text):
            return cells
        at = end + 1


# What may separate thousands, other than a point or a comma: spaces (plain, no-break, figure, thin, narrow) and
# apostrophes.
_BLANKS = "\u0020\u00a0\u2007\u2009\u202f'\u2019"
MAX_NUMBER_LENGTH = 64
"""A longer cell is no number: no instrument writes one."""
MAX_NUMBER = 1e30
"""Nor one as large as this, whose square and cube are no longer finite numbers."""
# Each pattern takes a time in proportion to the cell's length: no part of it can match what the part before may.
_PLAIN = {
    ".": re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,4})?"),
    ",": re.compile(r"[+-]?(?:[0-9]+(?:,[0-9]*)?|,[0-9]+)(?:[eE][+-]?[0-9]{1,4})?"),
}
_GROUPED = {
    ".": re.compile(rf"[+-]?[1-9][0-9]{{0,2}}(?:([,{_BLANKS}])[0-9]{{3}}(?:\1[0-9]{{3}})*)(?:\.[0-9]*)?"),
    ",": re.compile(rf"[+-]?[1-9][0-9]{{0,2}}(?:([.{_BLANKS}])[0-9]{{3}}(?:\1[0-9]{{3}})*)(?:,[0-9]*)?"),
}


def plain_number(cell: str, decimal: str) -> float | None:
    """Return the number in a cell without thousands separators, or None."""
    if len(cell) > MAX_NUMBER_LENGTH or not _PLAIN[decimal].fullmatch(cell):
        return None
    value = float(cell.replace(",", "."))
    return value if abs(value) < MAX_NUMBER else None


def grouped_number(cell: str, decimal: str) -> float | None:
    """Return the number in a cell with thousands separators (1,234.5; 1.234,5; 1 234,5), or None."""
    match = _GROUPED[decimal].fullmatch(cell) if len(cell) <= MAX_NUMBER_LENGTH else None
    if match is None:
        return None
    value = float(cell.replace(match[1], "").replace(",", "."))
    return value if abs(value) < MAX_NUMBER else None


def number(cell: str, decimal: str) -> float | None:
    """Return the finite number in a cell, with or without thousands separators; None if it is not one."""
    cell = cell.replace("−", "-")
    value = plain_number(cell, decimal)
    return grouped_number(cell, decimal) if value is None else value


def is_number(cell: str) -> bool:
    """Return whether a cell is a number with either decimal mark."""
    return number(cell, ".") is not None or number(cell, ",") is not None


def decimal_evidence(cell: str) -> str:
    """Return what a cell shows of the decimal mark: "." or ",", "?" if it could be either, "" if nothing."""
    if "." not in cell and "," not in cell:
        return ""
    point, comma = number(cell, "."), number(cell, ",")
    if point is not None and comma is not None:
        return "" if point == comma else "?"
    return "." if point is not None else "," if comma is not None else ""


def likely_decimal_mark(cells: Iterable[str]) -> str:
    """Return the decimal mark that most decisive cells show: ".", ",", "?" (ambiguous ones only) or "" (no marks).

    Cells that show the other one are then not numbers, and are reported.
    """
    counts = {".": 0, ",": 0, "?": 0, "": 0}
    for cell in cells:
        counts[decimal_evidence(cell)] += 1
    if counts["."] or counts[","]:
        return "." if counts["."] >= counts[","] else ","
    return "?" if counts["?"] else ""
