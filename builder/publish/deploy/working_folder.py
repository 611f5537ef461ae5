"""Folders that belong to the program, known by a mark file: nothing else is written into, emptied or deleted.

A name alone proves nothing. Somebody's own folder may have it, or a symbolic link to a folder elsewhere.
"""

from __future__ import annotations

import contextlib
import os
import re
import shutil
from pathlib import Path

from builder.publish.errors import PublishRefused

MARK = "made-by-millbook.txt"
"""The file in every site and working folder by which it is known for one."""
MARK_TEXT = (
    "This folder was written by `millbook publish` and is replaced as a whole each time.\n"
    "Change the records or the templates instead, and publish again.\n"
)


def is_marked(folder: Path) -> bool:
    """Return whether a folder holds the mark file."""
    mark = folder / MARK
    return mark.is_file() and not mark.is_symlink()


def check_working_folder(folder: Path, unmarked_names: str = "") -> None:
    """Raise PublishRefused for what has the name of a working folder and is none: a link, a file, a folder of others.

    An empty folder will do, as will one that does not exist. ``unmarked_names`` is a pattern: a folder without a mark
    in which every name matches was written by a version that marked none.
    """
    if folder.is_symlink() or getattr(os.path, "isjunction", lambda _: False)(folder):
        raise PublishRefused(f"{folder} is a link, which is not followed; nothing was changed: remove or rename it")
    if not os.path.lexists(folder):
        return
    if not folder.is_dir():
        raise PublishRefused(f"{folder} is no folder; nothing was changed: remove or rename it")
    if not is_marked(folder) and not all(re.fullmatch(unmarked_names, name) for name in os.listdir(folder)):
        raise PublishRefused(
            f"{folder} holds files that this program did not write (there is no {MARK} in it); "
            "nothing was changed: remove or rename it"
        )


def open_working_folder(folder: Path, unmarked_names: str = "") -> None:
    """Create a working folder with its mark, or check one that exists and mark it. Raises PublishRefused."""
    check_working_folder(folder, unmarked_names)
    folder.mkdir(exist_ok=True)
    write_mark(folder)


def write_mark(folder: Path) -> None:
    """Write the mark file into a folder, unless it is there as it should be."""
    mark = folder / MARK
    with contextlib.suppress(FileExistsError), mark.open("x", encoding="utf-8", newline="\n") as file:
        file.write(MARK_TEXT)
        return
    if mark.read_bytes() != MARK_TEXT.encode():
        part = folder.with_name(f".{folder.name}.mark.part")
        part.unlink(missing_ok=True)
        part.write_text(MARK_TEXT, encoding="utf-8", newline="\n")
        os.replace(part, mark)


def clear_working_folder(folder: Path) -> None:
    """Remove everything but the mark from a working folder; what cannot be removed now goes next time."""
    for entry in list(os.scandir(folder)):
        if entry.is_dir(follow_symlinks=False):
            shutil.rmtree(entry.path, ignore_errors=True)
        elif entry.name != MARK:
            with contextlib.suppress(OSError):
                os.unlink(entry.path)


def remove_working_folder(folder: Path) -> None:
    """Remove a working folder if there is one, its mark last: the next publish removes what is left after a kill."""
    if folder.is_dir() and not folder.is_symlink():
        clear_working_folder(folder)
        with contextlib.suppress(OSError):
            if os.listdir(folder) in ([MARK], []):
                (folder / MARK).unlink(missing_ok=True)
                folder.rmdir()


def unlink_links(folder: Path) -> None:
    """Remove every symbolic link below a working folder, so that nothing is written or deleted through one."""
    for entry in list(os.scandir(folder)):
        if entry.is_symlink():
            os.unlink(entry.path)
        elif entry.is_dir(follow_symlinks=False):
            unlink_links(Path(entry.path))
