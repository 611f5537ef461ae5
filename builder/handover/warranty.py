"""The warranty: its text, when it starts and ends, and whom to call."""

from __future__ import annotations

import calendar
import datetime
from dataclasses import dataclass

from builder.handover.rich_text import TextBlock, parse_blocks
from builder.publish.pages.formatting import format_date
from builder.record.models.build import Build
from builder.record.models.shop import Shop


@dataclass(frozen=True)
class Warranty:
    """The warranty; a date or a contact that is empty is to be filled in by hand."""

    text: tuple[TextBlock, ...]
    starts: str
    ends: str
    contact: str


def warranty_of(build: Build, shop: Shop) -> Warranty:
    """Return the warranty of the build, or the shop's usual one. It starts with the delivery.

    It ends on the day that the delivery sheet states, else so many months later as the shop's profile says.
    """
    delivery = build.delivery
    starts = delivery.delivered if delivery else None
    ends = delivery.warranty_ends if delivery else None
    if ends is None and starts is not None and shop.warranty_months:
        ends = months_later(starts, shop.warranty_months)
    return Warranty(
        parse_blocks((delivery.warranty if delivery else None) or shop.warranty),
        format_date(starts) if starts else "",
        format_date(ends) if ends else "",
        ", ".join(filter(None, (shop.name, shop.contact))),
    )


def months_later(date: datetime.date, months: int) -> datetime.date:
    """Return the same day some months later, or the last day of that month where it has no such day."""
    year, month = divmod(date.year * 12 + date.month - 1 + months, 12)
    return datetime.date(year, month + 1, min(date.day, calendar.monthrange(year, month + 1)[1]))
