"""What is made once for all workers of a test run."""

from __future__ import annotations

import pickle
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

from builder.publish.deploy.lock import lock

R = TypeVar("R")


def once(shared: Path, name: str, make: Callable[[Path], R]) -> R:
    """Return what `make` returned for the folder of that name in the shared folder.

    The first worker that asks calls `make`; the others wait for it, and read the result from a file.
    """
    result = shared / f"{name}.result"
    with lock(shared / f"{name}.lock"):
        if not result.exists():
            result.write_bytes(pickle.dumps(make(shared / name)))
    made: R = pickle.loads(result.read_bytes())
    return made
