"""A drawing with its place on the page."""

from __future__ import annotations

from dataclasses import dataclass

from builder.draw.canvas import Drawing


@dataclass(frozen=True)
class Placed:
    """A drawing, where on the page it belongs, and what to see in it."""

    section: str
    drawing: Drawing
    caption: str
