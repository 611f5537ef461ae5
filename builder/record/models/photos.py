"""photos.yaml: pictures of the work, each with a caption and a description."""

from __future__ import annotations

from typing import Annotated, Literal

from builder.record.models.choices import Synonyms
from builder.record.models.fields import Line, RecordModel, field

Section = Annotated[
    Literal["cover", "returned", "parts", "work", "bottom end", "top end", "cam", "assembly", "dyno", "delivery"],
    Synonyms(
        {
            "returned": "as returned, as received",
            "parts": "parts received",
            "work": "machining, machine work",
            "bottom end": "short block, block",
            "top end": "heads, cylinder heads",
            "cam": "camshaft",
            "dyno": "dyno session",
        }
    ),
]


class Photo(RecordModel):
    """One picture."""

    file: Line = field("image file, in this build's folder", "photos/deck.jpg", required=True)
    alt: Line = field("description for people who cannot see it", "Dial indicator on the deck over number three",
                      required=True)  # fmt: skip
    caption: Line | None = field("caption", "Deck clearance on number three: 0.005 in")
    section: Section | None = field("section of the page", "bottom end")


class Photos(RecordModel):
    """photos.yaml: photos."""

    photos: tuple[Photo, ...] = field("pictures", "", default=())
