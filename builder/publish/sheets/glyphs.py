"""Text that the fonts of the binder can print, the same on every machine.

The binder uses DejaVu Sans, which comes with matplotlib, and Libertinus Serif, which comes with typst. An
archivable PDF may contain no character without a glyph, so such a character is printed as its name or number.
"""

from __future__ import annotations

import importlib.util
import itertools
import re
import unicodedata
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

_FILES = ("DejaVuSans", "DejaVuSans-Bold")
_CONTROL = re.compile("[\x00-\x08\x0b-\x1f\x7f]")
_MAX_WORD = 16
"""A word longer than this gets places to break, so that it stays inside its column."""
_BREAK = "\N{ZERO WIDTH SPACE}"
_SQUARE = "\N{WHITE SQUARE}"
# Printed as nothing, or changes of the characters around them: these need no glyph.
_INVISIBLE = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\u00ad\u061c\u200b-\u200f\u2028-\u202f\u2060-\u206f"
    "\ufe00-\ufe0f\ufeff\U000e0000-\U000e0fff]"
)
COMMON = frozenset("°±·–—‘’“”…→−≤≥×÷²³½¼¾µ\u00a0äöüÄÖÜßéèêàçñåøæÅØÆ")
"""Characters of which it is known that the fonts have them: loading matplotlib to look takes 0.15 s."""
_SPACES = {"\u202f": "\u00a0", "\u2028": "\n", "\u2029": "\n"}
_LONG_WORD = re.compile(rf"[^\s{_BREAK}]{{{_MAX_WORD + 1},}}")


@cache
def _covered() -> frozenset[int]:
    """Return the characters that regular and bold DejaVu Sans both have, without private ones."""
    from matplotlib.ft2font import FT2Font

    charmaps = [frozenset(FT2Font(f"{font_folder()}/{name}.ttf").get_charmap()) for name in _FILES]
    return frozenset(
        code for code in charmaps[0] & charmaps[1] if unicodedata.category(chr(code)) not in ("Co", "Cn", "Cs")
    )


@cache
def _italic_characters() -> frozenset[int]:
    from matplotlib.ft2font import FT2Font

    return frozenset(FT2Font(f"{font_folder()}/DejaVuSans-Oblique.ttf").get_charmap())


def has_italic(text: str) -> bool:
    """Whether a text can be printed in italics: the font has none for some scripts."""
    return text.isascii() or all(ord(char) in _italic_characters() for char in renderable(text))


def font_folder() -> str:
    """Return the folder of matplotlib's fonts, without loading matplotlib."""
    spec = importlib.util.find_spec("matplotlib")
    assert spec is not None
    assert spec.origin is not None
    return str(Path(spec.origin).parent / "mpl-data" / "fonts" / "ttf")


def renderable(text: str) -> str:
    """Return the text with characters that have no glyph named in brackets, and places to break very long words."""
    if text.isascii():
        result = _CONTROL.sub(" ", text)
    else:
        text = unicodedata.normalize("NFC", text)
        for special, space in _SPACES.items():
            text = text.replace(special, space)
        result = _name_missing_glyphs(_INVISIBLE.sub("", text))
    return _LONG_WORD.sub(lambda word: _breakable(word[0]), result)


def _name_missing_glyphs(text: str) -> str:
    runs = itertools.groupby(text, _has_glyph)
    return "".join("".join(run) if has_glyph else _bracketed("".join(run)) for has_glyph, run in runs)


def _has_glyph(char: str) -> bool:
    return char.isascii() or char in COMMON or ord(char) in _covered()


def _bracketed(run: str) -> str:
    """Return characters without a glyph in brackets: pictures by their names, letters by their code points."""
    if all(unicodedata.category(char) in ("So", "Sk") and unicodedata.name(char, "") for char in run):
        names = ", ".join(unicodedata.name(char).lower() for char in run[:6])
        return f"[{names}, {len(run) - 6} more]" if len(run) > 6 else f"[{names}]"
    numbers = " ".join(f"U+{ord(char):04X}" for char in run[:8])
    return f"[{numbers} and {len(run) - 8} more]" if len(run) > 8 else f"[{numbers}]"


def _breakable(word: str) -> str:
    """Return a long word with places to break: after punctuation, and every few characters."""
    pieces: list[str] = []
    length = 0
    for index, char in enumerate(word):
        pieces.append(char)
        length += 1
        if index + 1 == len(word) or unicodedata.combining(word[index + 1]) or char.isspace():
            continue
        # Letters that join each other change shape at a break: only a word too long for every column gets one.
        joined = unicodedata.bidirectional(char) in ("AL", "R", "NSM")
        if (char in "/-_.,:;@=&?+" and length > 3) or length >= (24 if joined else 10):
            pieces.append(_BREAK)
            length = 0
    return "".join(pieces)


def map_texts(value: Any, change: Callable[[str], str]) -> Any:
    """Return a value made of lists, mappings and texts with every text changed."""
    if isinstance(value, str):
        return change(value)
    if isinstance(value, dict):
        return {key: map_texts(inner, change) for key, inner in value.items()}
    if isinstance(value, (list, tuple)):
        return [map_texts(inner, change) for inner in value]
    return value


def renderable_svg(svg: str) -> str:
    """Return a drawing whose labels have only characters with a glyph, and are no longer than before.

    A character without a glyph becomes an empty square: a label has no room for its name, which the text has.
    Combining marks that do not compose with their letter are removed: in a drawing they become separate shapes
    that cannot be mapped back to text.
    """
    if svg.isascii():
        return svg
    return "".join(char if _has_glyph(char) else _SQUARE for char in _INVISIBLE.sub("", strip_combining(svg)))


def strip_combining(text: str) -> str:
    """Return the text without combining marks that do not compose with their letter."""
    composed = unicodedata.normalize("NFC", text)
    return "".join(char for char in composed if unicodedata.category(char) not in ("Mn", "Me"))
