"""`python -m tests.support.fault_injection ARCHIVE kill|full|closed NUMBER`: publish, and let a file operation fail.

At the file operation of that number (opening to write, renaming, linking, removing, creating a directory) the process
is killed, or the system refuses: the disk is full, or writing is not allowed. With number 0 nothing fails, and the
count of operations is printed.
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
REMOVALS = {"os.remove", "os.rmdir", "ctypes.dlopen"}
"""Operations that a full disk lets through."""
ERROR_NUMBERS = {"full": errno.ENOSPC, "closed": errno.EACCES}


def writes(event: str, args: tuple[Any, ...]) -> bool:
    """Return whether an audit event is an operation that changes something on the disk."""
    if event == "open":
        flags = args[2] if isinstance(args[2], int) else 0
        return bool(flags & (os.O_WRONLY | os.O_RDWR)) and not str(args[0]).endswith((".pyc", "lock"))
    return event in EVENTS


def main() -> None:
    """Publish in this process alone, so that every operation is counted."""
    archive, fault, number = Path(sys.argv[1]), sys.argv[2], int(sys.argv[3])

    from builder.publish import workers
    from builder.publish.errors import PublishError
    from builder.publish.pipeline import publish

    workers._available_cpus = lambda: 1
    count = 0

    def fail_at_number(event: str, args: tuple[Any, ...]) -> None:
        nonlocal count
        if not writes(event, args):
            return
        count += 1
        if not number or count < number:
            return
        if fault != "kill" and event not in REMOVALS:  # and from then on: a full disk stays full
            raise OSError(ERROR_NUMBERS[fault], os.strerror(ERROR_NUMBERS[fault]), str(args[0]))
        if fault == "kill" and count == number:
            os.kill(os.getpid(), signal.SIGKILL)

    sys.addaudithook(fail_at_number)
    try:
        publish(archive, archive / "site")
    except PublishError as problem:
        sys.exit(f"Error: {problem}")
    sys.stdout.write(f"{count}\n")


if __name__ == "__main__":
    main()
