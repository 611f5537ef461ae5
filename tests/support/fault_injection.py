"""Publish in another process, and let a file operation fail there.

At the file operation of a given number (opening to write, renaming, linking, removing, creating a directory) the
process is killed, or the system refuses: the disk is full, or writing is not allowed.

The processes are forked from one that has loaded the program, since loading it takes longer than a small publish.
"""

from __future__ import annotations

import contextlib
import errno
import multiprocessing
import os
import signal
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import Any, Literal
from unittest import mock

Fault = Literal["none", "kill", "full", "closed"]
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
ROOT = Path(__file__).resolve().parents[2]
_LOADED = (
    __name__, "builder.publish.pipeline", "builder.publish.pages.write", "builder.publish.pages.build.worker",
    "builder.draw.svg_backend", "builder.draw.charts.scatter", "builder.publish.social_card", "mkdocs.commands.build",
    "mkdocs.contrib.search", "material.plugins.search.plugin", "pymdownx.superfences", "pygments.lexers",
)  # fmt: skip
"""Modules with which the process starts from which the others are forked; not one of them starts a thread."""


@dataclass(frozen=True)
class Ended:
    """How a process ended: its exit status, negative where it was killed, and what it had to say."""

    status: int
    operations: int
    """How many file operations a publish that ended well took."""
    message: str
    """Why the publish was given up."""


def writes(event: str, args: tuple[Any, ...]) -> bool:
    """Return whether an audit event is an operation that changes something on the disk."""
    if event == "open":
        flags = args[2] if isinstance(args[2], int) else 0
        return bool(flags & (os.O_WRONLY | os.O_RDWR)) and not str(args[0]).endswith((".pyc", "lock"))
    return event in EVENTS


def start_forked(target: Callable[..., None], *arguments: object) -> BaseProcess:
    """Return a process that calls a function of a module with these arguments."""
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(list(_LOADED))
    child = context.Process(target=target, args=arguments)
    with mock.patch.dict(os.environ, PYTHONPATH=str(ROOT)):  # where the process to fork from finds the modules
        child.start()
    return child


def run_command(arguments: Sequence[str], errors: Path) -> None:
    """Run the command line in this process alone, with its messages in a file."""
    from builder.cli import main
    from builder.publish import workers

    workers._available_cpus = lambda: 1
    with errors.open("w", encoding="utf-8") as file, contextlib.redirect_stderr(file):
        main(list(arguments))


def publish_with_fault(archive: Path, fault: Fault = "none", number: int = 0) -> Ended:
    """Publish an archive in another process, with a fault at the file operation of that number."""
    receiver, sender = multiprocessing.Pipe(duplex=False)
    child = start_forked(_publish, sender, archive, fault, number)
    sender.close()
    child.join(300)
    assert child.exitcode is not None, "the publish hangs"
    try:
        operations, message = receiver.recv()
    except EOFError:
        operations, message = 0, ""
    return Ended(child.exitcode, operations, message)


def _publish(sender: Connection, archive: Path, fault: Fault, number: int) -> None:
    """Publish in this process alone, so that every operation is counted, and send the count and the message."""
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
        if fault == "none" or count < number:
            return
        if fault != "kill" and event not in REMOVALS:  # and from then on: a full disk stays full
            raise OSError(ERROR_NUMBERS[fault], os.strerror(ERROR_NUMBERS[fault]), str(args[0]))
        if fault == "kill" and count == number:
            os.kill(os.getpid(), signal.SIGKILL)

    sys.addaudithook(fail_at_number)
    try:
        publish(archive, archive / "site")
    except PublishError as problem:
        sender.send((count, f"Error: {problem}"))
        sys.exit(1)
    sender.send((count, ""))
