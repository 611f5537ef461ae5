"""Build the field reference from the models: what every field means, how it is written, who may see it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from builder.record.models.build import DOCUMENTS
from builder.record.models.fields import Privacy, RecordModel, notes_of
from builder.record.models.shop import Shop
from builder.record.schema_shape import shape_of


@dataclass(frozen=True, slots=True)
class FieldRow:
    """One field of the record.

    ``path`` is dotted below the document, with ``[]`` after the name of a list of entries; ``private`` says who alone
    may see the field.
    """

    path: str
    meaning: str
    notation: str
    example: str
    private: Privacy | None


@dataclass(frozen=True, slots=True)
class DocumentReference:
    """One YAML file of the record and every field it may hold, in the order of the work."""

    name: str
    description: str
    rows: tuple[FieldRow, ...]


def document_models() -> dict[str, type[RecordModel]]:
    """Return the model of every YAML document that Millbook reads: those of a build, then the shop's."""
    return {**DOCUMENTS, "shop": Shop}


def document_description(model: type[RecordModel]) -> str:
    """Return what a document is, in a few words."""
    first = (model.__doc__ or "").strip().splitlines()[0]
    return first.split(":", 1)[-1].strip().rstrip(".")


def field_reference() -> tuple[DocumentReference, ...]:
    """Return the reference of every document, in the order of the work."""
    return tuple(
        DocumentReference(name, document_description(model), tuple(_rows(model)))
        for name, model in document_models().items()
    )


def _rows(model: type[RecordModel], prefix: str = "") -> Iterator[FieldRow]:
    for name, info in model.model_fields.items():
        notes, shape = notes_of(info), shape_of(info)
        path = f"{prefix}{name}{'[]' if shape.kind == 'entries' else ''}"
        yield FieldRow(path, notes.description, shape.notation, notes.example, notes.private)
        if shape.model is not None:
            yield from _rows(shape.model, f"{path}.")
