"""Drawings to be made elsewhere: noted where they are asked for, so that another process can make them.

A drawing needs nothing but the plain values it is made of, which are small to send. Asked for once more where those
that were made stand (see picture.py), it is there.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from typing import Any

from builder.draw.canvas import Drawing


@dataclass(frozen=True)
class ChartRequest:
    """What draws, and what of."""

    draw: Callable[..., Drawing]
    values: tuple[Any, ...]
    more: Mapping[str, Any]


def drawn(wanted: Sequence[ChartRequest]) -> tuple[str, ...]:
    """The SVG of these drawings, made now."""
    return tuple(each.draw(*each.values, **each.more).svg for each in wanted)


_NOTED: ContextVar[list[ChartRequest] | None] = ContextVar("noted", default=None)


@contextmanager
def collect_requests() -> Iterator[list[ChartRequest]]:
    """Within the block nothing is drawn: what is asked for and does not stand is added to the list, and an empty
    drawing returned.
    """
    wanted: list[ChartRequest] = []
    before = _NOTED.set(wanted)
    try:
        yield wanted
    finally:
        _NOTED.reset(before)


def placeholder(draw: Callable[..., Drawing], values: tuple[Any, ...], more: Mapping[str, Any]) -> Drawing | None:
    """What stands in the place of a drawing while they are only noted, else None."""
    wanted = _NOTED.get()
    if wanted is None:
        return None
    wanted.append(ChartRequest(draw, values, more))
    return Drawing(f"noted-{len(wanted)}", "", "", "", 1, 1)
