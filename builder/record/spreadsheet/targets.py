"""Where a column goes: the path of a field, with the entry of a list or the position of a reading in brackets.

`number` and `engine.cylinders` are in build.yaml; `bottom_end.block.bores` are bores; `bottom_end.block.bores[2]` is
the bore of cylinder 2; `bottom_end.block.deck_height.measured` is what was measured, next to what is listed;
`parts.parts[pistons].maker` and `cam.card.intake.durations[0.050 in].duration` name the entry of a list.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

from builder.record.field_names import common_form, names_in
from builder.record.models.build import DOCUMENTS
from builder.record.models.build_yaml import BuildSheet
from builder.record.models.fields import Notes, RecordModel, notes_of
from builder.record.problem import did_you_mean
from builder.record.quantities.units import NUMBER, UnitProblem, check_unit
from builder.record.schema_shape import Shape, shape_of

READING_KEYS = ("listed", "measured", "repeats", "allowed", "at_least", "at_most", "resolution", "rule", "by", "note")
_TEXT_KEYS = ("rule", "by", "note")
_STEP = re.compile(r"([A-Za-z_][A-Za-z0-9_ -]*)(?:\[([^\[\]]+)\])?")
_WORDS_ALONE = {"fuel": "kind", "goals": "text"}
"""Sections that are written as words alone, and the field that the words are."""

ValueKind = Literal["quantity", "range", "choice", "number", "count", "day", "text", "list"]


@dataclass(frozen=True, slots=True)
class FieldTarget:
    """A field of the record.

    ``steps`` lead to it from its document, each a name and, for a list of entries, the key of the entry.
    ``reading_key`` and ``position`` (counted from 1) name one part of a reading.
    """

    document: str
    steps: tuple[tuple[str, str], ...]
    kind: ValueKind
    notes: Notes
    shape: Shape
    reading_key: str = ""
    position: int = 0

    @property
    def field(self) -> str:
        """The path of the field, without the part of its reading."""
        path = ".".join(f"{name}[{key}]" if key else name for name, key in self.steps)
        return path if self.document == "build" else f"{self.document}.{path}"

    @property
    def path(self) -> str:
        """The path as it is written in a map."""
        key = f".{self.reading_key}" if self.reading_key else ""
        return f"{self.field}{key}{f'[{self.position}]' if self.position else ''}"

    @property
    def dimension(self) -> str | None:
        """The dimension of a quantity or range; None where its unit says which."""
        return NUMBER if self.kind == "number" else self.shape.dimension

    @property
    def takes_unit(self) -> bool:
        """Whether its values have a unit."""
        return self.kind in ("quantity", "range") and self.dimension != NUMBER

    def unit_problem(self, unit: str) -> str:
        """Return what is wrong with a unit for this field; nothing where it fits, or where the field is a text."""
        if self.kind == "text":
            return ""
        if not self.takes_unit:
            return "the field is a plain number or a word: leave the unit out"
        try:
            check_unit(unit, self.dimension)
        except UnitProblem as problem:
            return str(problem)
        return ""


def parse_target(path: str) -> FieldTarget | str:
    """Return the field at a path of a map, or what is wrong with the path."""
    steps = _steps(path)
    if steps is None:
        return f"{path[:60]!r} is not the path of a field: write e.g. bottom_end.crankshaft.stroke"
    (first, key), *rest = steps
    document = common_form(first)
    model: type[RecordModel] = DOCUMENTS.get(document, BuildSheet)
    if document not in DOCUMENTS or key or not rest:
        document, model, rest = "build", BuildSheet, steps
    return _resolve(document, model, rest)


def _steps(path: str) -> list[tuple[str, str]] | None:
    steps = []
    at = 0
    text = path.strip()
    while match := _STEP.match(text, at):
        steps.append((match[1].strip(), (match[2] or "").strip()))
        at = match.end()
        if at == len(text):
            return steps
        if text[at] != ".":
            return None
        at += 1
    return None


def _resolve(document: str, model: type[RecordModel], steps: list[tuple[str, str]]) -> FieldTarget | str:
    done: list[tuple[str, str]] = []
    while steps:
        (given, key), steps = steps[0], steps[1:]
        name = given if given in model.model_fields else names_in(model).get(common_form(given), "")
        if not name:
            hint = did_you_mean(given, model.model_fields, f"known here are {', '.join(list(model.model_fields)[:12])}")
            return f"there is no field {given[:60]!r} {f'in {done[-1][0]}' if done else f'in {document}.yaml'}: {hint}"
        info = model.model_fields[name]
        shape = shape_of(info)
        if shape.kind in ("section", "entries"):
            assert shape.model is not None
            model = shape.model
            if problem := _entry_problem(name, key, shape):
                return problem
            done.append((name, key))
            if not steps:
                if name not in _WORDS_ALONE or key:
                    example = f"{name}{f'[{key}]' if key else ''}.{next(iter(model.model_fields))}"
                    return f"{name} has fields of its own: name one of them, e.g. {example}"
                steps = [(_WORDS_ALONE[name], "")]
            continue
        return _leaf(document, done, name, key, steps, notes_of(info), shape)
    return "names no field"


def _entry_problem(name: str, key: str, shape: Shape) -> str:
    if shape.kind == "section" and key:
        return f"{name} is no list: leave out [{key}]"
    if shape.kind == "entries" and not key:
        assert shape.model is not None
        example = notes_of(next(iter(shape.model.model_fields.values()))).example or "first"
        return f"{name} is a list: say which entry, e.g. {name}[{example}].{list(shape.model.model_fields)[-1]}"
    return ""


_KINDS: dict[str, ValueKind] = {
    "reading": "quantity", "quantity": "quantity", "range": "range", "choice": "choice", "number": "number",
    "count": "count", "day": "day", "text": "text", "prose": "text", "list": "list", "map": "text",
}  # fmt: skip


def _leaf(
    document: str, done: list[tuple[str, str]], name: str, key: str, rest: list[tuple[str, str]], notes: Notes,
    shape: Shape,
) -> FieldTarget | str:  # fmt: skip
    kind = _KINDS[shape.kind]
    if shape.kind == "map":
        if rest or not key:
            return f"{name} is a set of pairs: say which, e.g. {name}[power]"
        return FieldTarget(document, (*done, (name, key)), kind, notes, shape)
    reading_key = ""
    if rest and shape.kind == "reading" and len(rest) == 1:
        (reading_key, inner_key), rest = rest[0], []
        if reading_key not in READING_KEYS:
            hint = did_you_mean(reading_key, READING_KEYS, f"known are {', '.join(READING_KEYS)}")
            return f"{reading_key[:60]!r} is no part of a reading: {hint}"
        key = key or inner_key
    if rest:
        return f"{name} has no fields of its own: leave out what follows it"
    if key and not (shape.kind == "reading" and key.isdecimal() and 1 <= int(key) <= 48):
        return f"[{key}] is not a position of {name}: write a number from 1, and only for a reading"
    if key and reading_key not in ("", "measured"):
        return f"{reading_key} is one value: leave out [{key}]"
    if reading_key in _TEXT_KEYS:
        kind = "text"
    elif reading_key == "allowed":
        kind = "range"
    position = int(key) if key else 0
    if position:
        reading_key = "measured"
    return FieldTarget(document, (*done, (name, "")), kind, notes, shape, reading_key, position)
