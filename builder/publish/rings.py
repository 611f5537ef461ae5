"""How often our processes look for rings: objects that hold each other and that nobody else holds."""

from __future__ import annotations

import atexit
import gc


def look_seldom() -> None:
    """Look through what is held only now and then, and not at the end, when all of it goes anyway.

    What a publish makes is many and lasts: looking through it as often as Python does finds next to nothing, and
    takes a tenth of the time of a publish of one changed record, looking at the end as much again.
    """
    gc.set_threshold(50_000, 20, 100)
    atexit.register(gc.freeze)
