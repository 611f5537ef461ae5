"""The field reference, made from the models: what every field means, how it is written, who may see it."""

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

    ``path`` is dotted below the document, with ``[]`` behind the name of a list of entries. ``positions``
    names what a list of readings stands for ("cylinder"), ``likely`` the range outside which the reader
    warns, ``private`` who alone may see it.
    """

    path: str
    name: str
    title: str
    depth: int
    kind: Kind
    meaning: str
    written: str
    example: str
    required: bool
    positions: str | None
    likely: tuple[str, str] | None
    private: Privacy | None
    instead_of: str | None


@dataclass(frozen=True, slots=True)
class DocumentReference:
    """One YAML file of the record and every field it may hold, in the order of the work."""

    name: str
    file: str
    is_what: str
    required: bool
    rows: tuple[FieldRow, ...]


def documents() -> dict[str, type[RecordModel]]:
    """Every YAML document that Millbook reads: those of a build, then the shop's."""
    return {**DOCUMENTS, "shop": Shop}


def about(model: type[RecordModel]) -> str:
    """What a document is, in a few words."""
    first = (model.__doc__ or "").strip().splitlines()[0]
    return first.split(":", 1)[-1].strip().rstrip(".")


def field_reference() -> tuple[DocumentReference, ...]:
    """The reference of every document, in the order of the work."""
    return tuple(
        DocumentReference(name, f"{name}.yaml", about(model), name == "build", tuple(_rows(model)))
        for name, model in documents().items()
    )


def _rows(model: type[RecordModel], at: str = "", depth: int = 0) -> Iterator[FieldRow]:
    for name, info in model.model_fields.items():
        notes, shape = notes_of(info), shape_of(info)
        path = f"{at}{name}{'[]' if shape.kind == 'entries' else ''}"
        yield FieldRow(
            path=path,
            name=name,
            title=title_of(name, info),
            depth=depth,
            kind=shape.kind,
            meaning=notes.description,
            written=shape.written,
            example=notes.example,
            required=info.is_required(),
            positions=notes.axis,
            likely=notes.plausible_range,
            private=notes.private,
            instead_of=notes.alternative_to,
        )
        if shape.model is not None:
            yield from _rows(shape.model, f"{path}.", depth + 1)
