"""What was made last time, and from what: the one mechanism that decides what is made again.

Everything hangs on content digests. A build is made again when the digest of all it is made from differs
from the one it was last made from: its own folder, the shop's profile, the templates, the program and the
libraries it draws and computes with. What was made is trusted only while its own digest is the one recorded.

Reading every byte of a large archive each time would be slow, so a file that was read keeps its digest for as
long as the operating system says that it was not touched (size, times of change, number on the disk).

The ledger holds nothing of what the files say, and not even the names of a shop's own files: only digests.
"""

from __future__ import annotations

import hashlib
import json
import os
import stat
import sys
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from operator import attrgetter
from pathlib import Path
from typing import Any

FORM = "millbook ledger 3"
_RACY_WINDOW_NS = 2_000_000_000
"""A file touched this little before it was read [ns] may be touched again without its times telling."""


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


# ------------------------------------------------------------------------------- what a publish made

DirectoryEntry = tuple[str, str]
"""The files of one folder: their names with size, time of change and number on the disk; and their digests."""


@dataclass(frozen=True)
class Manifest:
    """Every file below a folder that only a publish writes to, folder by folder.

    The files of a folder that was not touched since are told to be the same by one comparison. The time of a
    file's entry tells nothing here: sites share files on the disk with those before them.
    """

    directories: dict[str, DirectoryEntry] = field(default_factory=dict)
    """By the folder's path below the tree's."""

    def __bool__(self) -> bool:
        """Whether there is any file."""
        return bool(self.directories)

    def __iter__(self) -> Iterator[str]:
        """The path of every file."""
        for below, (stamps, _) in self.directories.items():
            before = f"{below}/" if below else ""
            for name in stamps.split("/")[::4]:
                yield f"{before}{name}"

    def __contains__(self, name: object) -> bool:
        """Whether a file of that path is among them."""
        return isinstance(name, str) and name.rpartition("/")[2] in self.stat_signatures(name.rpartition("/")[0])

    def files(self, below: str) -> dict[str, str]:
        """The digests of the files in one folder, by their path in the tree."""
        stamps, digests = self.directories.get(below, ("", ""))
        before = f"{below}/" if below else ""
        return {
            f"{before}{name}": digests[at * 32 : at * 32 + 32]
            for at, name in enumerate(stamps.split("/")[::4] if stamps else ())
        }

    def stat_signatures(self, below: str) -> dict[str, str]:
        """Size, time of change and number on the disk of the files in one folder, by their names."""
        said = self.directories.get(below, ("", ""))[0].split("/")
        return {said[at]: "/".join(said[at + 1 : at + 4]) for at in range(0, len(said) - 3, 4)}


def scan(folder: Path, known: Manifest) -> Manifest:
    """Every file below a folder; one that was not touched keeps its digest."""
    parts: dict[str, DirectoryEntry] = {}
    waiting = [""]
    while waiting:
        below = waiting.pop()
        part, inner = _part(folder, below, known)
        if part[0]:
            parts[below] = part
        waiting += inner
    return Manifest(parts)


def rescan(folder: Path, known: Manifest, names: Iterable[str]) -> Manifest:
    """What `looked_at` finds where only these files are not as they were known."""
    parts = dict(known.directories)
    for below in {name.rpartition("/")[0] for name in names}:
        parts.pop(below, None)
        part, _ = _part(folder, below, known)
        if part[0]:
            parts[below] = part
    return Manifest(parts)


def _part(folder: Path, below: str, known: Manifest) -> tuple[DirectoryEntry, list[str]]:
    """The files of one folder, and the folders in it."""
    before = f"{below}/" if below else ""
    files: list[tuple[os.DirEntry[str], str]] = []
    inner: list[str] = []
    said: list[str] = []
    for entry in _entries(folder / below if below else folder):
        try:
            status = entry.stat(follow_symlinks=False)
        except OSError:
            continue
        if stat.S_ISDIR(status.st_mode):
            inner.append(f"{before}{entry.name}")
            continue
        stamp = f"{status.st_size}/{status.st_mtime_ns}/{status.st_ino}"
        files.append((entry, stamp))
        said += (entry.name, stamp)
    stamps = "/".join(said)
    part = known.directories.get(below)
    if part is not None and part[0] == stamps:
        return part, inner
    before_stamps, before_digests = known.stat_signatures(below), known.files(below)
    digests = []
    for entry, stamp in files:
        if before_stamps.get(entry.name) == stamp:
            digests.append(before_digests[f"{before}{entry.name}"])
        else:
            digests.append((digest_file(entry.path) if entry.is_file(follow_symlinks=False) else "") or _NONE)
    return (stamps, "".join(digests)), inner


