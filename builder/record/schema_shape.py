"""Tell from a field's annotation what it holds and how it is written."""

from __future__ import annotations

import datetime
import types
import typing
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from pydantic import StringConstraints
from pydantic.fields import FieldInfo

from builder.record.models.choices import Synonyms
from builder.record.models.dyno import ByChannel
from builder.record.models.fields import RecordModel
from builder.record.quantities.pydantic_types import QuantityOf, RangeOf, ReadingOf, units_of
from builder.record.quantities.units import NUMBER

ShapeKind = Literal[
    "section", "entries", "list", "map", "choice", "reading", "quantity", "range",
    "number", "count", "day", "text", "prose",
]  # fmt: skip

_NOTATIONS: dict[str, str] = {
    "section": "entries of its own, indented below it",
    "entries": "a list, each entry starting with '- '",
    "list": "a list of short texts",
    "map": "pairs, {{name: value}}",
    "map of channels": "pairs, {{channel: value}}; the channels are {choices}",
    "choice": "one of: {choices}",
    "reading": "{units}",
    "quantity": "one value: {units}",
    "range": "least..most: {units}",
    "number": "{units}",
    "count": "a whole number",
    "day": "year-month-day",
    "text": "a few words",
    "prose": "sentences",
}

_MAX_LINE_LENGTH = 400


@dataclass(frozen=True, slots=True)
class Shape:
    """What a field holds.

    ``model`` belongs to a section, or to each entry of a list; ``dimension`` to a reading, quantity or range
    (None: the unit says which); ``choices`` are the words of a choice, ``synonyms`` the other words for each.
    """

    kind: ShapeKind
    dimension: str | None = None
    choices: tuple[str, ...] = ()
    synonyms: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    model: type[RecordModel] | None = None

    @property
    def notation(self) -> str:
        """How a value is written, in one line."""
        units = units_of(NUMBER if self.kind == "number" else self.dimension)
        if self.kind == "reading" and self.dimension == NUMBER:
            units = "a ratio: 1.6 or 1.6:1"
        notation = "map of channels" if self.kind == "map" and self.choices else self.kind
        return _NOTATIONS[notation].format(units=units, choices=_listed(self.choices))


def _listed(choices: tuple[str, ...]) -> str:
    """Return choices as a list, those of a numbered row as its first and last."""
    rows: dict[str, list[str]] = {}
    for choice in choices:
        stem = choice.rstrip("0123456789")
        rows.setdefault(stem if stem.endswith("_") else choice, []).append(choice)
    return ", ".join(f"{row[0]} to {row[-1]}" if len(row) > 2 else ", ".join(row) for row in rows.values())


def shape_of(info: FieldInfo) -> Shape:
    """Return the shape of a field."""
    return _shape(info.annotation, tuple(info.metadata))


def _shape(annotation: Any, notes: tuple[Any, ...]) -> Shape:
    origin, args = typing.get_origin(annotation), typing.get_args(annotation)
    if origin is typing.Annotated:
        return _shape(args[0], (*notes, *args[1:]))
    if origin in (typing.Union, types.UnionType):
        (only,) = (arg for arg in args if arg is not type(None))
        return _shape(only, notes)
    if origin is tuple:
        inner = _shape(args[0], ())
        return Shape("entries", model=inner.model) if inner.model else Shape("list")
    if origin is dict:
        channels = next((note.choices for note in notes if isinstance(note, ByChannel)), ())
        return Shape("map", choices=channels)
    if origin is Literal:
        synonyms = next((note.table for note in notes if isinstance(note, Synonyms)), {})
        return Shape("choice", choices=tuple(map(str, args)), synonyms=synonyms)
    for note in notes:
        if isinstance(note, ReadingOf):
            return Shape("reading", note.dimension)
        if isinstance(note, QuantityOf):
            return Shape("quantity", note.dimension)
        if isinstance(note, RangeOf):
            return Shape("range", note.dimension)
    return _plain(annotation, notes)


def _plain(annotation: Any, notes: tuple[Any, ...]) -> Shape:
    if isinstance(annotation, type) and issubclass(annotation, RecordModel):
        return Shape("section", model=annotation)
    if annotation is str:
        longest = max((note.max_length or 0 for note in notes if isinstance(note, StringConstraints)), default=0)
        return Shape("prose" if longest > _MAX_LINE_LENGTH else "text")
    kinds: dict[Any, ShapeKind] = {int: "count", float: "number", datetime.date: "day"}
    return Shape(kinds[annotation])
