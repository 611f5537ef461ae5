"""What a publish has to make again: everything that hangs on something which is not as it was."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from builder.publish.edition import Edition
from builder.publish.incremental.config_dependencies import config_dependencies
from builder.publish.incremental.output_dir import OutputDir
from builder.publish.incremental.state import (
    BuildState,
    Manifest,
    changed_paths,
    code_hash,
    digest_file,
    digest_of,
    scan,
)
from builder.publish.pages import templating
from builder.publish.report import Progress
from builder.publish.workers import WorkerPool
from builder.record.files import build_folders

if TYPE_CHECKING:
    from builder.record.models.shop import Shop
    from builder.record.problem import Problem

WORK_DIR = ".millbook"
"""The generator's own folder in an archive: the pages it wrote, and what it keeps to work faster."""


@dataclass(frozen=True)
class Workspace:
    """Where the publish of one archive works, and the edition it publishes."""

    archive: Path
    edition: Edition
    tell: Progress
    hands: WorkerPool

    @cached_property
    def pages(self) -> OutputDir:
        """The Markdown pages, with everything beside them."""
        return OutputDir(self.path("pages"))

    @cached_property
    def bodies(self) -> OutputDir:
        """The pages of builds without the part about their relatives."""
        return OutputDir(self.path("bodies"))

    @cached_property
    def shop(self) -> tuple[Shop, list[Problem]]:
        """The shop's profile, and what is wrong with it."""
        from builder.archive.shop_profile import read_shop_profile

        return read_shop_profile(self.archive)

    def path(self, name: str) -> Path:
        """Return a path in the working directory; the shop's own edition has a directory of its own."""
        work = self.archive / WORK_DIR
        return work / "shop" / name if self.edition.is_internal else work / name


@dataclass(frozen=True)
class ChangeSet:
    """What is not as it was when the archive was last published."""

    whole: str
    """The digest of all that every page depends on, `same` as it was or not."""
    global_unchanged: bool
    folders: tuple[Path, ...]
    """Every build folder."""
    keys: Mapping[str, str]
    """By slug: the digest of what a build is made from."""
    changed: frozenset[str]
    """Builds that are made from something else than last time."""
    gone: tuple[str, ...]
    """Builds whose folder is no longer there."""
    corrupted: frozenset[str] = frozenset()
    """What was kept and is no longer what it was: builds by their names, and names of other pages."""

    @property
    def stale(self) -> tuple[Path, ...]:
        """The build folders to make again."""
        return tuple(folder for folder in self.folders if folder.name in self.changed | self.corrupted)

    @property
    def cache_valid(self) -> bool:
        """Whether drawings that were made of the same values stand as they would be made now."""
        return self.global_unchanged and not self.corrupted

    @property
    def has_changes(self) -> bool:
        """Whether there is anything to do for the pages."""
        return bool(self.changed or self.gone or self.corrupted or not self.global_unchanged)


def _whole_digest(place: Workspace, ledger: BuildState) -> str:
    """The digest of all that every page depends on: program, libraries, templates, configuration, shop."""
    own = place.archive / "mkdocs.yml"
    config, values = config_dependencies(own) if own.is_file() else ([templating.builtin_config()], [])
    said = [*(f"{path} {ledger.digest(path)}" for path in config), *values]
    shop = place.archive / "builds" / "shop.yaml"
    in_force = [f"{name} {ledger.digest(path)}" for name, path in templating.resolve_all(place.archive).items()]
    return digest_of(code_hash(ledger), *in_force, *said, ledger.digest(shop), str(shop.resolve()))


def detect_changes(place: Workspace, ledger: BuildState) -> ChangeSet:
    """Compare what is there with what the ledger knows."""
    whole = _whole_digest(place, ledger)
    same = ledger.global_hash == whole
    folders = tuple(build_folders(place.archive))
    keys = {
        folder.name: digest_of(whole, str(place.edition.includes_unfinished), ledger.folder(folder))
        for folder in folders
    }
    known = {slug: key for slug, (key, _) in ledger.skipped.items()} | ledger.builds
    changed = frozenset(slug for slug, key in keys.items() if known.get(slug) != key)
    return ChangeSet(whole, same, folders, keys, changed, tuple(slug for slug in known if slug not in keys))


@dataclass(frozen=True)
class CacheSnapshot:
    """What the ledger knows of everything that was kept of the last publish, but for the site."""

    path: Path
    bodies: Manifest
    pages: Manifest
    index: str
    builds: frozenset[str]

    def corrupted(self) -> frozenset[str]:
        """What of it is no longer what it was: builds by their names, and names of other pages."""
        names = [name.removesuffix(".md") for name in _changed_since(self.path / "bodies", self.bodies)]
        for name in _changed_since(self.path / "pages", self.pages):
            top, _, below = name.partition("/")
            names.append(below.partition("/")[0] if top == "builds" else name)
        if digest_file(self.path / "index.json") != self.index:
            names += self.builds
        return frozenset(names)


def snapshot_of(place: Workspace, ledger: BuildState) -> CacheSnapshot:
    """What was kept of the last publish."""
    return CacheSnapshot(place.path(""), ledger.page_bodies, ledger.pages, ledger.index, frozenset(ledger.builds))


def _changed_since(folder: Path, known: Manifest) -> set[str]:
    return changed_paths(scan(folder, known), known)


def is_intact(site: Path, known: Manifest) -> bool:
    """Whether the site is there as it was left."""
    return bool(known) and not _changed_since(site, known)
