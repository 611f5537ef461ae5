"""Blocks of tidy rows -> numbers, many at a time.

A sweep of a million rows is too long to be read cell by cell. Here eight digits are read at once, for whole
columns; what is not plainly regular is left to the careful reading in `csv_rows`, which alone decides what an odd
row means. Where this returns numbers they are those of `float()`, to the last bit.
"""

from __future__ import annotations

import io

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_NEWLINE = 10
_LONG_BLANK = b" " * 32
_PAD = 8
_ZEROS = np.uint64(0x3030303030303030)
_POWERS = 10.0 ** np.arange(9)
_WHOLE_POWERS = (10 ** np.arange(9)).astype(np.uint64)
# _KEEP[n] keeps the last n of eight bytes read as a little-endian number.
_KEEP = np.array([((1 << 64) - 1) & ~((1 << (64 - 8 * n)) - 1) if n else 0 for n in range(9)], dtype=np.uint64)
_EXACT_DIGITS = 15  # a whole number of so many digits is exact in a float, and so is the power of ten below it


def read_block(block: bytes, delimiter: str, width: int, wanted: NDArray[np.intp], decimal: str) -> Floats | None:
    """The numbers of the wanted columns, shape (len(wanted), rows), NaN for empty cells.

    `block` is whole lines. None unless every line has exactly `width` cells and every wanted cell is empty or a
    finite number without thousands separators.
    """
    if decimal == delimiter or _LONG_BLANK in block:
        return None
    if b" " in block:
        block = _without_padding(block, delimiter)
    if b'"' in block:
        bare = _without_quotes(block, delimiter)
        if bare is None:
            return None
        block = bare
    text = np.frombuffer(b"0" * _PAD + block, dtype=np.uint8)
    mark = ord(decimal)
    is_mark = text == mark
    at = np.flatnonzero((text == ord(delimiter)) | (text == _NEWLINE) | is_mark)
    is_end = text[at] != mark
    end_index = np.flatnonzero(is_end)
    ends = at[end_index]
    rows, left_over = divmod(ends.size, width)
    if left_over or rows == 0:
        return None
    grid = ends.reshape(rows, width)
    if np.count_nonzero(text == _NEWLINE) != rows or not np.all(text[grid[:, -1]] == _NEWLINE):
        return None
    starts = np.concatenate(([_PAD], ends[:-1] + 1)).reshape(rows, width)[:, wanted].T
    marks = np.diff(end_index, prepend=-1).reshape(rows, width)[:, wanted].T - 1
    last_mark = at[end_index - 1].reshape(rows, width)[:, wanted].T
    numbers = _simple_numbers(text, starts, grid[:, wanted].T, marks, last_mark)
    return _any_numbers(block, delimiter, wanted, decimal) if numbers is None else numbers


def without_blank_lines(block: bytes) -> tuple[bytes, NDArray[np.bool_]]:
    """The block without lines of no length, and for each of its lines whether it was one."""
    text = np.frombuffer(block, dtype=np.uint8)
    ends = np.flatnonzero(text == _NEWLINE)
    is_blank = np.diff(ends, prepend=-1) == 1
    keep = np.ones(text.size, dtype=bool)
    keep[ends[is_blank]] = False
    return text[keep].tobytes(), is_blank


def _simple_numbers(
    text: NDArray[np.uint8],
    starts: NDArray[np.intp],
    ends: NDArray[np.intp],
    marks: NDArray[np.intp],
    last_mark: NDArray[np.intp],
) -> Floats | None:
    """Numbers of at most eight digits before the decimal mark and eight after it, without an exponent."""
    first = text[starts]
    negative = first == ord("-")
    begins = starts + (negative | (first == ord("+")))
    whole_end = np.where(marks == 1, last_mark, ends)
    whole_digits = whole_end - begins
    part_digits = np.where(marks == 1, ends - last_mark - 1, 0)
    digits = whole_digits + part_digits
    empty = starts == ends
    simple = (digits >= 1) & (digits <= _EXACT_DIGITS) & (whole_digits <= 8) & (part_digits <= 8) & (marks <= 1)
    if not np.all(simple | empty):
        return None
    if np.any(empty):
        whole_digits = np.where(empty, 0, whole_digits)
    # Every position of the text seen as the start of eight bytes; the padding in front lets the first cell do so.
    eights = np.ndarray((text.size - _PAD + 1,), dtype="<u8", buffer=text.data, strides=(1,))
    whole = _eight_digits(eights[whole_end - 8], whole_digits)
    part = _eight_digits(eights[ends - 8], part_digits) if part_digits.any() else np.zeros_like(whole)
    if whole is None or part is None:
        return None
    numbers = (whole * _WHOLE_POWERS[part_digits] + part).astype(np.float64)
    numbers /= _POWERS[part_digits]
    np.negative(numbers, out=numbers, where=negative)
    numbers[empty] = np.nan
    return numbers


def _eight_digits(eight: NDArray[np.uint64], count: NDArray[np.intp]) -> NDArray[np.uint64] | None:
    """The number that the last `count` of eight characters write; None if one of them is not a digit."""
    keep = _KEEP[count]
    eight = (eight & keep) | (_ZEROS & ~keep)
    high_halves, carry = np.uint64(0xF0F0F0F0F0F0F0F0), np.uint64(0x0606060606060606)
    if np.any(((eight & high_halves) != _ZEROS) | (((eight + carry) & high_halves) != _ZEROS)):
        return None
    # Neighbours are joined: digits into pairs, pairs into fours, fours into eight.
    eight = ((eight & np.uint64(0x0F0F0F0F0F0F0F0F)) * np.uint64(2561)) >> np.uint64(8)
    eight = ((eight & np.uint64(0x00FF00FF00FF00FF)) * np.uint64(6553601)) >> np.uint64(16)
    return ((eight & np.uint64(0x0000FFFF0000FFFF)) * np.uint64(42949672960001)) >> np.uint64(32)


def _any_numbers(block: bytes, delimiter: str, wanted: NDArray[np.intp], decimal: str) -> Floats | None:
    """Long numbers and exponents, by NumPy's reader; the block's shape is known to be right."""
    if decimal == ",":
        if b"." in block:
            return None
        block = block.replace(b",", b".")
    try:
        numbers = np.loadtxt(
            io.BytesIO(block), delimiter=delimiter, usecols=wanted.tolist(), comments=None, ndmin=2, unpack=True
        )
    except (ValueError, OverflowError):
        return None
    return np.ascontiguousarray(numbers) if np.all(np.isfinite(numbers)) else None


def _without_quotes(block: bytes, delimiter: str) -> bytes | None:
    """The block without its quotes, if every quote opens or closes a whole cell that holds no edge itself."""
    text = np.frombuffer(b"\n" + block, dtype=np.uint8)
    quotes = np.flatnonzero(text == ord('"'))
    is_edge = (text == ord(delimiter)) | (text == _NEWLINE)
    opens, closes = quotes[0::2], quotes[1::2]
    if opens.size != closes.size or not (np.all(is_edge[opens - 1]) and np.all(is_edge[closes + 1])):
        return None
    edges = np.flatnonzero(is_edge)
    if not np.array_equal(np.searchsorted(edges, opens), np.searchsorted(edges, closes)):
        return None
    return block.translate(None, b'"')


def _without_padding(block: bytes, delimiter: str) -> bytes:
    """The block without spaces beside delimiters and line ends."""
    for edge in (delimiter.encode(), b"\n"):
        while b" " + edge in block:
            block = block.replace(b" " + edge, edge)
        while edge + b" " in block:
            block = block.replace(edge + b" ", edge)
    return block.lstrip(b" ")
