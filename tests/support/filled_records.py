"""A build with a value in every field of every model, with a canary in the private ones."""

from __future__ import annotations

import datetime
import types
import typing
from pathlib import Path
from typing import Any

from builder.record.models.build import DOCUMENTS, Build
from builder.record.models.fields import RecordModel, notes_of
from builder.record.quantities.readings import Reading
from builder.record.quantities.units import DIMENSIONS, NUMBER, Quantity, parse_quantity, parse_range
from builder.record.schema_shape import shape_of

CANARY = "CANARY"


def _value(path: str, info: Any, private: str | None) -> Any:
    shape, private = shape_of(info), notes_of(info).private or private
    mark = f"{CANARY}-{private}-{path}" if private else "public"
    dimension = shape.dimension or "length"
    example = "1.5" if dimension == NUMBER else DIMENSIONS[dimension].example
    match shape.kind:
        case "section":
            assert shape.model is not None
            return filled_model(shape.model, path, private)
        case "entries":
            assert shape.model is not None
            return tuple(filled_model(shape.model, f"{path}.{index}", private) for index in range(2))
        case "list":
            return (mark, mark)
        case "map":
            return _map_of(info.annotation, mark)
        case "choice":
            return shape.choices[0]
        case "reading":
            quantity = parse_quantity(example, dimension)
            return Reading(dimension, quantity, (quantity,), note=mark)
        case "quantity":
            quantity = parse_quantity(example, dimension)
            return Quantity(quantity.si, quantity.number, mark if private else quantity.unit, dimension)
        case "range":
            number, _, unit = example.partition(" ")
            return parse_range(f"{number}..{number} {unit}", dimension)
        case "number":
            return 1.5
        case "count":
            return 4
        case "day":
            return datetime.date(2024, 1, 2)
        case _:
            return mark


def _map_of(annotation: Any, mark: str) -> Any:
    """Return a mark, within as many maps as an annotation has one inside the other."""
    origin, args = typing.get_origin(annotation), typing.get_args(annotation)
    if origin in (typing.Annotated, typing.Union, types.UnionType):
        return _map_of(args[0], mark)
    return {mark: _map_of(args[1], mark)} if origin is dict else mark


def filled_model(model: type[RecordModel], path: str, private: str | None = None) -> RecordModel:
    """Return a model with a value in every field, without the validators, which forbid some of them together.

    ``private`` is who alone may see the field that holds it.
    """
    values = {name: _value(f"{path}.{name}", info, private) for name, info in model.model_fields.items()}
    return model.model_construct(**values)


def filled_build(folder: Path) -> Build:
    """Return a build with every field of every document filled in."""
    parts: dict[str, Any] = {name: filled_model(model, name) for name, model in DOCUMENTS.items()}
    return Build("filled", folder, **parts)
