"""Build the field reference from the models: what every field means, how it is written, who may see it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from builder.record.field_names import other_names
from builder.record.models.build import DOCUMENTS
from builder.record.models.fields import Notes, Privacy, RecordModel, notes_of
from builder.record.models.shop import Shop
from builder.record.quantities.units import DIMENSIONS
from builder.record.schema_shape import Shape, shape_of


@dataclass(frozen=True, slots=True)
class FieldRow:
    """One field of the record.

    ``path`` is dotted below the document, with ``[]`` after the name of a list of entries; ``private`` says who alone
    may see the field. ``also`` are the other names that the field is read under, ``synonyms`` the other words for each
    choice.
    """

    path: str
    meaning: str
    notation: str
    example: str
    private: Privacy | None
    also: tuple[str, ...] = ()
    synonyms: tuple[tuple[str, tuple[str, ...]], ...] = ()


@dataclass(frozen=True, slots=True)
class UnitRow:
    """A kind of quantity and its units, each with every name that it is read under."""

    dimension: str
    units: tuple[tuple[str, ...], ...]


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


def unit_reference() -> tuple[UnitRow, ...]:
    """Return every unit that a value may be written in, by the kind of quantity."""
    return tuple(
        UnitRow(name, tuple(unit.names for unit in dict.fromkeys(dimension.units.values())))
        for name, dimension in DIMENSIONS.items()
    )


def _notation(notes: Notes, shape: Shape) -> str:
    """Return how a value is written, with the units that the trade uses for the field where it has its own."""
    notation = shape.notation
    if notes.units:
        notation = f"{shape.dimension or 'a value'} in {' or '.join(notes.units)}"
    return f"{notation}; a plain value was measured" if notes.measured else notation


def _rows(model: type[RecordModel], prefix: str = "") -> Iterator[FieldRow]:
    for name, info in model.model_fields.items():
        notes, shape = notes_of(info), shape_of(info)
        path = f"{prefix}{name}{'[]' if shape.kind == 'entries' else ''}"
        synonyms = tuple((choice, shape.synonyms.get(choice, ())) for choice in shape.choices if shape.kind == "choice")
        yield FieldRow(
            path,
            notes.description,
            "one of" if synonyms else _notation(notes, shape),
            notes.example,
            notes.private,
            other_names(name, notes.also),
            synonyms,
        )
        if shape.model is not None:
            yield from _rows(shape.model, f"{path}.")
