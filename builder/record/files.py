"""Files that a record names: inside the build's folder, ordinary, there; or what is wrong with them."""

from __future__ import annotations

import difflib
from pathlib import Path


def build_folders(archive: Path) -> list[Path]:
    """The folders of the archive that hold builds, in the order of their names."""
    builds = archive / "builds"
    try:
        found = [folder for folder in builds.iterdir() if folder.is_dir() and not folder.name.startswith((".", "_"))]
    except OSError:
        return []
    return sorted(found)


def escapes(folder: Path, path: Path) -> str | None:
    """What is wrong with a path that leaves the build's folder, by dots or by links; None if it stays inside."""
    try:
        inside = path.resolve().is_relative_to(folder.resolve())
    except (OSError, ValueError, RuntimeError):
        return "is not a path that can be followed"
    return None if inside else "leaves the build's folder: copy the file into it"


def file_in(folder: Path, written: str) -> tuple[Path | None, str]:
    """A file that the record names, or None with what is wrong."""
    shown = written if len(written) <= 80 else f"{written[:80]}..."
    if not written.isprintable():
        return None, "holds a character that no file name may have"
    if Path(written).is_absolute() or ".." in Path(written.replace("\\", "/")).parts:
        return None, f"{shown!r} leaves the build's folder: write a path inside it, e.g. dyno/pull-1.csv"
    path = folder / written
    try:
        if path.is_file():
            escape = escapes(folder, path)
            return (None, f"{shown!r} {escape}") if escape else (path, "")
        if path.exists():
            return None, f"{shown!r} is not an ordinary file"
    except (OSError, ValueError) as error:
        return None, f"{shown!r} cannot be followed: {getattr(error, 'strerror', None) or error}"
    near = difflib.get_close_matches(written.replace("\\", "/"), _files(folder), n=1)
    return None, f"{shown!r} is not there" + (f": did you mean {near[0]!r}?" if near else "")


def _files(folder: Path) -> list[str]:
    try:
        found = sorted(path for pattern in ("*", "*/*") for path in folder.glob(pattern))[:500]
        return [path.relative_to(folder).as_posix() for path in found if path.is_file()]
    except OSError:
        return []
