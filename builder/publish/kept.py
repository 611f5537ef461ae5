"""What was made last time, and from what: the one mechanism that decides what is made again.

Everything hangs on content digests. A build is made again when the digest of all it is made from differs
from the one it was last made from: its own folder, the shop's profile, the templates, the program and the
libraries it draws and computes with. What was made is trusted only while its own digest is the one recorded.

Reading every byte of a large archive each time would be slow, so a file that was read keeps its digest for as
long as the operating system says that it was not touched (size, times of change, number on the disk).

The ledger holds nothing of what the files say, and not even the names of a shop's own files: only digests.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import sys
import time
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

FORM = "millbook ledger 2"
_YOUNG = 2_000_000_000
"""A file touched this little before it was read [ns] may be touched again without its times telling."""

Stamp = tuple[int, int, int, int]
Tree = dict[str, tuple[int, int, int, str]]
"""Files that a publish made, by their path in a folder: size, time of change, number on the disk, digest."""


def digest_of(*parts: str | bytes) -> str:
    """One digest of several texts, each set off from the next."""
    whole = hashlib.sha256()
    for part in parts:
        data = part.encode("utf-8", "surrogateescape") if isinstance(part, str) else part
        whole.update(len(data).to_bytes(8, "big"))
        whole.update(data)
    return whole.hexdigest()[:32]


def digest_bytes(content: bytes) -> str:
    """The digest of a file's content."""
    return hashlib.sha256(content).hexdigest()[:32]


