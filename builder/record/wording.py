"""Texts made ready for sentences, lists and terminals: titles, counts, enumerations, cut and printable texts."""

from __future__ import annotations

from collections.abc import Iterable, Sequence


def in_sentence(title: str) -> str:
    """Return a title as it reads within a sentence: with a small first letter, unless it begins with an abbreviation.

    >>> in_sentence("Peak power"), in_sentence("BMEP at peak torque"), in_sentence("V8")
    ('peak power', 'BMEP at peak torque', 'V8')
    """
    return title[:1].lower() + title[1:] if title[1:2].islower() or title[1:2] in (" ", "") else title


def count_of(count: int, noun: str) -> str:
    """Return a count with its noun, in the plural where it has to be: `1 build`, `1,200 builds`."""
    return f"{count:,} {noun}{'s' if count != 1 else ''}"


def capitalize(text: str) -> str:
    """Return a text with a capital first letter; the others stay as they are."""
    return text[:1].upper() + text[1:]


def join_and(items: Iterable[str]) -> str:
    """Return texts as a list in words: `bore, stroke and rod length`."""
    *first, last = [*items] or [""]
    return f"{', '.join(first)} and {last}" if first else last


def first_of(items: Sequence[str], count: int, separator: str = ", ") -> str:
    """Return the first of several texts in one line, and how many there are more: `a, b and 7 more`."""
    more = f" and {len(items) - count} more" if len(items) > count else ""
    return f"{separator.join(items[:count])}{more}"


def cut(text: str, length: int) -> str:
    """Return a text of no more than so many characters, with an ellipsis where it was cut."""
    return text if len(text) <= length else f"{text[: length - 1].rstrip()}…"


def plain_spaces(text: str) -> str:
    """Return a text with ordinary spaces in place of those at which no line breaks, for terminals and data."""
    return text.replace("\N{NO-BREAK SPACE}", " ")


def printable(text: str) -> str:
    """Return a text on one line, without characters that would move the cursor or change colors in a terminal."""
    return "".join(char if char.isprintable() else char.encode("unicode_escape").decode() for char in text)
