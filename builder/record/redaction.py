"""Remove private values from a build before anything is rendered from it.

What is private is declared at the field, in the model. Pages, charts and data files are rendered from a redacted
build, so that no template can leak what it was never given.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Collection
from functools import cache
from typing import Any

from builder.record.models.build import DOCUMENTS, Build
from builder.record.models.fields import RecordModel, notes_of
from builder.record.traversal import models_in
from builder.record.yaml_loader import Document, Location


def without_private(build: Build, customer_fields: Collection[str] = ()) -> Build:
    """Return the build without its private fields.

    ``customer_fields`` names those that stay, as `allowed_paths` reads them; fields for the shop alone are always
    removed. The source documents keep their lines and lose their values.
    """
    allowed = allowed_paths(customer_fields)
    changes: dict[str, Any] = {
        name: _redacted(part, name, allowed) for name in DOCUMENTS if (part := getattr(build, name)) is not None
    }
    documents = {name: _without_values(document, name) for name, document in build.documents.items()}
    return dataclasses.replace(build, documents=documents, **changes)


def _without_values(document: Document, name: str) -> Document:
    """Return a document with its lines alone, without those of names that a private field holds."""
    private = [tuple(path.split(".")) for path in _private_fields_of(name)]

    def is_shown(location: Location) -> bool:
        steps = tuple(step for step in location if isinstance(step, str))
        return not any(len(steps) > len(path) and steps[: len(path)] == path for path in private)

    lines = {location: line for location, line in document.lines.items() if is_shown(location)}
    return dataclasses.replace(document, value=None, lines=lines)


@cache
def _private_fields_of(name: str) -> tuple[str, ...]:
    model = DOCUMENTS.get(name)
    return tuple(private_fields(model)) if model else ()


def allowed_paths(names: Collection[str]) -> frozenset[str]:
    """Return the full paths of the fields that `handover_holds` names: file.section.field, or a path in build.yaml."""
    return frozenset((*names, *(f"build.{name}" for name in names)))


def is_removed(private: str | None, path: str, allowed: Collection[str]) -> bool:
    """Return whether a field at a full path has to go, by what its model says of its privacy."""
    return private == "shop" or (private == "customer" and path not in allowed)


def _redacted(model: RecordModel, path: str, allowed: Collection[str]) -> RecordModel:
    changes: dict[str, Any] = {}
    for name, info in type(model).model_fields.items():
        value = getattr(model, name)
        field_path = f"{path}.{name}"
        notes = notes_of(info)
        if is_removed(notes.private, field_path, allowed):
            changes[name] = None
            if notes.public_where:
                decisive, choice = notes.public_where
                changes[name] = tuple(entry for entry in value if getattr(entry, decisive) == choice)
        elif isinstance(value, RecordModel):
            changes[name] = _redacted(value, field_path, allowed)
        elif isinstance(value, tuple) and any(isinstance(item, RecordModel) for item in value):
            changes[name] = tuple(
                _redacted(item, field_path, allowed) if isinstance(item, RecordModel) else item for item in value
            )
    return model.model_copy(update=changes)


def private_fields(model: type[RecordModel], prefix: str = "") -> dict[str, str]:
    """Return who may see each private field below a model, by its dotted path."""
    fields: dict[str, str] = {}
    for name, info in model.model_fields.items():
        path = f"{prefix}.{name}" if prefix else name
        if private := notes_of(info).private:
            fields[path] = private
        for inner in models_in(info.annotation):
            fields |= private_fields(inner, path)
    return fields