def digest_file(path: Path | str) -> str:
    """The digest of a file's content; empty for one that cannot be read."""
    try:
        with open(path, "rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()[:32]
    except OSError:
        return ""


@dataclass
class Ledger:
    """What a publish knows of the one before it."""

    sources: dict[str, tuple[Stamp, str]] = field(default_factory=dict)
    """By a digest of the file's path: the stamp of a file of the shop, and the digest of its content."""
    builds: dict[str, str] = field(default_factory=dict)
    """By slug: the digest of everything a published build was made from."""
    left_out: dict[str, tuple[str, str]] = field(default_factory=dict)
    """By slug: the same for a build that is not published, and why."""
    faults: dict[str, tuple[int, int]] = field(default_factory=dict)
    """By slug: how many errors and warnings stand in the record of a published build."""
    shop_faults: int = 0
    """How many problems stand in the shop's profile."""
    blocks: dict[str, str] = field(default_factory=dict)
    """By slug: the digest of what the part about its relatives was made from."""
    bodies: Tree = field(default_factory=dict)
    """The pages of builds without that part."""
    pages: Tree = field(default_factory=dict)
    """The pages folder."""
    fixed: list[str] = field(default_factory=list)
    """Files of the pages folder that no build has a part in."""
    site: Tree = field(default_factory=dict)
    """The site."""
    whole: str = ""
    """The digest of all that every page depends on: shop, templates, program, libraries."""
    index: str = ""
    """The digest of the archive's index."""
    learnt: bool = False
    """Whether a file of the shop was read that was not known, so that the ledger is worth saving."""
    _seen: dict[str, tuple[Stamp, str]] = field(default_factory=dict, repr=False)

    def forget(self, slug: str) -> None:
        """Know nothing of a build."""
        for known in (self.builds, self.left_out, self.blocks, self.faults):
            known.pop(slug, None)

    def digest(self, path: Path, status: os.stat_result | None = None) -> str:
        """The digest of a file's content; empty for one that is not there or no ordinary file."""
        key = digest_of(os.fspath(path))
        try:
            found = status or path.stat()
            if not path.is_file():
                return ""
        except OSError:
            return ""
        stamp = (found.st_size, found.st_mtime_ns, found.st_ctime_ns, found.st_ino)
        known = self.sources.get(key)
        if known is not None and known[0] == stamp:
            self._seen[key] = known
            return known[1]
        digest = digest_file(path)
        if digest and time.time_ns() - max(stamp[1], stamp[2]) > _YOUNG:
            self._seen[key] = self.sources[key] = (stamp, digest)
            self.learnt = True
        return digest

    def folder(self, folder: Path) -> list[str]:
        """Every file below a folder of the shop, with the digest of its content, and where links lead."""
        found = [f"is a link to {os.readlink(folder)}"] if folder.is_symlink() else []
        for name, entry in files_below(folder):
            try:
                link = f" is a link to {os.readlink(entry.path)}" if entry.is_symlink() else ""
                found.append(f"{name} {self.digest(folder / name, entry.stat())}{link}")
            except OSError:
                found.append(f"{name} cannot be followed")
        return found

    def save(self, path: Path) -> None:
        """Write the ledger in one step; stamps of files that were not looked at this time are dropped."""
        kept = {name: getattr(self, name) for name in (*_PLAIN, *_TREES, "left_out", "faults")}
        body = json.dumps({"sources": self._seen, **kept}, separators=(",", ":"))
        path.parent.mkdir(parents=True, exist_ok=True)
        part = path.with_name(f"{path.name}.part")
        part.write_text(f"{FORM} {digest_of(body)}\n{body}", encoding="utf-8", newline="\n")
        os.replace(part, path)


_PLAIN = ("builds", "blocks", "fixed", "whole", "index", "shop_faults")
_TREES = ("bodies", "pages", "site")


def load(path: Path) -> Ledger:
    """The ledger as it was saved; an empty one where it is missing, damaged or of another form."""
    try:
        head, _, body = path.read_text(encoding="utf-8").partition("\n")
        if head != f"{FORM} {digest_of(body)}":
            return Ledger()
        kept: Mapping[str, Any] = json.loads(body)
        trees: dict[str, Any] = {name: {file: tuple(known) for file, known in kept[name].items()} for name in _TREES}
        pairs: dict[str, Any] = {
            name: {slug: tuple(known) for slug, known in kept[name].items()} for name in ("left_out", "faults")
        }
        sources = {key: (_stamp(stamp), digest) for key, (stamp, digest) in kept["sources"].items()}
        return Ledger(sources, **{name: kept[name] for name in _PLAIN}, **trees, **pairs)
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return Ledger()


def _stamp(numbers: list[int]) -> Stamp:
    size, modified, changed, number = numbers
    return size, modified, changed, number


# -------------------------------------------------------------------------------- what a publish made


def looked_at(folder: Path, known: Mapping[str, tuple[int, int, int, str]]) -> Tree:
    """Every file below a folder that only a publish writes to; one that was not touched keeps its digest.

    The time of a file's entry tells nothing here: sites share files on the disk with those before them.
    """
    found: Tree = {}
    for name, entry in files_below(folder):
        try:
            status = entry.stat(follow_symlinks=False)
            ordinary = entry.is_file(follow_symlinks=False)
        except OSError:
            continue
        stamp = (status.st_size, status.st_mtime_ns, status.st_ino)
        before = known.get(name)
        if before is not None and before[:3] == stamp:
            found[name] = before
        else:
            found[name] = (*stamp, digest_file(entry.path) if ordinary else "")
    return found


def looked_at_again(folder: Path, known: Tree, names: Iterable[str]) -> Tree:
    """What `looked_at` finds where only these files are not as they were known."""
    found = dict(known)
    for name in names:
        found.pop(name, None)
        with contextlib.suppress(FileNotFoundError, NotADirectoryError):
            status = os.lstat(folder / name)
            found[name] = (status.st_size, status.st_mtime_ns, status.st_ino, digest_file(folder / name))
    return found


def differing(one: Mapping[str, tuple[int, int, int, str]], other: Mapping[str, tuple[int, int, int, str]]) -> set[str]:
    """The files that two trees do not have in common, or not with the same content."""
    if one == other:
        return set()
    nothing = (0, 0, 0, None)
    return {name for name in one.keys() | other.keys() if one.get(name, nothing)[3] != other.get(name, nothing)[3]}


def files_below(folder: Path, below: str = "") -> Iterator[tuple[str, os.DirEntry[str]]]:
    """Every file below a folder, links not followed, by its path in the folder, in order."""
    try:
        with os.scandir(folder / below if below else folder) as inside:
            entries = sorted(inside, key=lambda entry: entry.name)
    except OSError:
        return
    for entry in entries:
        name = f"{below}/{entry.name}" if below else entry.name
        try:
            inner = entry.is_dir(follow_symlinks=False)
        except OSError:
            continue
        if inner:
            yield from files_below(folder, name)
        else:
            yield name, entry


def program_digest(ledger: Ledger) -> str:
    """The digest of the program itself and of every library that is installed beside it, by its version."""
    home = Path(__file__).resolve().parents[1]
    own = [f"{name} {ledger.digest(home / name)}" for name, _ in files_below(home) if name.endswith(".py")]
    return digest_of(sys.version, *own, *_installed())


def _installed() -> list[str]:
    """The folders in which installed libraries say their names and versions."""
    found: set[str] = set()
    for folder in dict.fromkeys(sys.path):
        try:
            found.update(name for name in os.listdir(folder or ".") if name.endswith((".dist-info", ".egg-info")))
        except OSError:
            continue
    return sorted(found)