_NONE = "-" * 32
"""Stands for the digest of what is no file, or cannot be read."""


def stat_signature(status: os.stat_result) -> str:
    """What the system says of a file that stays as long as nobody touches it."""
    return f"{status.st_size}/{status.st_mtime_ns}/{status.st_ino}"


_name = attrgetter("name")


def _entries(folder: Path | str) -> list[os.DirEntry[str]]:
    """What lies in a folder, in order; nothing in one that is not there."""
    try:
        with os.scandir(folder) as inside:
            return sorted(inside, key=_name)
    except OSError:
        return []


def changed_paths(one: Manifest, other: Manifest) -> set[str]:
    """The files that two trees do not have in common, or not with the same content."""
    found: set[str] = set()
    for below in one.directories.keys() | other.directories.keys():
        if one.directories.get(below) != other.directories.get(below):
            here, there = one.files(below), other.files(below)
            found.update(name for name in here.keys() | there.keys() if here.get(name) != there.get(name))
    return found


def files_below(folder: Path, below: str = "") -> Iterator[tuple[str, os.DirEntry[str]]]:
    """Every file below a folder, links not followed, by its path in the folder, in order."""
    for entry in _entries(folder / below if below else folder):
        name = f"{below}/{entry.name}" if below else entry.name
        try:
            inner = entry.is_dir(follow_symlinks=False)
        except OSError:
            continue
        if inner:
            yield from files_below(folder, name)
        else:
            yield name, entry


# ------------------------------------------------------------------------------------------ the ledger


