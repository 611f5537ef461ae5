"""An archive that changes between two states, for publishes that are interrupted."""

from __future__ import annotations

import copy
import shutil
from pathlib import Path

from builder.publish.deploy.working_folder import MARK
from builder.publish.pipeline import publish
from tests.support import tiny_archive as tiny
from tests.support.fault_injection import publish_with_fault


class TwoStates:
    """An archive that changes between two states, each with the site that belongs to it."""

    def __init__(self, home: Path) -> None:
        self.archive = home / "shop"
        self.site = self.archive / "site"
        tiny.use_short_pages(self.archive)
        for number, slug in enumerate(("ash", "birch", "cedar")):
            tiny.write_build(self.archive, slug, number=number, torque=140.0 + number, picture=number == 1)
        self.state = 1
        self.sites: list[dict[str, bytes | None]] = []
        for state in (0, 1):
            self.change_to(state)
            publish(self.archive, self.site, full=True)
            self.sites.append(tiny.read_tree(self.site))
        assert self.sites[0] != self.sites[1]

    def copy_to(self, home: Path) -> TwoStates:
        """Return a copy of the archive with its site and its working folder, in a folder of its own."""
        other = copy.copy(self)
        other.archive = shutil.copytree(self.archive, home / "shop", symlinks=True)
        other.site = other.archive / "site"
        other.repair()
        return other

    def change_to(self, state: int) -> None:
        """Another name, another curve, and one build more or less."""
        self.state = state
        tiny.write_sheet(self.archive / "builds" / "ash", title=("Sparrow", "Swift")[state])
        tiny.write_log(self.archive / "builds" / "birch", (150.0, 170.0)[state])
        tiny.write_sheet(self.archive / "builds" / "cedar", title="Cedar", status=("finished", "withdrawn")[state])

    def site_state(self) -> int:
        """Return which of the two sites is published, byte for byte."""
        now = tiny.read_tree(self.site)
        assert now in self.sites, f"neither of the two sites: {sorted(now)[:5]}..."
        return self.sites.index(now)

    def repair(self) -> None:
        """Publish again: everything is as it should be, and nothing is left over."""
        publish(self.archive, self.site)
        assert self.site_state() == self.state
        names = {path.name for path in self.archive.iterdir()} - {".site.mirror"}
        assert names == {"builds", "site", "site_templates", ".millbook", ".site.lock"}
        mirror = self.archive / ".site.mirror"
        assert not mirror.exists() or tiny.read_tree(mirror) == self.sites[self.state], (
            "it holds what the site does not"
        )
        work = {path.name for path in (self.archive / ".millbook").iterdir()}
        assert work == {"state.json", "index.json", "pages", "bodies", "charts", "templates", "lock", "verified", MARK}
        assert "millbook" not in "".join(name for name in tiny.read_tree(self.site) if ".making" in name)

    def operations(self) -> int:
        """Return how many file operations a publish from one state to the other takes."""
        self.change_to(1 - self.state)
        ended = publish_with_fault(self.archive)
        assert ended.status == 0, ended
        return ended.operations
