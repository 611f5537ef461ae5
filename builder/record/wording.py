"""Titles and counts inside sentences."""

from __future__ import annotations


def in_sentence(title: str) -> str:
    """Return a title as it reads within a sentence: with a small first letter, unless it begins with an abbreviation.

    >>> in_sentence("Peak power"), in_sentence("BMEP at peak torque"), in_sentence("V8")
    ('peak power', 'BMEP at peak torque', 'V8')
    """
    return title[:1].lower() + title[1:] if title[1:2].islower() or title[1:2] in (" ", "") else title


def count_of(count: int, noun: str) -> str:
    """Return a count with its noun, in the plural where it has to be: `1 build`, `3 builds`."""
    return f"{count} {noun}{'s' if count != 1 else ''}"
