"""What every drawing is made with, and made only when it must be.

A drawing depends on nothing but the values it is given, and carries a digest of them. Where one made of the
same values stands already, it is taken as it is: matplotlib need not even be loaded.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import is_dataclass, replace
from functools import wraps
from html import unescape
from typing import Any, ParamSpec

import numpy as np

from builder.draw.canvas import Drawing, rc_settings
from builder.draw.later import placeholder

P = ParamSpec("P")

_STANDING: ContextVar[Mapping[str, str]] = ContextVar("standing")
_DRAWN = re.compile(r"<svg [^>]*?data-of=\"(?P<of>[0-9a-f]+)\".*?</svg>\n?", re.DOTALL)
_PARTS = re.compile(
    r"<svg [^>]*?id=\"(?P<name>[^\"]*)\" role=\"\w+\" width=\"(?P<width>[\d.]+)\" height=\"(?P<height>[\d.]+)\"[^>]*>"
    r"<title[^>]*>(?P<title>[^<]*)</title><desc[^>]*>(?P<desc>[^<]*)</desc>"
)


@contextmanager
def reuse(texts: Iterable[str]) -> Iterator[None]:
    """Within the block, a drawing that is found in `texts` (SVG, or pages with SVG in them) is not made again.

    Only for texts that this program wrote, with the same libraries, and nobody touched since.
    """
    before = _STANDING.set({found["of"]: found[0] for text in texts for found in _DRAWN.finditer(text)})
    try:
        yield
    finally:
        _STANDING.reset(before)


def cached_chart(draw: Callable[P, Drawing]) -> Callable[P, Drawing]:
    """Make a function one that draws: with matplotlib set as ours are, and only what does not stand already."""

    @wraps(draw)
    def drawing(*values: P.args, **more: P.kwargs) -> Drawing:
        of = hash_values(f"{draw.__module__}.{draw.__qualname__}", values, dict(sorted(more.items())))
        if (svg := _STANDING.get({}).get(of)) is not None and (parts := _PARTS.match(svg)):
            size = round(float(parts["width"])), round(float(parts["height"]))
            return Drawing(parts["name"], svg, unescape(parts["title"]), unescape(parts["desc"]), *size)
        if (noted := placeholder(drawing, values, more)) is not None:
            return noted
        with rc_settings():
            made = draw(*values, **more)
        return replace(made, svg=made.svg.replace("<svg ", f'<svg data-of="{of}" ', 1))

    return drawing


def hash_values(*values: Any) -> str:
    """A digest of plain values: numbers, texts, arrays, and tuples and dataclasses of such.

    Raises TypeError for any other.
    """
    said: list[bytes] = []
    _say(values, said)
    whole = hashlib.sha256()
    for part in said:
        whole.update(len(part).to_bytes(8, "big") + part)
    return whole.hexdigest()[:32]


def _say(value: Any, said: list[bytes]) -> None:
    """Put down a value as a row of bytes that no other value has."""
    kind = type(value)
    said.append(kind.__name__.encode())
    if isinstance(value, str):
        said.append(value.encode("utf-8", "surrogatepass"))
    elif value is None or isinstance(value, int | float | np.generic):
        said.append(repr(value).encode())
    elif isinstance(value, np.ndarray):
        said += (str(value.dtype).encode(), repr(value.shape).encode(), value.tobytes())
    else:
        inner = _inside(value)
        said.append(str(len(inner)).encode())
        for each in inner:
            _say(each, said)


def _inside(value: Any) -> Sequence[Any]:
    if isinstance(value, list | tuple):
        return value
    if isinstance(value, dict):
        return [part for pair in value.items() for part in pair]
    if is_dataclass(value):
        return [getattr(value, name) for name in value.__dataclass_fields__]
    raise TypeError(f"a drawing is made of plain values, not of {type(value).__name__}")
