"""Where the publish of an archive works: the folder `.millbook`, which can be deleted at any time."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from builder.publish.edition import Edition

WORK_DIR = ".millbook"


@dataclass(frozen=True)
class Workspace:
    """One edition of one archive, and the paths at which its publish works."""

    archive: Path
    edition: Edition

    def path(self, name: str) -> Path:
        """Return a path in the working folder; the shop's own edition has a folder of its own."""
        work = self.archive / WORK_DIR
        return work / "shop" / name if self.edition.is_internal else work / name

    @property
    def lock_file(self) -> Path:
        """Return the path of the lock that two sites of one archive share."""
        return self.path("lock")

    @property
    def state_file(self) -> Path:
        """Return the path of the state of the last publish."""
        return self.path("state.json")

    @property
    def index_file(self) -> Path:
        """Return the path of the archive's index: every published build in its short form."""
        return self.path("index.json")

    @property
    def pages(self) -> Path:
        """Return the folder of the Markdown pages with everything they show."""
        return self.path("pages")

    @property
    def bodies(self) -> Path:
        """Return the folder of the builds' pages without their section on similar builds."""
        return self.path("bodies")

    @property
    def charts(self) -> Path:
        """Return the folder of the chart cache."""
        return self.path("charts")

    @property
    def templates(self) -> Path:
        """Return the folder of the compiled templates."""
        return self.path("templates")
