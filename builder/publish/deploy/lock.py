"""A lock between processes, held on a file."""

from __future__ import annotations

import contextlib
import errno
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import IO

from builder.publish.errors import PublishError, PublishRefused, translate_os_errors


@contextlib.contextmanager
def lock(path: Path, *, wait: float = 600.0, notify: Callable[[str], None] | None = None) -> Iterator[None]:
    """Hold `path` as a lock between processes, waiting up to `wait` [s] for another one to release it.

    The operating system releases the lock when its process ends, however it ends, so a killed publish never
    locks the next one out. The empty file remains; its presence means nothing.
    Raises PublishError when the time is up, or when the file cannot be created, and PublishRefused for a link.
    """
    if path.is_symlink():
        raise PublishRefused(f"{path} is a link, which is not followed; nothing was changed: remove or rename it")
    with translate_os_errors(path):
        path.parent.mkdir(parents=True, exist_ok=True)
        handle = path.open("a+b")
    with handle:
        deadline = time.monotonic() + wait
        notified = False
        while not _try_lock(handle):
            if time.monotonic() >= deadline:
                raise PublishError(f"another publish is still at work ({path}); try again when it is done")
            if notify and not notified:
                notify("another publish is at work here; waiting for it to finish")
                notified = True
            time.sleep(0.05)
        try:
            yield
        finally:
            _unlock(handle)


if sys.platform == "win32":  # pragma: no cover - each system tests its own half
    import msvcrt

    def _try_lock(handle: IO[bytes]) -> bool:
        try:
            handle.seek(0)
            msvcrt.locking(handle.fileno(), msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True

    def _unlock(handle: IO[bytes]) -> None:
        with contextlib.suppress(OSError):
            handle.seek(0)
            msvcrt.locking(handle.fileno(), msvcrt.LK_UNLCK, 1)

else:
    import fcntl

    def _try_lock(handle: IO[bytes]) -> bool:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            if error.errno in (errno.EAGAIN, errno.EACCES):
                return False
            raise PublishError(f"cannot lock {handle.name}: {error.strerror}") from error
        return True

    def _unlock(handle: IO[bytes]) -> None:
        with contextlib.suppress(OSError):
            fcntl.flock(handle, fcntl.LOCK_UN)
