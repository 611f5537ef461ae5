"""Find build folders and the files that a record names: inside the build's folder, ordinary and present."""

from __future__ import annotations

from pathlib import Path

from builder.record.problem import did_you_mean

MAX_FILE_BYTES = 2_000_000
"""Size of the largest YAML file that is read."""


class ArchiveError(Exception):
    """The folder of the builds is missing or cannot be read; the message is for the shop."""


def build_folders(archive: Path) -> list[Path]:
    """Return the folders of the archive that hold builds, in the order of their names.

    Raises ArchiveError where `builds/` is missing or cannot be read: a share that is not mounted is no empty archive.
    """
    builds = archive / "builds"
    try:
        return sorted(
            folder for folder in builds.iterdir() if folder.is_dir() and not folder.name.startswith((".", "_"))
        )
    except FileNotFoundError:
        raise ArchiveError(
            f"{builds} does not exist: is the drive connected, and is this the archive? "
            "An archive is a folder that holds builds/: change to it, name it with --archive, "
            "or start one with `millbook new`"
        ) from None
    except OSError as error:
        raise ArchiveError(f"{builds} cannot be read: {error.strerror or error}") from error


def content_of(path: Path) -> bytes:
    """Return the content of an ordinary file no larger than a record; nothing for any other, or one not readable."""
    try:
        return path.read_bytes() if path.is_file() and path.stat().st_size <= MAX_FILE_BYTES else b""
    except (OSError, ValueError):
        return b""


def path_problem(folder: Path, path: Path) -> str | None:
    """Return what is wrong with a path that leaves the build's folder, by dots or by links; None if it stays inside."""
    try:
        inside = path.resolve().is_relative_to(folder.resolve())
    except (OSError, ValueError, RuntimeError):
        return "is not a path that can be followed"
    return None if inside else "leaves the build's folder: copy the file into it"


def dangling_link(path: Path) -> str | None:
    """Return what is wrong with a link that leads to no file; None for anything else."""
    try:
        if path.is_symlink() and not path.exists():
            return f"is a link to {str(path.readlink())[:200]!r}, which is not there: put the file itself here"
    except (OSError, RuntimeError) as error:
        return f"is a link that cannot be followed: {getattr(error, 'strerror', None) or error}"
    return None


def file_in(folder: Path, name: str) -> tuple[Path | None, str]:
    """Return a file that the record names, or None and what is wrong."""
    shown = name if len(name) <= 80 else f"{name[:80]}..."
    if not name.isprintable():
        return None, "holds a character that no file name may have"
    if Path(name).is_absolute() or ".." in Path(name.replace("\\", "/")).parts:
        return None, f"{shown!r} leaves the build's folder: write a path inside it, e.g. dyno/pull-1.csv"
    path = folder / name
    try:
        if path.is_file():
            problem = path_problem(folder, path)
            return (None, f"{shown!r} {problem}") if problem else (path, "")
        if path.exists():
            return None, f"{shown!r} is not an ordinary file"
        if dangling := dangling_link(path):
            return None, f"{shown!r} {dangling}"
    except (OSError, ValueError) as error:
        return None, f"{shown!r} cannot be followed: {getattr(error, 'strerror', None) or error}"
    hint = did_you_mean(name.replace("\\", "/"), _files(folder))
    return None, f"{shown!r} is not there" + (f": {hint}" if hint else "")


def _files(folder: Path) -> list[str]:
    try:
        paths = sorted(path for pattern in ("*", "*/*") for path in folder.glob(pattern))[:500]
        inside = (path for path in paths if path.is_file() and path_problem(folder, path) is None)
        return [path.relative_to(folder).as_posix() for path in inside]
    except OSError:
        return []
