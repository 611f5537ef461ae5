"""Replacing the published site as a whole, so that what stands is always complete: the old one or the new.

The new site is made in a folder beside the one it will replace (`.site.next` beside `site`), and takes its
place only when it is finished; from one publish to the next that folder is kept as `.site.spare` (spare.py).
Where the system can exchange two folders in one step (Linux, macOS) it does, and there is no moment without a
site. Elsewhere (Windows, some network drives) two renames are needed; a kill between them leaves the old site
complete under `.site.last`, and the next publish, or `heal`, puts it back.
A symbolic link that is switched over would do as well, but Windows gives those to administrators only, and
many hosts and backup programs don't follow them.
"""

from __future__ import annotations

import contextlib
import ctypes
import os
import shutil
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

from builder.publish.deploy.lock import lock
from builder.publish.errors import PublishError, translate_os_errors

#: Every site carries this file, so that no other folder is ever mistaken for a site and replaced.
MARK = "made-by-millbook.txt"
SHOP_SITE = Path(".millbook") / "shop" / "site"
MARK_TEXT = (
    "This folder was written by `millbook publish` and is replaced as a whole each time.\n"
    "Change the records or the templates instead, and publish again.\n"
)
_RETRY_SECONDS = 3.0


# ------------------------------------------------------------------------------------- the replacement


@contextlib.contextmanager
def exclusive_output(
    out: Path, *, archive: Path, wait: float = 600.0, notify: Callable[[str], None] | None = None
) -> Iterator[Path]:
    """Hold the place of a site for one publish: healed, and no other publish at work there. Yields its real path."""
    out = resolve_output(out, archive=archive)
    with lock(_sibling(out, "lock"), wait=wait, notify=notify):
        recover(out)
        with translate_os_errors(out):
            yield out


@contextlib.contextmanager
def staging_dir(out: Path) -> Iterator[Path]:
    """Yield a folder to make the new site in, for `put_in_place` and `keep_spare`: the spare of `out`, or empty.

    Use it inside `claimed`. Whatever bears the folder's name in the end is removed.
    """
    fresh, spare = _sibling(out, "next"), _sibling(out, "spare")
    try:
        with translate_os_errors(out):
            if spare.is_dir() and not spare.is_symlink():
                os.rename(spare, fresh)
            fresh.mkdir(exist_ok=True)
            yield fresh
    finally:
        _remove(fresh)


def keep_staging(fresh: Path, out: Path) -> None:
    """Keep the folder `fresh`, which holds just what the site does, for the next time."""
    with contextlib.suppress(OSError):
        os.rename(fresh, _sibling(out, "spare"))


def resolve_output(out: Path, *, archive: Path) -> Path:
    """The real folder `out` names, after making sure that replacing it destroys nothing but a site."""
    out = Path(os.path.realpath(out))
    archive = Path(os.path.realpath(archive))
    if out == archive or out in archive.parents:
        raise PublishError(f"{out} holds the records themselves; choose another folder for the site")
    for own in ("builds", "site_templates", ".millbook", ".git"):
        # The shop's own view of the archive is kept where nobody copies it to the web by mistake.
        if out != archive / SHOP_SITE and (out == archive / own or archive / own in out.parents):
            raise PublishError(f"{out} lies in {own}/, which is not for the site; choose another folder")
    if out.exists():
        if not out.is_dir():
            raise PublishError(f"{out} is a file; the site needs a folder of its own")
        if os.path.ismount(out):
            raise PublishError(f"{out} is a drive of its own, which cannot be replaced; choose a folder in it")
        with translate_os_errors(out):
            ours = (out / MARK).is_file() or not any(out.iterdir())
        if not ours:
            raise PublishError(
                f"{out} holds something other than a published site, so it was left alone; "
                f"choose another folder with --out, or empty it first"
            )
    return out


def recover(out: Path) -> None:
    """Clear up after a publish that was killed; call it while holding the lock.

    With no site standing, the old one waits complete under its other name and is put back.
    """
    with translate_os_errors(out):
        last = _sibling(out, "last")
        if not out.exists() and last.exists():
            _retry(lambda: os.rename(last, out))
        _remove(last)
        _remove(_sibling(out, "next"))


def activate(fresh: Path, out: Path) -> None:
    """Give the finished folder `fresh` the name `out`; the old site, if there was one, then bears `fresh`'s name."""
    if not out.exists():
        _retry(lambda: os.rename(fresh, out))
    elif not rename_exchange(fresh, out):
        last = _sibling(out, "last")
        _retry(lambda: os.rename(out, last))
        try:
            _retry(lambda: os.rename(fresh, out))
        except OSError:
            os.rename(last, out)
            raise
        _retry(lambda: os.rename(last, fresh))


def write_marker(site: Path) -> None:
    """Put the mark of a site into it."""
    if not (site / MARK).is_file():
        (site / MARK).write_text(MARK_TEXT, encoding="utf-8", newline="\n")


def rename_exchange(one: Path, other: Path) -> bool:
    """Swap the names of two folders in a single step; False where the system or the drive cannot."""
    try:
        libc = ctypes.CDLL(None, use_errno=True)
        if sys.platform.startswith("linux"):
            here, swap_flag = -100, 2  # AT_FDCWD, RENAME_EXCHANGE
            done = libc.renameat2(here, os.fsencode(one), here, os.fsencode(other), swap_flag)
        elif sys.platform == "darwin":
            swap_flag = 2  # RENAME_SWAP
            done = libc.renamex_np(os.fsencode(one), os.fsencode(other), swap_flag)
        else:
            return False
    except (OSError, AttributeError, TypeError):
        return False  # a C library without the call
    return bool(done == 0)


# ------------------------------------------------------------------------------------------- small help


def _sibling(out: Path, what: str) -> Path:
    return out.with_name(f".{out.name}.{what}")


def _retry(step: Callable[[], None]) -> None:
    """Windows refuses to rename a folder while a browser or a virus scanner reads in it: try for a while."""
    give_up = time.monotonic() + _RETRY_SECONDS
    while True:
        try:
            return step()
        except PermissionError:
            if os.name != "nt" or time.monotonic() > give_up:
                raise
            time.sleep(0.05)


def _remove(folder: Path) -> None:
    """Remove a folder of ours if it is there; one that cannot go now is taken by the next publish."""
    if folder.exists():
        shutil.rmtree(folder, ignore_errors=True)
