"""The links from a build's page to its one-page sheets."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class SheetLink:
    """A one-page sheet: its title and its file next to the page."""

    title: str
    file: str
