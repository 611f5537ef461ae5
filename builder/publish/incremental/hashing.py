"""Content hashes, and the hashes of source files, which are read again only when they were touched."""

from __future__ import annotations

import hashlib
import os
import stat
import sys
import time
from collections.abc import Callable, Iterator, Mapping
from operator import attrgetter
from pathlib import Path
from typing import NamedTuple

RACY_WINDOW_NS = 2_000_000_000
"""A file modified this short a time before it was read [ns] may be modified again without a new time."""


def hash_parts(*parts: str | bytes) -> str:
    """Return one hash of several texts, each set off from the next."""
    digest = hashlib.sha256()
    for part in parts:
        data = part.encode("utf-8", "surrogateescape") if isinstance(part, str) else part
        digest.update(len(data).to_bytes(8, "big"))
        digest.update(data)
    return digest.hexdigest()


def hash_bytes(content: bytes) -> str:
    """Return the SHA-256 hash of some content."""
    return hashlib.sha256(content).hexdigest()


def hash_file(path: Path | str) -> str:
    """Return the SHA-256 hash of a file's content; empty for one that cannot be read."""
    try:
        with open(path, "rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        return ""


class SourceEntry(NamedTuple):
    """A source file, or a folder with all its files, when it was last read."""

    signature: str
    """The hash of every name, size, mode, time and inode number."""
    content: str
    """The hash of every name and content."""


class SourceHasher:
    """Hashes files and folders; what has the signature it had last time is not read again.

    File names of a record stay out of the entries: a folder has one entry under its own path.
    """

    def __init__(self, known: Mapping[str, SourceEntry]) -> None:
        """Start from the entries of the last publish."""
        self._known = known
        self.entries: dict[str, SourceEntry] = {}
        """The entries of all that was hashed, but for what was modified too short a time ago to trust its times."""

    def file(self, path: Path | str) -> str:
        """Return the hash of a file's content; empty for one that does not exist or is no regular file."""
        try:
            status = os.stat(path)
        except OSError:
            return ""
        if not stat.S_ISREG(status.st_mode):
            return ""
        return self._read(path, hash_parts(_signature(status)), _last_modified(status), lambda: hash_file(path))

    def folder(self, folder: Path, *, suffix: str = "") -> str:
        """Return the hash of every file below a folder, or of those with this suffix: names, contents, link targets."""
        signature: list[str] = []
        files: list[tuple[str, str | None]] = []
        modified = 0
        if folder.is_symlink():
            files.append((f"is a link to {os.readlink(folder)}", None))
            signature.append(files[0][0])
        for name, entry in files_below(folder):
            if not name.endswith(suffix):
                continue
            try:
                label = f"{name} is a link to {os.readlink(entry.path)}" if entry.is_symlink() else name
                status = entry.stat()
            except OSError:
                label, status = f"{name} cannot be followed", None
            signature.append(label)
            if status is not None:
                signature.append(_signature(status))
                modified = max(modified, _last_modified(status))
            files.append((label, entry.path if status is not None and stat.S_ISREG(status.st_mode) else None))

        def read() -> str:
            return hash_parts(*(f"{label} {hash_file(path) if path else ''}" for label, path in files))

        return self._read(folder, hash_parts(*signature), modified, read)

    def _read(self, path: Path | str, signature: str, modified: int, read: Callable[[], str]) -> str:
        key = os.fspath(path)
        entry = self._known.get(key)
        if entry is None or entry.signature != signature:
            entry = SourceEntry(signature, read())
            if not entry.content or time.time_ns() - modified <= RACY_WINDOW_NS:
                return entry.content
        self.entries[key] = entry
        return entry.content


def code_hash(hasher: SourceHasher) -> str:
    """Return the hash of the program's own files and of every installed library, by its version."""
    return hash_parts(sys.version, hasher.folder(Path(__file__).resolve().parents[2], suffix=".py"), *_installed())


def _installed() -> list[str]:
    """Return the folders in which installed libraries state their names and versions."""
    names: set[str] = set()
    for folder in dict.fromkeys(sys.path):
        try:
            names.update(name for name in os.listdir(folder or ".") if name.endswith((".dist-info", ".egg-info")))
        except OSError:
            continue
    return sorted(names)


_name = attrgetter("name")


def files_below(folder: Path, subfolder: str = "") -> Iterator[tuple[str, os.DirEntry[str]]]:
    """Yield every file below a folder, links not followed, with its path in the folder, in order."""
    try:
        with os.scandir(folder / subfolder if subfolder else folder) as listing:
            entries = sorted(listing, key=_name)
    except OSError:
        return
    for entry in entries:
        name = f"{subfolder}/{entry.name}" if subfolder else entry.name
        try:
            is_folder = entry.is_dir(follow_symlinks=False)
        except OSError:
            continue
        if is_folder:
            yield from files_below(folder, name)
        else:
            yield name, entry


def _signature(status: os.stat_result) -> str:
    """Return what changes when somebody touches a file."""
    return f"{status.st_mode}/{status.st_size}/{status.st_mtime_ns}/{status.st_ctime_ns}/{status.st_ino}"


def _last_modified(status: os.stat_result) -> int:
    """Return when a file or its entry was last changed [ns]."""
    return max(status.st_mtime_ns, status.st_ctime_ns)
