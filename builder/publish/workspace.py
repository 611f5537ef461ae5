"""Where the publish of an archive works: the folder `.millbook`, which can be deleted at any time."""

from __future__ import annotations

import contextlib
from dataclasses import dataclass
from pathlib import Path

from builder.publish.deploy.working_folder import check_working_folder, is_marked, open_working_folder, write_mark
from builder.publish.edition import Edition
from builder.publish.incremental.output_dir import write_if_changed

WORK_DIR = ".millbook"
_UNMARKED_NAMES = r"lock|verified|[a-z]+\.json|[\w.]+\.part|pages|bodies|charts|templates|shop|site|\.site\.\w+"
"""What there is in a working folder of a version that marked none."""


@dataclass(frozen=True)
class Workspace:
    """One edition of one archive, and the paths at which its publish works."""

    archive: Path
    edition: Edition

    def path(self, name: str) -> Path:
        """Return a path in the working folder; the shop's own edition has a folder of its own."""
        work = self.archive / WORK_DIR
        return work / "shop" / name if self.edition.is_internal else work / name

    def check(self) -> None:
        """Raise PublishRefused where a working folder is a link, or holds what this program did not write."""
        for folder in (*self._parents, self._root):
            check_working_folder(folder, _UNMARKED_NAMES)
        for folder, names in self._folders.items():
            check_working_folder(folder, names)

    def open(self) -> None:
        """Create the working folders with their marks. Raises PublishRefused as `check` does."""
        self.check()
        folders = self._folders
        for folder in (*self._parents, self._root):
            folder.mkdir(exist_ok=True)
        for folder, names in folders.items():
            open_working_folder(folder, names)
        write_mark(self._root)  # last: before, it may be one of a version that marked none

    @property
    def _root(self) -> Path:
        return self.path("")

    @property
    def _parents(self) -> tuple[Path, ...]:
        return (self.archive / WORK_DIR,) if self.edition.is_internal else ()

    @property
    def _folders(self) -> dict[Path, str]:
        """Return the folders below the root, parents first, with a pattern of the names in unmarked ones."""
        names = dict.fromkeys((self.pages, self.pages / "builds", self.bodies, self.charts, self.templates), "")
        if not is_marked(self._root):
            names |= {
                self.pages: r"[\w-]+\.md|assets|builds|methods",
                self.pages / "builds": r"[^.]+",
                self.bodies: r"[^.]+\.md",
                self.charts: r"[\w.]+\.(json|part)",
                self.templates: r"[0-9a-f]{64}",
            }
        return names

    def read_verified(self) -> int:
        """Return when site and working folder were last as the state says [ns since the epoch]; 0 if not known."""
        try:
            return int(self._verified_file.read_bytes())
        except (OSError, ValueError):
            return 0

    def write_verified(self, time_ns: int) -> None:
        """Note when site and working folder were as the state says; if that fails, their files are read next time."""
        with contextlib.suppress(OSError):
            write_if_changed(self._verified_file, str(time_ns).encode())

    @property
    def _verified_file(self) -> Path:
        return self.path("verified")

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
