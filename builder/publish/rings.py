"""How often our processes look for rings: objects that hold each other and that nobody else holds."""

from __future__ import annotations

import atexit
import contextlib
import gc
from collections.abc import Iterator


@contextlib.contextmanager
def seldom_looked_for() -> Iterator[None]:
    """Look for rings only now and then while the block runs.

    Where few builds or packs are made, nearly all that is made lasts: looking through it as often as Python does
    finds next to nothing and takes a twentieth of the time. Where many are made, what is found soon saves memory.
    """
    before = gc.get_threshold()
    gc.set_threshold(50_000, 20, 100)
    try:
        yield
    finally:
        gc.set_threshold(*before)


def not_looked_for_at_the_end() -> None:
    """Let this process end without a last look, which takes up to 0.2 s: all of it goes anyway."""
    atexit.register(gc.freeze)
