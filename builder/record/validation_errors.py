"""What the models refused, told to the shop: file, line, what is wrong, what to write instead."""

from __future__ import annotations

import difflib
import re
from typing import Any

from pydantic import ValidationError

from builder.record.models.build import DOCUMENTS
from builder.record.models.fields import RecordModel, notes_of
from builder.record.problem import Problem
from builder.record.traversal import Location, fields_below, model_at
from builder.record.yaml_loader import Document

MOST_SHOWN = 50


def validate(document: Document, model: type[RecordModel]) -> tuple[RecordModel | None, list[Problem]]:
    """A document as its model, or None with what is wrong, each with its line."""
    if not isinstance(document.value, dict):
        what = "is empty" if document.value is None else f"holds {_kind_word(document.value)} and no names"
        first = next(iter(model.model_fields))
        return None, [Problem(document.path, document.line(()), f"{what}: write entries such as {first}: ...")]
    try:
        return model.model_validate(document.value), []
    except ValidationError as error:
        return None, _problems(error, document, model)


def _problems(error: ValidationError, document: Document, model: type[RecordModel]) -> list[Problem]:
    faults = error.errors(include_url=False)
    faults.sort(key=lambda fault: document.line(_steps(fault)))
    problems = sorted({_problem(fault, document, model) for fault in faults[:MOST_SHOWN]})
    if (more := len(faults) - MOST_SHOWN) > 0:
        line = document.line(_steps(faults[MOST_SHOWN]))
        problems.append(Problem(document.path, line, f"and {more} more from here on: put the ones above right first"))
    return problems


def _steps(fault: Any) -> Location:
    return tuple(step for step in fault["loc"] if step != "[key]")


def place(location: Location) -> str:
    """A location in the shop's words: list entries are counted from one."""
    return ".".join(str(step + 1) if isinstance(step, int) else step[:60] for step in location)


def _problem(fault: Any, document: Document, model: type[RecordModel]) -> Problem:
    location = _steps(fault)
    message = _message(fault, location, model)
    where = place(location)
    return Problem(document.path, document.line(location), f"{where}: {message}" if where else message)


def _message(fault: Any, location: Location, model: type[RecordModel]) -> str:
    kind, given, context = fault["type"], fault.get("input"), fault.get("ctx") or {}
    if kind == "extra_forbidden":
        return _unknown_name(str(location[-1]), model_at(model, location[:-1]), model)
    if kind == "missing":
        return _missing(location, model)
    if kind == "literal_error":
        choices = [word.strip("'\"") for word in re.split(r", | or ", str(context.get("expected", "")))]
        near = difflib.get_close_matches(_shown(given), choices, n=1)
        hint = f"did you mean {near[0]!r}? " if near else ""
        return f"{_shown(given)!r} is not known here: {hint}write one of {', '.join(choices)}"
    if kind in ("reading", "value_error"):
        return str(fault["msg"]).removeprefix("Value error, ")
    if kind.startswith("date"):
        return f"{_shown(given)!r} is not a day of the calendar: write year-month-day, e.g. 2024-05-17"
    if kind == "greater_than_equal" or kind == "less_than_equal":
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
    return str(fault["msg"])


def _missing(location: Location, model: type[RecordModel]) -> str:
    name = str(location[-1])
    info = model_at(model, location[:-1]).model_fields.get(name)
    example = notes_of(info).example if info else ""
    if example:
        return f"is missing: write {name}: {example}"
    return f"is missing: write {name}: and what belongs to it, indented below"


def _unknown_name(name: str, here: type[RecordModel], root: type[RecordModel]) -> str:
    known = list(here.model_fields)
    if homes := [home for home in _homes(name, root) if home != name]:
        return f"unknown name here: it belongs to {' or '.join(homes[:2])}"
    near = difflib.get_close_matches(name[:60], known, n=1, cutoff=0.6)
    if near:
        return f"unknown name: did you mean {near[0]!r}?"
    shown = ", ".join(known[:12]) + (", ..." if len(known) > 12 else "")
    return f"unknown name: known here are {shown}"


# Names that stand in so many places that saying where they belong would mislead.
_COMMON = frozenset(("maker", "number", "note", "by", "material", "kind", "name", "what", "diameter", "unit", "count"))


def _homes(name: str, root: type[RecordModel]) -> list[str]:
    """Where in the record a misplaced name belongs."""
    if name in _COMMON:
        return []
    found = []
    for file, model in DOCUMENTS.items():
        prefix = "" if model is root else f"{file}.yaml, "
        found += [f"{prefix}{path}" for path in fields_below(model) if path.split(".")[-1] == name]
    return found


def _shown(given: object) -> str:
    text = str(getattr(given, "text", given))
    return text if len(text) <= 60 else f"{text[:60]}..."


def _kind_word(given: object) -> str:
    words = {dict: "a block of entries", list: "a list", bool: "yes/no", type(None): "empty"}
    return words.get(type(given), repr(_shown(given)))
