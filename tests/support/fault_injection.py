"""`python -m tests.support.fault_injection ARCHIVE kill|full|closed NUMBER`: a publish to which something happens.

At the file operation of that number (opening to write, renaming, linking, removing, making a folder) the process
is killed, or the system refuses: the disk is full, or writing is not allowed. With number 0 nothing happens, and
the count of operations is printed.
"""

from __future__ import annotations

import errno
import os
import signal
import sys
from pathlib import Path
from typing import Any

EVENTS = {
    "os.rename",
    "os.remove",
    "os.mkdir",
    "os.rmdir",
    "os.link",
    "os.truncate",
    "shutil.copyfile",
    "ctypes.dlopen",
}
NUMBERS = {"full": errno.ENOSPC, "closed": errno.EACCES}
seen = 0


def writes(event: str, args: tuple[Any, ...]) -> bool:
    """Whether this is an operation that changes something on the disk."""
    if event == "open":
        flags = args[2] if isinstance(args[2], int) else 0
        return bool(flags & (os.O_WRONLY | os.O_RDWR)) and not str(args[0]).endswith((".pyc", "lock"))
    return event in EVENTS


def main() -> None:
    """Publish, and let it happen."""
    archive, what, number = Path(sys.argv[1]), sys.argv[2], int(sys.argv[3])

    from builder.publish import workers
    from builder.publish.errors import PublishError
    from builder.publish.pipeline import publish

    workers._available_cpus = lambda: 1  # so that every operation is one of this process

    def happen(event: str, args: tuple[Any, ...]) -> None:
        global seen
        if not writes(event, args):
            return
        seen += 1
        if seen == number and what == "kill":
            os.kill(os.getpid(), signal.SIGKILL)
        # A full disk stays full; what removes is let through.
        if number and seen >= number and what != "kill" and event not in ("os.remove", "os.rmdir", "ctypes.dlopen"):
            raise OSError(NUMBERS[what], os.strerror(NUMBERS[what]), str(args[0]))

    sys.addaudithook(happen)
    try:
        publish(archive, archive / "site")
    except PublishError as problem:
        sys.exit(f"Error: {problem}")
    sys.stdout.write(f"{seen}\n")


if __name__ == "__main__":
    main()
