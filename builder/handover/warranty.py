"""The warranty: its text, when it starts and ends, and whom to call."""

from __future__ import annotations

from dataclasses import dataclass

from builder.archive.service_due import warranty_end
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
    ends = warranty_end(build, shop)
    return Warranty(
        parse_blocks((delivery.warranty if delivery else None) or shop.warranty),
        format_date(starts) if starts else "",
        format_date(ends) if ends else "",
        ", ".join(filter(None, (shop.name, shop.contact))),
    )
