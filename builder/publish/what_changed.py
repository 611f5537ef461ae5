"""What a publish has to make again: everything that hangs on something which is not as it was."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from builder.publish import templates
from builder.publish.hands import Hands
from builder.publish.kept import Ledger, Tree, differing, digest_bytes, digest_of, looked_at, program_digest
from builder.publish.laid import Laid
from builder.publish.report import Progress
from builder.record.files import build_folders

if TYPE_CHECKING:
    from builder.record.problem import Problem
    from builder.record.shop import Shop

WORK = ".millbook"
"""The generator's own folder in an archive: the pages it wrote, and what it keeps to work faster."""


@dataclass(frozen=True)
class Workplace:
    """Where the publish of one archive works, with how many hands, and what it was asked for."""

    archive: Path
    everything: bool
    for_shop: bool
    tell: Progress
    hands: Hands

    @cached_property
    def pages(self) -> Laid:
        """The Markdown pages, with everything beside them."""
        return Laid(self.at("pages"))

    @cached_property
    def bodies(self) -> Laid:
        """The pages of builds without the part about their relatives."""
        return Laid(self.at("bodies"))

    @cached_property
    def shop(self) -> tuple[Shop, list[Problem]]:
        """The shop's profile, and what is wrong with it."""
        from builder.record.read import read_shop

        return read_shop(self.archive)

    def at(self, name: str) -> Path:
        """A place in the generator's own folder; what is for the shop's eyes is kept apart."""
        return self.archive / WORK / "shop" / name if self.for_shop else self.archive / WORK / name


@dataclass(frozen=True)
class Found:
    """What is not as it was when the archive was last published."""

    whole: str
    """The digest of all that every page depends on, `same` as it was or not."""
    same: bool
    stale: tuple[Path, ...]
    """The build folders to make again."""
    keys: Mapping[str, str]
    """By slug: the digest of what a build is made from."""
    gone: tuple[str, ...]
    """Builds whose folder is no longer there."""
    harmed: bool
    """Whether something that was kept is no longer what it was."""

    @property
    def believed(self) -> bool:
        """Whether drawings that were made of the same values stand as they would be made now."""
        return self.same and not self.harmed

    @property
    def any(self) -> bool:
        """Whether there is anything to do for the pages."""
        return bool(self.stale or self.gone or self.harmed or not self.same)


def _whole_digest(place: Workplace, ledger: Ledger) -> str:
    """The digest of all that every page depends on: program, libraries, templates, configuration, shop."""
    own = place.archive / "mkdocs.yml"
    config = own if own.is_file() else templates.our_config()
    shop = place.archive / "builds" / "shop.yaml"
    in_force = [f"{name} {ledger.digest(path)}" for name, path in templates.listing(place.archive).items()]
    return digest_of(program_digest(ledger), *in_force, ledger.digest(config), ledger.digest(shop), str(shop.resolve()))


def what_changed(place: Workplace, ledger: Ledger) -> Found:
    """Compare what is there with what the ledger knows."""
    whole = _whole_digest(place, ledger)
    same = ledger.whole == whole
    keys: dict[str, str] = {}
    stale = []
    harmed = _harmed(place, ledger) if ledger.whole else set()
    for folder in build_folders(place.archive):
        keys[folder.name] = digest_of(whole, str(place.everything), ledger.folder(folder))
        kept = ledger.builds.get(folder.name) or ledger.left_out.get(folder.name, ("",))[0]
        if kept != keys[folder.name] or folder.name in harmed:
            stale.append(folder)
    gone = tuple(slug for slug in (*ledger.builds, *ledger.left_out) if slug not in keys)
    return Found(whole, same, tuple(stale), keys, gone, bool(harmed))


def _harmed(place: Workplace, ledger: Ledger) -> set[str]:
    """What was kept and is no longer what it was: builds by their names, and names of other pages."""
    bodies, pages = looked_at(place.bodies.folder, ledger.bodies), looked_at(place.pages.folder, ledger.pages)
    names = [name.removesuffix(".md") for name in differing(bodies, ledger.bodies)]
    for name in differing(pages, ledger.pages):
        top, _, below = name.partition("/")
        names.append(below.partition("/")[0] if top == "builds" else name)
    index = place.at("index.json")
    if not index.is_file() or digest_bytes(index.read_bytes()) != ledger.index:
        names += ledger.builds
    return set(names)


def stands(site: Path, known: Tree) -> bool:
    """Whether the site is there as it was left."""
    return bool(known) and not differing(looked_at(site, known), known)