@dataclass
class BuildState:
    """What a publish knows of the one before it."""

    sources: dict[str, tuple[str, str]] = field(default_factory=dict)
    """By a digest of its path: a digest of the stamps of a file or folder of the shop, and that of its content."""
    builds: dict[str, str] = field(default_factory=dict)
    """By slug: the digest of everything a published build was made from."""
    skipped: dict[str, tuple[str, str]] = field(default_factory=dict)
    """By slug: the same for a build that is not published, and why."""
    problem_counts: dict[str, tuple[int, int]] = field(default_factory=dict)
    """By slug: how many errors and warnings stand in the record of a published build."""
    shop_faults: int = 0
    """How many problems stand in the shop's profile."""
    photos: dict[str, Mapping[str, Any]] = field(default_factory=dict)
    """By slug, and by the digest of a photo's file: name, width and height of each size in which it is published."""
    similar_hashes: dict[str, str] = field(default_factory=dict)
    """By slug: the digest of what the part about its relatives was made from."""
    page_bodies: Manifest = field(default_factory=Manifest)
    """The pages of builds without that part."""
    pages: Manifest = field(default_factory=Manifest)
    """The pages folder."""
    static_pages: list[str] = field(default_factory=list)
    """Files of the pages folder that no build has a part in."""
    site: Manifest = field(default_factory=Manifest)
    """The site."""
    global_hash: str = ""
    """The digest of all that every page depends on: shop, templates, program, libraries."""
    index: str = ""
    """The digest of the archive's index."""
    dirty: bool = False
    """Whether a file of the shop was read that was not known, so that the ledger is worth saving."""
    _seen: dict[str, tuple[str, str]] = field(default_factory=dict, repr=False)

    def discard(self, slug: str) -> None:
        """Know nothing of a build."""
        for known in (self.builds, self.skipped, self.similar_hashes, self.problem_counts, self.photos):
            known.pop(slug, None)

    def digest(self, path: Path | str) -> str:
        """The digest of a file's content; empty for one that is not there or no ordinary file."""
        try:
            status = os.stat(path)
        except OSError:
            return ""
        if not stat.S_ISREG(status.st_mode):
            return ""
        stamps = digest_of(f"{stat_signature(status)}/{status.st_ctime_ns}")
        return self._read(path, stamps, _last_modified(status), lambda: digest_file(path))

    def folder(self, folder: Path) -> str:
        """The digest of every file below a folder of the shop: its name, its content, and where links lead."""
        stamps: list[str] = []
        files: list[tuple[str, str | None]] = []
        touched = 0
        if folder.is_symlink():
            files.append((f"is a link to {os.readlink(folder)}", None))
            stamps.append(files[0][0])
        for name, entry in files_below(folder):
            try:
                label = f"{name} is a link to {os.readlink(entry.path)}" if entry.is_symlink() else name
                status = entry.stat()
            except OSError:
                label, status = f"{name} cannot be followed", None
            stamps.append(label)
            if status is not None:
                stamps.append(f"{status.st_mode}/{stat_signature(status)}/{status.st_ctime_ns}")
                touched = max(touched, _last_modified(status))
            files.append((label, entry.path if status is not None and stat.S_ISREG(status.st_mode) else None))

        def read() -> str:
            content = [f"{label} {digest_file(path) if path else ''}" for label, path in files]
            return digest_of(*content)

        return self._read(folder, digest_of(*stamps), touched, read)

    def _read(self, path: Path | str, stamps: str, touched: int, read: Callable[[], str]) -> str:
        """The digest of what lies at a path: as it is known for these stamps, or read."""
        key = digest_of(os.fspath(path))
        known = self.sources.get(key)
        if known is not None and known[0] == stamps:
            self._seen[key] = known
            return known[1]
        digest = read()
        if digest and time.time_ns() - touched > _RACY_WINDOW_NS:
            self._seen[key] = self.sources[key] = (stamps, digest)
            self.dirty = True
        return digest

    def save(self, path: Path) -> None:
        """Write the ledger in one step; stamps of what was not looked at this time are dropped."""
        kept = {name: getattr(self, name) for name in (*_PLAIN, "skipped", "problem_counts")}
        trees = {name: getattr(self, name).directories for name in _TREES}
        body = json.dumps({"sources": self._seen, **kept, **trees}, separators=(",", ":"))
        path.parent.mkdir(parents=True, exist_ok=True)
        part = path.with_name(f"{path.name}.part")
        part.write_text(f"{FORM} {digest_of(body)}\n{body}", encoding="utf-8", newline="\n")
        os.replace(part, path)


_PLAIN = ("builds", "photos", "similar_hashes", "static_pages", "global_hash", "index", "shop_faults")
_PAIRS = ("sources", "skipped", "problem_counts")
_TREES = ("page_bodies", "pages", "site")


def load_state(path: Path) -> BuildState:
    """The ledger as it was saved; an empty one where it is missing, damaged or of another form."""
    try:
        head, _, body = path.read_text(encoding="utf-8").partition("\n")
        if head != f"{FORM} {digest_of(body)}":
            return BuildState()
        kept: Mapping[str, Any] = json.loads(body)
        trees: dict[str, Any] = {name: Manifest(_pairs(kept[name])) for name in _TREES}
        pairs: dict[str, Any] = {name: _pairs(kept[name]) for name in _PAIRS}
        return BuildState(**{name: kept[name] for name in _PLAIN}, **trees, **pairs)
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return BuildState()


def _pairs(kept: Mapping[str, Any]) -> dict[str, tuple[Any, Any]]:
    return {name: (one, other) for name, (one, other) in kept.items()}


def _last_modified(status: os.stat_result) -> int:
    """When a file was last touched [ns]."""
    return max(status.st_mtime_ns, status.st_ctime_ns)


# ----------------------------------------------------------------------------------------- the program


def code_hash(ledger: BuildState) -> str:
    """The digest of the program itself and of every library that is installed beside it, by its version."""
    home = Path(__file__).resolve().parents[2]
    own = [f"{name} {ledger.digest(entry.path)}" for name, entry in files_below(home) if name.endswith(".py")]
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
