"""Validate a document against its model; turn pydantic's errors into problems with line and fix."""

from __future__ import annotations

from typing import Any

from pydantic import ValidationError

from builder.record.models.build import DOCUMENTS
from builder.record.models.fields import RecordModel, notes_of
from builder.record.problem import Problem, did_you_mean
from builder.record.schema_shape import shape_of
from builder.record.traversal import field_at, field_paths, model_at
from builder.record.usual_units import message_at_field
from builder.record.yaml_loader import Document, Location

MAX_LISTED = 50


def validate(document: Document, model: type[RecordModel]) -> tuple[RecordModel | None, list[Problem]]:
    """Return a document as its model, or None and what is wrong, each with its line."""
    if not isinstance(document.value, dict):
        message = "is empty" if document.value is None else f"holds {_kind_word(document.value)} and no names"
        first = next(iter(model.model_fields))
        return None, [Problem(document.path, document.line(()), f"{message}: write entries such as {first}: ...")]
    try:
        return model.model_validate(document.value), []
    except ValidationError as error:
        return None, _problems(error, document, model)


def _problems(error: ValidationError, document: Document, model: type[RecordModel]) -> list[Problem]:
    errors = error.errors(include_url=False)
    errors.sort(key=lambda details: document.line(_location(details)))
    problems = sorted({_problem(details, document, model) for details in errors[:MAX_LISTED]})
    if (more := len(errors) - MAX_LISTED) > 0:
        line = document.line(_location(errors[MAX_LISTED]))
        problems.append(Problem(document.path, line, f"and {more} more from here on: put the ones above right first"))
    return problems


def _location(details: Any) -> Location:
    return tuple(step for step in details["loc"] if step != "[key]")


def location_text(location: Location) -> str:
    """Return a location as the shop would write it: list entries are counted from one."""
    return ".".join(str(step + 1) if isinstance(step, int) else step[:60] for step in location)


def _problem(details: Any, document: Document, model: type[RecordModel]) -> Problem:
    location = _location(details)
    message = _message(details, location, model)
    field = location_text(document.written_location(location))
    path = ".".join((document.path.stem, *map(str, location)))
    text = f"{field}: {message}" if field else message
    return Problem(document.path, document.line(location), text, fields=(path,))


def _message(details: Any, location: Location, model: type[RecordModel]) -> str:
    kind, given, context = details["type"], details.get("input"), details.get("ctx") or {}
    if (fix := context.get("fix")) is not None:
        return message_at_field(fix, field_at(model, location))
    if kind == "extra_forbidden":
        return _unknown_name(str(location[-1]), model_at(model, location[:-1]), model)
    if kind == "missing":
        return _missing(location, model)
    if kind == "literal_error":
        shape = shape_of(model_at(model, location[:-1]).model_fields[str(location[-1])])
        choices = shape.choices
        words = {word: choice for choice, synonyms in shape.synonyms.items() for word in synonyms}
        names = (*choices, *words)
        is_part_of_several = sum(_shown(given).casefold() in name.casefold().split() for name in names) > 1
        hint = "" if is_part_of_several else did_you_mean(_shown(given), names)
        return f"{_shown(given)!r} is not known here: {hint + ' ' if hint else ''}write one of {', '.join(choices)}"
    if kind == "value_error":
        return str(context["error"])
    if kind.startswith("date"):
        return f"{_shown(given)!r} is not a day of the calendar: write year-month-day, e.g. 2024-05-17"
    if kind in ("greater_than_equal", "less_than_equal"):
        limit = context.get("ge", context.get("le"))
        return f"{_shown(given)} is too {'small' if 'ge' in context else 'large'}: {limit} is the limit"
    if kind.startswith("int_"):
        return f"{_kind_word(given)} is not a whole number"
    if kind.startswith("float_") or kind == "finite_number":
        return f"{_kind_word(given)} is not a plain number: leave out units and words"
    if kind == "string_too_long":
        return f"is longer than {context.get('max_length')} characters: shorten it, or use a note or summary"
    if kind == "string_too_short":
        return "is empty: write a few words or leave the line out"
    if kind.startswith("string_"):
        return f"is {_kind_word(given)}; a few words of text are wanted"
    if kind in ("model_type", "model_attributes_type", "dict_type"):
        return f"is {_kind_word(given)}; entries of the form name: value are wanted, indented below it"
    if kind in ("tuple_type", "list_type"):
        return f"is {_kind_word(given)}; a list is wanted: start each entry with '- '"
    return str(details["msg"])


def _missing(location: Location, model: type[RecordModel]) -> str:
    name = str(location[-1])
    info = model_at(model, location[:-1]).model_fields.get(name)
    example = notes_of(info).example if info else ""
    if example:
        return f"is missing: write {name}: {example}"
    return f"is missing: write {name}: and what belongs to it, indented below"


def _unknown_name(name: str, model: type[RecordModel], root: type[RecordModel]) -> str:
    names = list(model.model_fields)
    if paths := [path for path in _paths_named(name, root) if path != name]:
        return f"unknown name here: it belongs to {' or '.join(paths[:2])}"
    known = f"known here are {', '.join(names[:12])}{', ...' if len(names) > 12 else ''}"
    return f"unknown name: {did_you_mean(name[:60], names, known)}"


# Names of so many fields that naming two of them would mislead.
_COMMON = frozenset(("maker", "number", "note", "by", "material", "kind", "name", "what", "diameter", "unit", "count"))


def _paths_named(name: str, root: type[RecordModel]) -> list[str]:
    """Return the fields of the record that have a name, as places where a misplaced one may belong."""
    if name in _COMMON:
        return []
    paths = []
    for file, model in DOCUMENTS.items():
        prefix = "" if model is root else f"{file}.yaml, "
        paths += [f"{prefix}{path}" for path in field_paths(model) if path.split(".")[-1] == name]
    return paths


def _shown(given: object) -> str:
    text = str(getattr(given, "text", given))
    return text if len(text) <= 60 else f"{text[:60]}..."


def _kind_word(given: object) -> str:
    words = {dict: "a block of entries", list: "a list", bool: "yes/no", type(None): "empty"}
    return words.get(type(given), repr(_shown(given)))
