"""Replacing the published site as one step, so that it is always complete: the old one or the new one.

The new site is built in a staging directory next to the one it will replace (`.site.next` next to `site`), and takes
its place only when it is finished; from one publish to the next that directory is kept as `.site.mirror`
(site_mirror.py). Where the system can exchange two directories in one step (Linux, macOS) it does, and there is no
moment without a site. Elsewhere (Windows, some network drives) two renames are needed; a kill between them leaves
the old site complete under `.site.last`, and the next publish, or `recover`, puts it back.
A symbolic link that is switched over would do as well, but Windows gives those to administrators only, and
many hosts and backup programs don't follow them.
"""

from __future__ import annotations

import contextlib
import ctypes
import os
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

from builder.publish.deploy.lock import lock
from builder.publish.deploy.working_folder import (
    check_working_folder,
    is_marked,
    open_working_folder,
    remove_working_folder,
    write_mark,
)
from builder.publish.errors import PublishError, translate_os_errors

SHOP_SITE = Path(".millbook") / "shop" / "site"
_RETRY_SECONDS = 3.0


@contextlib.contextmanager
def exclusive_output(
    out: Path, *, archive: Path, wait: float = 600.0, notify: Callable[[str], None] | None = None
) -> Iterator[Path]:
    """Lock the place of a site for one publish and recover it from a killed one; yield its real path."""
    out = resolve_output(out, archive=archive)
    with lock(_sibling(out, "lock"), wait=wait, notify=notify):
        recover(out)
        with translate_os_errors(out):
            yield out


@contextlib.contextmanager
def staging_dir(out: Path) -> Iterator[Path]:
    """Yield a directory in which to build the new site: the mirror of `out`, or an empty one.

    Use it inside `exclusive_output`, which checked both. The new site leaves it by `activate` or `keep_staging`; what
    has its name in the end is removed.
    """
    staging, mirror = _sibling(out, "next"), _sibling(out, "mirror")
    try:
        with translate_os_errors(out):
            if mirror.is_dir():
                os.rename(mirror, staging)
            open_working_folder(staging)
            yield staging
    finally:
        remove_working_folder(staging)


def keep_staging(staging: Path, out: Path) -> None:
    """Keep the staging directory, which holds just what the site does, as the mirror."""
    with contextlib.suppress(OSError):
        os.rename(staging, _sibling(out, "mirror"))


def resolve_output(out: Path, *, archive: Path) -> Path:
    """Return the real folder that `out` names, after making sure that replacing it destroys nothing but a site."""
    out = Path(os.path.realpath(out))
    archive = Path(os.path.realpath(archive))
    if out == archive or out in archive.parents:
        raise PublishError(f"{out} holds the records themselves; choose another folder for the site")
    for own in ("builds", "site_templates", "handover", ".millbook", ".git"):
        # The shop's own view of the archive is kept where nobody copies it to the web by mistake.
        if out != archive / SHOP_SITE and (out == archive / own or archive / own in out.parents):
            raise PublishError(f"{out} lies in {own}/, which is not for the site; choose another folder")
    if out.exists():
        if not out.is_dir():
            raise PublishError(f"{out} is a file; the site needs a folder of its own")
        if os.path.ismount(out):
            raise PublishError(f"{out} is a drive of its own, which cannot be replaced; choose a folder in it")
        with translate_os_errors(out):
            ours = is_marked(out) or not any(out.iterdir())
        if not ours:
            raise PublishError(
                f"{out} holds something other than a published site, so it was left alone; "
                f"choose another folder with --out, or empty it first"
            )
    return out


def recover(out: Path) -> None:
    """Clear up after a publish that was killed; call it while holding the lock.

    Where there is no site, the old one is complete under its other name and is put back. Raises PublishRefused where a
    folder that is not ours has one of these names.
    """
    with translate_os_errors(out):
        for suffix in ("next", "last", "mirror"):
            check_working_folder(_sibling(out, suffix))
        last = _sibling(out, "last")
        if not out.exists() and last.exists():
            _retry(lambda: os.rename(last, out))
        remove_working_folder(last)
        remove_working_folder(_sibling(out, "next"))
        if is_marked(out):
            write_mark(out)  # somebody may have changed its text


def activate(staging: Path, out: Path) -> None:
    """Give the finished staging directory the name `out`; the old site, if there was one, then has the other name."""
    if not out.exists():
        _retry(lambda: os.rename(staging, out))
    elif not rename_exchange(staging, out):
        last = _sibling(out, "last")
        _retry(lambda: os.rename(out, last))
        try:
            _retry(lambda: os.rename(staging, out))
        except OSError:
            os.rename(last, out)
            raise
        _retry(lambda: os.rename(last, staging))


def file_system_time(out: Path) -> int:
    """Return the time on the drive of the site [ns since the epoch], which may be another machine's; 0 if it has none.

    Use it inside `exclusive_output`, whose lock file it touches.
    """
    with contextlib.suppress(OSError):
        os.utime(_sibling(out, "lock"))
        return os.stat(_sibling(out, "lock")).st_ctime_ns
    return 0


def rename_exchange(first: Path, second: Path) -> bool:
    """Exchange the names of two folders in one step; return False where the system or the drive cannot."""
    try:
        libc = ctypes.CDLL(None, use_errno=True)
        if sys.platform.startswith("linux"):
            cwd, swap_flag = -100, 2  # AT_FDCWD, RENAME_EXCHANGE
            status = libc.renameat2(cwd, os.fsencode(first), cwd, os.fsencode(second), swap_flag)
        elif sys.platform == "darwin":
            swap_flag = 2  # RENAME_SWAP
            status = libc.renamex_np(os.fsencode(first), os.fsencode(second), swap_flag)
        else:
            return False
    except (OSError, AttributeError, TypeError):
        return False  # a C library without the call
    return bool(status == 0)


def _sibling(out: Path, suffix: str) -> Path:
    return out.with_name(f".{out.name}.{suffix}")


def _retry(step: Callable[[], None]) -> None:
    """Do a step; try again for a while on Windows, which refuses to rename a folder in which a program reads."""
    deadline = time.monotonic() + _RETRY_SECONDS
    while True:
        try:
            return step()
        except PermissionError:
            if os.name != "nt" or time.monotonic() > deadline:
                raise
            time.sleep(0.05)
