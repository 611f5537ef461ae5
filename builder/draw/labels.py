"""Labels: text that SVG can hold, cut to a width, and numbers as the trade writes them."""

from __future__ import annotations

import math
import unicodedata
from functools import lru_cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from matplotlib.ft2font import FT2Font

# Characters that turn the direction of what follows: one in a label would scramble its neighbors.
_TURNS = frozenset(map(chr, (*range(0x202A, 0x202F), *range(0x2066, 0x206A), 0x200E, 0x200F)))


def sanitise(text: str) -> str:
    """Return the text on one line, without characters that XML forbids or that turn the writing direction."""
    text = str(text)
    if text.isascii() and text.isprintable():
        return " ".join(text.split())
    chars = []
    for char in text:
        kind = unicodedata.category(char)
        if char in _TURNS or kind == "Cs" or ord(char) in (0xFFFE, 0xFFFF):
            continue
        chars.append(" " if kind == "Cc" or char in "\u2028\u2029" else char)
    return " ".join("".join(chars).split())


@lru_cache(maxsize=2)
def _font(bold: bool) -> FT2Font:
    from matplotlib import get_data_path
    from matplotlib.font_manager import get_font

    return get_font(f"{get_data_path()}/fonts/ttf/DejaVuSans{'-Bold' if bold else ''}.ttf")


@lru_cache(maxsize=4096)
def _em(char: str, bold: bool) -> float:
    """Return the advance width of one character, in parts of the type size."""
    from matplotlib.ft2font import LoadFlags

    if unicodedata.combining(char) or unicodedata.category(char) in ("Mn", "Me", "Cf"):
        return 0.0
    font = _font(bold)
    if font.get_char_index(ord(char)) == 0:
        # Drawn by whatever font the reader has: emoji and Han are about square.
        wide = unicodedata.east_asian_width(char) in "WF" or ord(char) > 0xFFFF
        return 1.3 if wide else 0.8
    font.set_size(100, 72)
    glyph = font.load_char(ord(char), flags=LoadFlags.NO_HINTING)
    return float(glyph.linearHoriAdvance) / 65536 / 100


def width(text: str, size: float, bold: bool = False) -> float:
    """Return the width of a label [px] at this type size [px] in the measuring font, which no page font exceeds."""
    return size * sum(_em(char, bold) for char in text)


def truncate(text: str, room: float, size: float, bold: bool = False) -> str:
    """Return the cleaned text, cut with an ellipsis to take at most ``room`` [px]; nothing if not a letter fits."""
    text = sanitise(text)
    if width(text, size, bold) <= room:
        return text
    room -= width("…", size, bold)
    count, used = 0, 0.0
    for char in text:
        used += size * _em(char, bold)
        if used > room:
            break
        count += 1
    return f"{text[:count].rstrip()}…" if count else ""


def wrap(text: str, room: float, size: float, lines: int = 3) -> list[str]:
    """Return the cleaned text broken at spaces into at most ``lines`` lines of ``room`` [px], the last one cut."""
    words = sanitise(text).split(" ")
    out: list[str] = []
    while words and len(out) < lines:
        if len(out) == lines - 1:
            out.append(truncate(" ".join(words), room, size))
            break
        line = words.pop(0)
        while words and width(f"{line} {words[0]}", size) <= room:
            line = f"{line} {words.pop(0)}"
        out.append(truncate(line, room, size))
    return [line for line in out if line]


def number(value: float, decimals: int | None = None) -> str:
    """Return a number with thousands separated, a true minus and (without ``decimals``) three figures."""
    if not math.isfinite(value):
        return "not known"
    size = abs(value)
    if decimals is None:
        if size >= 1e7 or 0 < size < 1e-3:
            return _scientific(value)
        decimals = 0 if size >= 100 or size == 0 else 1 if size >= 10 else 2 if size >= 1 else 3
        if size and size < 0.1:
            decimals = 4 if size >= 0.01 else 5
    elif size >= 1e9:
        return _scientific(value)
    return _sign(f"{value:,.{decimals}f}")


def _scientific(value: float) -> str:
    mantissa, power = f"{value:.2e}".split("e")
    return _sign(f"{mantissa}×10") + "".join("⁰¹²³⁴⁵⁶⁷⁸⁹"[int(d)] if d.isdigit() else "⁻" for d in str(int(power)))


def _sign(text: str) -> str:
    # "-0" and "-0.00" are noughts with the sign of what was rounded.
    if text.startswith("-") and not text.strip("-0.,"):
        return text[1:]
    return text.replace("-", "−")


def signed(value: float) -> str:
    """Return a difference with its sign."""
    text = number(value)
    return text if text.startswith("−") or not text.strip("0.,") or value <= 0 else f"+{text}"


def exact(value: float) -> str:
    """Return a setting with no more decimals than it has, four at most."""
    text = number(value, 4)
    return text.rstrip("0").rstrip(".") if "." in text else text


def with_unit(text: str, unit: str) -> str:
    """Return a number and its unit: ``35°`` and ``9.3:1``, but ``413 hp``."""
    unit = sanitise(unit)
    return f"{text}{unit}" if not unit or unit[0] in "°:%" else f"{text} {unit}"
