"""Walk over everything a part of the record holds, with the notes of each field."""

from __future__ import annotations

import types
import typing
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from typing import Any

from pydantic.fields import FieldInfo

from builder.record.models.fields import Notes, RecordModel, notes_of, title_of
from builder.record.yaml_loader import Location


@dataclass(frozen=True, slots=True)
class FieldValue:
    """One value that the record holds, its location, and the notes and title of its field."""

    location: Location
    value: Any
    notes: Notes
    title: str


def field_values(model: RecordModel, prefix: Location = ()) -> Iterator[FieldValue]:
    """Yield every value below a model that was given, outermost first; models inside lists included."""
    for name, info in type(model).model_fields.items():
        value = getattr(model, name)
        if value is None:
            continue
        location = (*prefix, name)
        yield FieldValue(location, value, notes_of(info), title_of(name, info))
        if isinstance(value, RecordModel):
            yield from field_values(value, location)
        elif isinstance(value, tuple):
            for index, item in enumerate(value):
                if isinstance(item, RecordModel):
                    yield from field_values(item, (*location, index))


def models_in(annotation: Any) -> tuple[type[RecordModel], ...]:
    """Return the record models that a field's annotation mentions."""
    if isinstance(annotation, type) and issubclass(annotation, RecordModel):
        return (annotation,)
    if typing.get_origin(annotation) in (typing.Union, types.UnionType, tuple, list, dict, typing.Annotated):
        return tuple(model for inner in typing.get_args(annotation) for model in models_in(inner))
    return ()


@cache
def field_paths(model: type[RecordModel]) -> tuple[str, ...]:
    """Return the dotted path of every field below a model, in the order of the work; lists add no step."""
    paths: list[str] = []
    for name, info in model.model_fields.items():
        paths.append(name)
        paths += [f"{name}.{path}" for inner in models_in(info.annotation) for path in field_paths(inner)]
    return tuple(paths)


def field_at(root: type[RecordModel], location: Location) -> FieldInfo | None:
    """Return the innermost field at a location below a root model, or None where there is none."""
    model, field = root, None
    for step in location:
        if isinstance(step, int) or step not in model.model_fields:
            continue
        field = model.model_fields[step]
        inner = models_in(field.annotation)
        if not inner:
            return field
        model = inner[0]
    return field


def model_at(root: type[RecordModel], location: Location) -> type[RecordModel]:
    """Return the model that has the fields at a location below a root model, or the nearest one around it."""
    model = root
    for step in location:
        if isinstance(step, int) or step not in model.model_fields:
            continue
        inner = models_in(model.model_fields[step].annotation)
        if not inner:
            return model
        model = inner[0]
    return model
