"""The editions of an archive's site: which builds each shows, and who reads it."""

from __future__ import annotations

from enum import Enum


class Edition(Enum):
    """Which builds a site shows, and who it is for."""

    PUBLIC = "public"
    """Finished builds, for everybody."""
    PUBLIC_ALL = "public-all"
    """Unfinished builds too, for everybody."""
    SHOP = "shop"
    """Every build with what is missing before its delivery, for the shop alone; published apart from the others."""

    @property
    def includes_unfinished(self) -> bool:
        """Whether unfinished builds are published too."""
        return self is not Edition.PUBLIC

    @property
    def is_internal(self) -> bool:
        """Whether only the shop reads this edition."""
        return self is Edition.SHOP
