"""Small text formats that several pages share."""

from __future__ import annotations

import datetime
import re

from builder.record.wording import capitalize

_MONTHS = (
    "January", "February", "March", "April", "May", "June",
    "July", "August", "September", "October", "November", "December",
)  # fmt: skip


def group_thousands(text: str) -> str:
    """Return a text with commas in its numbers of four digits and more: `4920 rpm` becomes `4,920 rpm`."""
    return re.sub(r"(?<![\d.,])\d{4,}", lambda match: f"{int(match[0]):,}", text)


def format_date(date: datetime.date) -> str:
    """Return a date as `17 May 2024`."""
    return f"{date.day} {_MONTHS[date.month - 1]} {date.year}"


def sentence(text: str, end: str = ".") -> str:
    """Return a text with a capital first letter and, where it ends without punctuation, with `end`."""
    text = capitalize(text)
    return text if text.endswith((".", "!", "?")) else f"{text}{end}"


def anchor(title: object) -> str:
    """Return a title as an id: lower case, words joined by hyphens."""
    return re.sub(r"[^a-z0-9]+", "-", str(title).lower()).strip("-") or "part"
