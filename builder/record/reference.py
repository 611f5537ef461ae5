"""Build the field reference from the models: what every field means, how it is written, who may see it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from builder.record.models.build import DOCUMENTS
from builder.record.models.fields import Privacy, RecordModel, notes_of, title_of
from builder.record.models.shop import Shop
from builder.record.schema_shape import Kind, shape_of


@dataclass(frozen=True, slots=True)
class FieldRow:
    """One field of the record.

    ``path`` is dotted below the document, with ``[]`` after the name of a list of entries. ``positions`` names the
    positions of a list of readings ("cylinder"), ``plausible_range`` the range outside which the reader warns,
    ``private`` who alone may see it.
    """

    path: str
    name: str
    title: str
    depth: int
    kind: Kind
    meaning: str
    notation: str
    example: str
    required: bool
    positions: str | None
    plausible_range: tuple[str, str] | None
    private: Privacy | None
    alternative_to: str | None


@dataclass(frozen=True, slots=True)
class DocumentReference:
    """One YAML file of the record and every field it may hold, in the order of the work."""

    name: str
    file: str
    description: str
    required: bool
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
        DocumentReference(name, f"{name}.yaml", document_description(model), name == "build", tuple(_rows(model)))
        for name, model in document_models().items()
    )


def _rows(model: type[RecordModel], prefix: str = "", depth: int = 0) -> Iterator[FieldRow]:
    for name, info in model.model_fields.items():
        notes, shape = notes_of(info), shape_of(info)
        path = f"{prefix}{name}{'[]' if shape.kind == 'entries' else ''}"
        yield FieldRow(
            path=path,
            name=name,
            title=title_of(name, info),
            depth=depth,
            kind=shape.kind,
            meaning=notes.description,
            notation=shape.notation,
            example=notes.example,
            required=info.is_required(),
            positions=notes.axis,
            plausible_range=notes.plausible_range,
            private=notes.private,
            alternative_to=notes.alternative_to,
        )
        if shape.model is not None:
            yield from _rows(shape.model, f"{path}.", depth + 1)
