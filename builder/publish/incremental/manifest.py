"""Which files a publish wrote: each with its hash, and with what shows whether somebody touched it since."""

from __future__ import annotations

import os
import stat
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import NamedTuple

from builder.publish.deploy.working_folder import MARK
from builder.publish.incremental.hashing import hash_file


class FileEntry(NamedTuple):
    """One file of a folder that only a publish writes to.

    The time at which its inode changed (ctime) is left out: linking a file into the next site changes it too.
    """

    size: int
    mtime_ns: int
    inode: int
    """0 on Windows, where listing a folder does not give it."""
    sha256: str
    """Empty for what is no regular file or cannot be read."""


Manifest = Mapping[str, FileEntry]
"""The files below a folder, by their path in it."""


SYSTEM_FILES = frozenset({".DS_Store", "Thumbs.db", "desktop.ini"})
"""What a file manager leaves in a folder that somebody looks at; nobody misses it."""
_MARKS = (MARK, f"builds/{MARK}")


def scan(folder: Path, known: Manifest, verified_ns: int = 0) -> dict[str, FileEntry]:
    """Return every file below a folder but its mark; one that was not touched keeps its known hash.

    ``verified_ns`` is when the known files were last as they are known [ns since the epoch]: a file whose inode changed
    since is read again, even where its size and its time of modification are the same.
    """
    files: dict[str, FileEntry] = {}
    pending = [("", os.fspath(folder))]
    while pending:
        prefix, path = pending.pop()
        try:
            with os.scandir(path) as listing:
                entries = list(listing)
        except OSError:
            continue  # deleted meanwhile, or not there at all
        for entry in entries:
            name = prefix + entry.name
            if name in _MARKS or entry.name in SYSTEM_FILES:
                continue
            try:
                if entry.is_dir(follow_symlinks=False):
                    pending.append((f"{name}/", entry.path))
                else:
                    files[name] = _entry(entry.path, entry.stat(follow_symlinks=False), known.get(name), verified_ns)
            except OSError:
                continue
    return files


def rescan(folder: Path, known: Manifest, names: Iterable[str]) -> dict[str, FileEntry]:
    """Return the known files, of which only these may have been written or removed since."""
    files = dict(known)
    for name in names:
        files.pop(name, None)
        path = os.path.join(folder, name)
        try:
            status = os.lstat(path)
        except OSError:
            continue
        if not stat.S_ISDIR(status.st_mode):
            files[name] = _entry(path, status)
    return files


def _entry(path: str, status: os.stat_result, known: FileEntry | None = None, verified_ns: int = 0) -> FileEntry:
    inode = 0 if os.name == "nt" else status.st_ino
    if (
        known is not None
        and known.mtime_ns == status.st_mtime_ns
        and known.size == status.st_size
        and known.inode == inode
        and status.st_ctime_ns < verified_ns
    ):
        return known
    regular = stat.S_ISREG(status.st_mode)
    return FileEntry(status.st_size, status.st_mtime_ns, inode, hash_file(path) if regular else "")


def changed_paths(before: Manifest, after: Manifest) -> set[str]:
    """Return the files that two manifests do not have in common, or not with the same content."""
    changed = set(before.keys() ^ after.keys())
    for name, entry in before.items():
        if (same := after.get(name)) is not None and same is not entry and same.sha256 != entry.sha256:
            changed.add(name)
    return changed
