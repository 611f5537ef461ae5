"""Laying files down: only what differs is written, and what no longer belongs goes."""

from __future__ import annotations

import shutil
from collections.abc import Iterable, Mapping
from pathlib import Path

from builder.publish.incremental.state import Manifest, files_below, rescan, scan


def write_if_changed(path: Path, content: bytes) -> None:
    """Make a file hold just this; one that does is not touched."""
    if path.is_file() and not path.is_symlink():
        if path.stat().st_size == len(content) and path.read_bytes() == content:
            return
    else:
        _clear_path(path)
    path.write_bytes(content)


def _clear_path(path: Path) -> None:
    """See to it that a file can stand there, whatever somebody else put in its place."""
    if path.is_dir() and not path.is_symlink():
        shutil.rmtree(path)
    elif path.is_symlink() or path.exists():
        path.unlink()
    if path.parent.is_file():
        path.parent.unlink()
    path.parent.mkdir(parents=True, exist_ok=True)


def remove_files(folder: Path, names: Iterable[str]) -> None:
    """Remove files of a folder, and the folders in it that are empty then."""
    for name in names:
        path = folder / name
        try:
            path.unlink()
        except (FileNotFoundError, NotADirectoryError):
            continue
        for parent in path.parents:
            if parent == folder or any(parent.iterdir()):
                break
            parent.rmdir()


class OutputDir:
    """A folder that only a publish writes to, and the files in it that this one laid or removed."""

    def __init__(self, folder: Path) -> None:
        """Nothing was touched yet."""
        self.folder = folder
        self.touched: set[str] = set()

    def lay(self, name: str, content: bytes) -> None:
        """Make a file hold just this."""
        write_if_changed(self.folder / name, content)
        self.touched.add(name)

    def sync_subdir(self, below: str, files: Mapping[str, bytes], spare: Iterable[str]) -> None:
        """Make a folder in it hold these files, and of others only those that are spared."""
        for name, content in files.items():
            self.lay(f"{below}/{name}", content)
        wanted = {*files, *spare}
        odd = [name for name, _ in files_below(self.folder / below) if name not in wanted]
        self.drop([f"{below}/{name}" for name in odd])

    def drop(self, names: Iterable[str]) -> None:
        """Remove files, and the folders that are empty then."""
        names = list(names)
        remove_files(self.folder, names)
        self.touched.update(names)

    def looked_at(self, known: Manifest, *, believed: bool) -> Manifest:
        """What the folder holds now, if it is believed to have held just what is known."""
        return rescan(self.folder, known, self.touched) if believed else scan(self.folder, known)
