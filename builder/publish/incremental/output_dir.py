"""Writing to folders that only a publish writes to: what is right already is not touched, what is too much goes."""

from __future__ import annotations

import os
import shutil
from collections.abc import Collection, Iterable, Mapping
from pathlib import Path

from builder.publish.errors import name_path


def write_if_changed(path: Path, content: bytes) -> None:
    """Make a file hold this content; one that does is not touched, any other is replaced, never written into."""
    ours = path.is_file() and not path.is_symlink()
    if ours and path.stat().st_size == len(content) and path.read_bytes() == content:
        return
    _clear_path(path)
    with name_path(path):
        path.write_bytes(content)


def _clear_path(path: Path) -> None:
    """Remove whatever somebody put in the place of a file, and create its folder."""
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


def sync_subfolder(folder: Path, name: str, files: Mapping[str, bytes], others: Collection[str] = ()) -> set[str]:
    """Make a subfolder hold these files, and besides only the named others; return the paths that may have changed."""
    for file, content in files.items():
        write_if_changed(folder / name / file, content)
    surplus = [
        file
        for base, _, file_names in os.walk(folder / name)
        for file_name in file_names
        if (file := Path(base, file_name).relative_to(folder / name).as_posix()) not in files and file not in others
    ]
    remove_files(folder / name, surplus)
    return {f"{name}/{file}" for file in (*files, *surplus)}
