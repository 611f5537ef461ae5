"""Text that can be set in the type of the binder: the same on every machine, and no glyph that is not there.

The binder is set in DejaVu Sans, which comes with matplotlib, and Libertinus Serif, which comes with typst. An
archivable PDF may hold no glyph that its fonts lack, so a character without one is told by name or number.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable
from functools import cache
from typing import Any

_LONGEST = 16
"""A word longer than this may be broken anywhere, so that it stays inside its column."""
_BREAK = "\N{ZERO WIDTH SPACE}"
_SQUARE = "\N{WHITE SQUARE}"
# Shown as nothing, or as a change of what is around them; the type needs no glyph of its own for these.
_SILENT = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\u00ad\u061c\u200b-\u200f\u2028-\u202f\u2060-\u206f"
    "\ufe00-\ufe0f\ufeff\U000e0000-\U000e0fff]"
)
_TRUE_SPACES = {"\u202f": "\u00a0", "\u2028": "\n", "\u2029": "\n"}
_LONG_WORD = re.compile(rf"[^\s{_BREAK}]{{{_LONGEST + 1},}}")


@cache
def _covered() -> frozenset[int]:
    """The characters that the upright and bold DejaVu Sans both have, less the private ones."""
    from matplotlib.ft2font import FT2Font

    both = [frozenset(FT2Font(f"{font_folder()}/{name}.ttf").get_charmap()) for name in _FILES]
    return frozenset(code for code in both[0] & both[1] if unicodedata.category(chr(code)) not in ("Co", "Cn", "Cs"))


@cache
def _slanted() -> frozenset[int]:
    from matplotlib.ft2font import FT2Font

    return frozenset(FT2Font(f"{font_folder()}/DejaVuSans-Oblique.ttf").get_charmap())


def has_italic(text: str) -> bool:
    """Whether a text can be set in italics: some scripts have none in this type."""
    return text.isascii() or all(ord(char) in _slanted() for char in renderable(text))


_FILES = ("DejaVuSans", "DejaVuSans-Bold")


def font_folder() -> str:
    """Where matplotlib keeps its type."""
    import matplotlib

    return f"{matplotlib.get_data_path()}/fonts/ttf"


def renderable(text: str) -> str:
    """The text with every character that the type lacks told in brackets, and room to break very long words."""
    if text.isascii():
        shown = _CONTROL.sub(" ", text)
    else:
        text = unicodedata.normalize("NFC", text)
        for silent, space in _TRUE_SPACES.items():
            text = text.replace(silent, space)
        shown = _name_missing_glyphs(_SILENT.sub("", text))
    return _LONG_WORD.sub(lambda word: _breakable(word[0]), shown)


_CONTROL = re.compile("[\x00-\x08\x0b-\x1f\x7f]")


def _name_missing_glyphs(text: str) -> str:
    covered = _covered()
    if all(char.isascii() or ord(char) in covered for char in text):
        return text
    out: list[str] = []
    run: list[str] = []
    for char in text:
        if char.isascii() or ord(char) in covered:
            _close(run, out)
            out.append(char)
        else:
            run.append(char)
    _close(run, out)
    return "".join(out)


def _close(run: list[str], out: list[str]) -> None:
    """A run of characters without a glyph, in brackets: pictures by their name, letters by their number."""
    if not run:
        return
    pictures = [char for char in run if unicodedata.category(char) in ("So", "Sk") and _has_name(char)]
    if len(pictures) == len(run):
        names = ", ".join(unicodedata.name(char).lower() for char in run[:6])
        more = f", {len(run) - 6} more" if len(run) > 6 else ""
        out.append(f"[{names}{more}]")
    else:
        numbers = " ".join(f"U+{ord(char):04X}" for char in run[:8])
        more = f" and {len(run) - 8} more" if len(run) > 8 else ""
        out.append(f"[{numbers}{more}]")
    run.clear()


def _breakable(word: str) -> str:
    """A long word with places to break: behind what parts it already, and every few characters."""
    pieces: list[str] = []
    since = 0
    for index, char in enumerate(word):
        pieces.append(char)
        since += 1
        if index + 1 == len(word) or unicodedata.combining(word[index + 1]) or char.isspace():
            continue
        # Letters that join each other change shape when parted: only a word that no column holds is.
        joined = unicodedata.bidirectional(char) in ("AL", "R", "NSM")
        if (char in "/-_.,:;@=&?+" and since > 3) or since >= (24 if joined else 10):
            pieces.append(_BREAK)
            since = 0
    return "".join(pieces)


def all_settable(value: Any) -> Any:
    """The same for every text in a value made of lists, mappings and texts."""
    return _each_text(value, renderable)


def _each_text(value: Any, change: Callable[[str], str]) -> Any:
    if isinstance(value, str):
        return change(value)
    if isinstance(value, dict):
        return {key: _each_text(inner, change) for key, inner in value.items()}
    if isinstance(value, (list, tuple)):
        return [_each_text(inner, change) for inner in value]
    return value


def settable_drawing(svg: str) -> str:
    """A drawing whose labels hold only characters that the type has, and are no longer than before.

    A character without a glyph becomes an empty square: a label has no room for its name, which the text has.
    Marks above and below letters go where they do not join their letter: in a drawing they are placed as shapes of
    their own, which no longer say what they stand for.
    """
    if svg.isascii():
        return svg
    covered = _covered()
    shown = _SILENT.sub("", strip_combining(svg))
    return "".join(char if char.isascii() or ord(char) in covered else _SQUARE for char in shown)


def strip_combining(text: str) -> str:
    """The text without marks that stand for themselves: the letters stay."""
    composed = unicodedata.normalize("NFC", text)
    return "".join(char for char in composed if unicodedata.category(char) not in ("Mn", "Me"))


def all_without_marks(value: Any) -> Any:
    """The same for every text in a value made of lists, mappings and texts."""
    return _each_text(value, strip_combining)


def _has_name(char: str) -> bool:
    return bool(unicodedata.name(char, ""))
