"""The names of fields as the trade uses them: where it has two for one thing, either is read.

A document is given the record's own names once, after it was read, so that everything behind it knows one name.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import cache
from typing import Any

from builder.record.models.fields import RecordModel, notes_of
from builder.record.problem import Problem
from builder.record.traversal import models_in
from builder.record.yaml_loader import Document, Location

# Words inside a name that the trade writes in two ways: the other one, and the record's own.
_WORDS = (
    ("end_float", "end_play"),
    ("running_in", "break_in"),
    ("gudgeon_pin", "wrist_pin"),
    ("inlet", "intake"),
    ("centreline", "centerline"),
    ("centre", "center"),
    ("vapour", "vapor"),
    ("colour", "color"),
    ("aluminium", "aluminum"),
    ("carburettor", "carburetor"),
    ("silencer", "muffler"),
    ("catalogue", "catalog"),
)


def common_form(name: str) -> str:
    """Return a name without capitals, blanks and hyphens, and with one word for what the trade calls by two."""
    plain = re.sub(r"[\s_-]+", "_", name.strip().lower())
    for other, own in _WORDS:
        plain = plain.replace(other, own)
    return plain


def other_names(name: str, also: tuple[str, ...]) -> tuple[str, ...]:
    """Return the other names of a field: those it was declared with, and those with the other word for a term."""
    names = [*also]
    for own_name in (name, *also):
        names += [own_name.replace(own, other) for other, own in _WORDS if own in own_name]
    return tuple(dict.fromkeys(other for other in names if other != name))


@cache
def names_in(model: type[RecordModel]) -> Mapping[str, str]:
    """Return the fields of a model by the common form of every name that they are known by."""
    names = {common_form(other): name for name, info in model.model_fields.items() for other in notes_of(info).also}
    return names | {common_form(name): name for name in model.model_fields}


def with_field_names(document: Document, model: type[RecordModel]) -> tuple[Document, list[Problem]]:
    """Return a document with the record's own name for every field, and a problem for each that is given twice."""
    renaming = _Renaming(document)
    value = renaming.renamed(document.value, model, (), ())
    return Document(document.path, value, renaming.lines, renaming.written), renaming.problems


class _Renaming:
    """Collects the lines and the written names of a document while its fields are given their own names."""

    def __init__(self, document: Document) -> None:
        self.document = document
        self.lines: dict[Location, int] = {}
        self.written: dict[Location, str] = {}
        self.problems: list[Problem] = []

    def renamed(self, value: Any, model: type[RecordModel] | None, written: Location, location: Location) -> Any:
        """Return a value with the fields below it renamed; ``model`` is None where the names are the shop's own."""
        if written in self.document.lines:
            self.lines[location] = self.document.lines[written]
        if isinstance(value, list):
            return [
                self.renamed(inner, model, (*written, index), (*location, index)) for index, inner in enumerate(value)
            ]
        if not isinstance(value, dict):
            return value
        result: dict[str, Any] = {}
        for key, inner in value.items():
            name = key if model is None or key in model.model_fields else names_in(model).get(common_form(key), key)
            if name in result:
                self._given_twice(key, self.written.get((*location, name), name), (*written, key))
                continue
            if name != key:
                self.written[(*location, name)] = key
            info = model.model_fields.get(name) if model else None
            inner_models = models_in(info.annotation) if info else ()
            result[name] = self.renamed(
                inner, inner_models[0] if inner_models else None, (*written, key), (*location, name)
            )
        return result

    def _given_twice(self, second: str, first: str, written: Location) -> None:
        message = f"{second} and {first} are two names for the same field: keep one of them"
        self.problems.append(Problem(self.document.path, self.document.line(written), message))
