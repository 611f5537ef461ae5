"""The error that stops a publish, with a message for the shop."""

from __future__ import annotations

import contextlib
import errno
from collections.abc import Iterator
from pathlib import Path


class PublishError(Exception):
    """Something outside the records kept the site from being published; the message is for the shop."""

    exit_status = 1


class PublishRefused(PublishError):
    """Publishing would destroy something that may be wanted, so the site was left as it is."""

    exit_status = 2


@contextlib.contextmanager
def name_path(path: Path) -> Iterator[None]:
    """Name the path in an OSError raised in the block that names none: writing to a full disk raises such a one."""
    try:
        yield
    except OSError as error:
        if error.filename is None:
            error.filename = str(path)
        raise


@contextlib.contextmanager
def translate_os_errors(out: Path, *, site: bool = True) -> Iterator[None]:
    """Turn an OSError raised in the block into a PublishError that says what the shop can do about it.

    ``site``: what is written to ``out`` is the site, which is exchanged as a whole.
    """
    try:
        yield
    except OSError as error:
        where = error.filename2 or error.filename or out
        what = {
            errno.ENOSPC: "the disk is full",
            errno.EDQUOT: "the disk quota is used up",
            errno.EROFS: "the drive is read-only",
            errno.EACCES: "writing there is not allowed",
            errno.EPERM: "writing there is not allowed",
            errno.ENAMETOOLONG: "the path is too long for this system",
        }.get(error.errno or 0, error.strerror or str(error))
        written = f"cannot publish to {out}" if site else f"cannot write to {out}"
        message = f"{written}: {what} ({where})." + (" The existing site is unchanged." if site else "")
        raise PublishError(message) from error
