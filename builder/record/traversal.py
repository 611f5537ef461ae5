"""Walking over everything a part of the record holds, with the notes of each field."""

from __future__ import annotations

import types
import typing
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from builder.record.models.fields import Notes, RecordModel, notes_of, title_of

Location = tuple[str | int, ...]


@dataclass(frozen=True, slots=True)
class FieldValue:
    """One value that the record holds, where it stands and what its field says of itself."""

    location: Location
    value: Any
    notes: Notes
    title: str


def held(model: RecordModel, at: Location = ()) -> Iterator[FieldValue]:
    """Every value below a model that was given, outermost first; models inside lists included."""
    for name, info in type(model).model_fields.items():
        value = getattr(model, name)
        if value is None:
            continue
        where = (*at, name)
        yield FieldValue(where, value, notes_of(info), title_of(name, info))
        if isinstance(value, RecordModel):
            yield from held(value, where)
        elif isinstance(value, tuple):
            for index, item in enumerate(value):
                if isinstance(item, RecordModel):
                    yield from held(item, (*where, index))


def models_in(annotation: Any) -> tuple[type[RecordModel], ...]:
    """The record models that a field's annotation mentions."""
    if isinstance(annotation, type) and issubclass(annotation, RecordModel):
        return (annotation,)
    if typing.get_origin(annotation) in (typing.Union, types.UnionType, tuple, list, dict, typing.Annotated):
        return tuple(model for inner in typing.get_args(annotation) for model in models_in(inner))
    return ()


def fields_below(model: type[RecordModel], at: str = "") -> Iterator[str]:
    """The dotted path of every field below a model, in the order of the work; lists are passed through."""
    for name, info in model.model_fields.items():
        yield f"{at}{name}"
        for inner in models_in(info.annotation):
            yield from fields_below(inner, f"{at}{name}.")


def model_at(root: type[RecordModel], location: Location) -> type[RecordModel]:
    """The model whose fields stand at a location below a root model; the nearest one around it."""
    here = root
    for step in location:
        if isinstance(step, int) or step not in here.model_fields:
            continue
        inner = models_in(here.model_fields[step].annotation)
        if not inner:
            return here
        here = inner[0]
    return here
