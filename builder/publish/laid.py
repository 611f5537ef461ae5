"""Laying files down: only what differs is written, and what no longer belongs goes."""

from __future__ import annotations

import shutil
from collections.abc import Iterable, Mapping
from pathlib import Path

from builder.publish.kept import files_below


def lay(path: Path, content: bytes) -> None:
    """Make a file hold just this; one that does is not touched."""
    if path.is_file() and not path.is_symlink():
        if path.stat().st_size == len(content) and path.read_bytes() == content:
            return
    else:
        _make_room(path)
    path.write_bytes(content)


def _make_room(path: Path) -> None:
    """See to it that a file can stand there, whatever somebody else put in its place."""
    if path.is_dir() and not path.is_symlink():
        shutil.rmtree(path)
    elif path.is_symlink() or path.exists():
        path.unlink()
    if path.parent.is_file():
        path.parent.unlink()
    path.parent.mkdir(parents=True, exist_ok=True)


def lay_tree(folder: Path, files: Mapping[str, bytes], spare: Iterable[str]) -> None:
    """Make a folder hold these files, and of others only those that are spared."""
    for name, content in files.items():
        lay(folder / name, content)
    wanted = {*files, *spare}
    drop(folder, [name for name, _ in files_below(folder) if name not in wanted])


def drop(folder: Path, names: Iterable[str]) -> None:
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
