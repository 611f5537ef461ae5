"""Taking private values out of a build before anything is made from it.

What is private is declared at the field, in the model. A page, a drawing or a data file is made from a
build that has been through here, so that no template can leak what it was never given.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Collection
from typing import Any

from builder.record.models.build import DOCUMENTS, Build
from builder.record.models.fields import RecordModel, notes_of
from builder.record.traversal import models_in


def without_private(build: Build, keep: Collection[str] = ()) -> Build:
    """The build without its private fields.

    ``keep`` names customer fields of build.yaml, such as `customer.name`, that stay; fields for the shop
    alone are always removed. The source documents keep their lines and lose their values.
    """
    kept = {f"build.{name}" for name in keep}
    changes: dict[str, Any] = {
        name: _stripped(part, name, kept) for name in DOCUMENTS if (part := getattr(build, name)) is not None
    }
    documents = {name: dataclasses.replace(document, value=None) for name, document in build.documents.items()}
    return dataclasses.replace(build, documents=documents, **changes)


def _stripped(model: RecordModel, path: str, kept: Collection[str]) -> RecordModel:
    changes: dict[str, Any] = {}
    for name, info in type(model).model_fields.items():
        value = getattr(model, name)
        where = f"{path}.{name}"
        private = notes_of(info).private
        if private == "shop" or (private == "customer" and where not in kept):
            changes[name] = None
        elif isinstance(value, RecordModel):
            changes[name] = _stripped(value, where, kept)
        elif isinstance(value, tuple) and any(isinstance(item, RecordModel) for item in value):
            changes[name] = tuple(
                _stripped(item, where, kept) if isinstance(item, RecordModel) else item for item in value
            )
    return model.model_copy(update=changes)


def private_fields(model: type[RecordModel], at: str = "") -> dict[str, str]:
    """Every private field below a model, as `dotted.path` -> who may see it."""
    found: dict[str, str] = {}
    for name, info in model.model_fields.items():
        where = f"{at}.{name}" if at else name
        if private := notes_of(info).private:
            found[where] = private
        for inner in models_in(info.annotation):
            found |= private_fields(inner, where)
    return found
