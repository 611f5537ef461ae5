"""The site's spare: a second folder that holds the very same files as the site that stands.

A new site is made in it, so that of thousands of files only those that changed are touched; then the two folders
change places, and what changed is brought over once more. The files are shared on the disk (hard links), so that
a spare takes no room but its names, and holds nothing that the site does not. A file must therefore be replaced,
never written into. Where files cannot be shared, no spare is kept and each new site begins as a copy.
"""

from __future__ import annotations

import contextlib
import os
import shutil
from collections.abc import Iterable
from pathlib import Path

from builder.publish.incremental.output_dir import remove_files
from builder.publish.incremental.state import Manifest, stat_signature


def sync_mirror(site: Path, target: Path, files: Manifest) -> bool:
    """Make the folder `target`, whatever it holds, hold just these files of the site; whether they could be shared."""
    share = True
    made: set[str] = set()
    for name in _prune_and_list_missing(os.fspath(target), files):
        there = os.path.join(target, name)
        folder = os.path.dirname(there)
        if folder not in made:
            os.makedirs(folder, exist_ok=True)
            made.add(folder)
        if share:
            try:
                os.link(os.path.join(site, name), there)
                continue
            except OSError:
                share = False  # a drive that cannot
        shutil.copyfile(os.path.join(site, name), there)
    return share


def _prune_and_list_missing(target: str, files: Manifest) -> list[str]:
    """Remove from the folder what is not as it should be; returns the files that it then lacks."""
    found: set[str] = set()
    lacking: list[str] = []

    def holds(below: str) -> bool:
        found.add(below)
        with os.scandir(os.path.join(target, below)) as inside:
            entries = list(inside)
        before = f"{below}/" if below else ""
        wanted = files.stat_signatures(below)
        inner = False
        for entry in entries:
            if entry.is_dir(follow_symlinks=False):
                if holds(f"{before}{entry.name}"):
                    inner = True
                else:
                    os.rmdir(entry.path)
            elif _same_file(entry, wanted.get(entry.name)):
                del wanted[entry.name]
                inner = True
            else:
                os.unlink(entry.path)
        lacking.extend(f"{before}{name}" for name in wanted)
        return inner

    holds("")
    return lacking + [name for below in files.directories if below not in found for name in files.files(below)]


def _same_file(entry: os.DirEntry[str], stamp: str | None) -> bool:
    """Whether a file is the one with this stamp. The number on the disk says it all, where a folder tells it."""
    if stamp is None:
        return False
    number = entry.inode() if os.name != "nt" else 0
    return stamp.endswith(f"/{number}") if number else stamp == stat_signature(entry.stat(follow_symlinks=False))


def update_mirror(site: Path, spare: Path, names: Iterable[str]) -> bool:
    """Make the spare hold of these files what the site holds; False where it cannot, and is no spare."""
    names = list(names)
    try:
        remove_files(spare, names)
        for name in names:
            if (site / name).is_file():
                (spare / name).parent.mkdir(parents=True, exist_ok=True)
                with contextlib.suppress(FileExistsError):
                    os.link(site / name, spare / name)
    except OSError:
        return False
    return True
