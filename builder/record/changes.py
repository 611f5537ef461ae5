"""Changes to a record that are tried and not written: a field by its path, a value as the reader would read it."""

from __future__ import annotations

import copy
import dataclasses
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from pydantic.fields import FieldInfo

from builder.record.field_names import common_form, names_in, with_field_names
from builder.record.models.build import DOCUMENTS, Build
from builder.record.models.fields import Notes, RecordModel, notes_of
from builder.record.problem import Problem, did_you_mean
from builder.record.quantities.readings import Reading
from builder.record.traversal import field_paths, models_in
from builder.record.validation_errors import validate
from builder.record.yaml_loader import Document, parse_yaml

_NOT_CHANGED = ("parts", "photos", "plan", "dyno", "returned", "service")
"""Files that hold no value to try: what was received, pictures, the plan, and what was measured of an engine."""


class ChangeError(ValueError):
    """A change that cannot be made; the message says why, and what to write instead."""


@dataclass(frozen=True)
class Change:
    """One field with another value."""

    path: str
    """`top_end.gasket.thickness`"""
    value: Any
    """As the model of its file holds it."""
    text: str
    """As it was written."""


@dataclass(frozen=True)
class _FieldPath:
    path: str
    steps: tuple[frozenset[str], ...]
    """The names that each step is known by, in their common form."""


_MOST_NAMED = 12
"""How many fields of a section a message names."""


def find_field(text: str, aliases: Mapping[str, str] | None = None) -> str:
    """Return the full path of a field that was named by its path or by the end of it: `gasket.thickness`.

    Any name that the record reads for a field will do; ``aliases`` are further names of paths. Raises ChangeError for
    a name that no field or several fields have.
    """
    if alias := (aliases or {}).get(common_form(text)):
        return alias
    given = tuple(common_form(step) for step in text.strip().removesuffix(".").split("."))
    matches = [
        known.path
        for known in _known_fields()
        if len(given) <= len(known.steps)
        and all(step in names for step, names in zip(reversed(given), reversed(known.steps), strict=False))
    ]
    shortest = [path for path in matches if path.count(".") == len(given) - 1] or matches
    if len(shortest) == 1:
        return shortest[0]
    if matches:
        raise ChangeError(f"{text} may be {' or '.join(matches[:4])}: write enough of the path to tell them apart")
    ends = dict.fromkeys(".".join(known.path.split(".")[-count:]) for count in (1, 2, 3) for known in _known_fields())
    in_section = [end for end in ends if end.count(".") == 1 and end.startswith(text.strip())]
    nearest = did_you_mean(text[:100], dict.fromkeys((*ends, *(aliases or {}))), cutoff=0.55)
    if text.strip() and 0 < len(in_section) <= _MOST_NAMED:
        nearest = f"did you mean {' or '.join(map(repr, in_section))}?"
    raise ChangeError(
        f"{text[:60]!r} is not a field of the record: {nearest or 'write a path such as gasket.thickness'}"
    )


@cache
def _known_fields() -> tuple[_FieldPath, ...]:
    fields: list[_FieldPath] = []
    for document, model in DOCUMENTS.items():
        if document not in _NOT_CHANGED:
            fields += _fields_below(model, document, (frozenset((common_form(document),)),))
    return tuple(fields)


def _fields_below(model: type[RecordModel], path: str, steps: tuple[frozenset[str], ...]) -> Iterator[_FieldPath]:
    """Yield every field below a model that holds a value or a list; sections are looked into."""
    names: dict[str, set[str]] = {}
    for name, own in names_in(model).items():
        names.setdefault(own, set()).add(name)
    for name, info in model.model_fields.items():
        inner_steps = (*steps, frozenset(names.get(name, {name})))
        inner = models_in(info.annotation)
        if inner and info.default != ():
            yield from _fields_below(inner[0], f"{path}.{name}", inner_steps)
        else:
            yield _FieldPath(f"{path}.{name}", inner_steps)


def notes_at(path: str) -> Notes:
    """Return the notes of a field at its full path."""
    info = field_info(path)
    return notes_of(info) if info else Notes("")


def read_change(build: Build, path: str, given: Any) -> Change:
    """Return a change of the field at a full path to a value as YAML holds it.

    The value is read as the reader reads the file: with its unit, its sign and its choices. A single value takes the
    place of what was listed and measured, and what is allowed stays. Raises ChangeError with the fix.
    """
    document, *steps = path.split(".")
    part = _part_with(build, document, steps, given)
    value = _at(part, steps)
    if value is None:
        raise ChangeError(f"{'.'.join(steps)}: is empty: write a value")
    if isinstance(value, Reading) and not isinstance(given, (dict, list)):
        value = _in_place_of(build.get(path), value)
    return Change(path, value, str(getattr(given, "text", given)))


def _part_with(build: Build, document: str, steps: list[str], given: Any) -> RecordModel:
    """Return a file's model with a value at a place; first by itself, then with the rest, which some values need."""
    model, recorded = DOCUMENTS[document], build.documents.get(document)
    path = recorded.path if recorded else Path(f"{document}.yaml")
    content = recorded.value if recorded and isinstance(recorded.value, dict) else {}
    problems: list[Problem] = []
    for around in ({}, copy.deepcopy(content)):
        around |= dict(_required(model, around))
        place: dict[str, Any] = around
        for step in steps[:-1]:
            if not isinstance(place.get(step), dict):
                place[step] = {}
            place = place[step]
        place[steps[-1]] = given
        changed, twice = with_field_names(Document(path, around), model)
        part, problems = validate(changed, model)
        if part is not None and not twice:
            return part
        problems = [*twice, *problems]
    raise ChangeError(problems[0].message)


def _required(model: type[RecordModel], content: dict[str, Any]) -> Iterator[tuple[str, Any]]:
    """Yield what a file must hold and does not, so that one value of it can be read; build.yaml is always there."""
    for name, info in model.model_fields.items():
        if info.is_required() and name not in content:
            yield name, notes_of(info).example


def _at(part: RecordModel, steps: list[str]) -> Any:
    value: Any = part
    for step in steps:
        value = getattr(value, step, None)
    return value


def _in_place_of(before: Reading | None, value: Reading) -> Reading:
    """Return a single planned value as a listed one, with the range that the record allows."""
    planned = value.preferred[0]
    plain = Reading(value.dimension, listed=planned, is_plain=True)
    if before is None:
        return plain
    allowed = (before.allowed, before.at_least, before.at_most)
    return dataclasses.replace(plain, allowed=allowed[0], at_least=allowed[1], at_most=allowed[2], rule=before.rule)


def read_assignment(build: Build, text: str, aliases: Mapping[str, str] | None = None) -> Change:
    """Return the change that a text such as `gasket.thickness=0.030 in` makes. Raises ChangeError with the fix."""
    name, equals, written = (part.strip() for part in text.partition("="))
    if not equals or not name or not written:
        raise ChangeError(f"{text[:60]!r} is not field=value: write for example gasket.thickness='0.030 in'")
    path = find_field(name, aliases)
    document, problems = parse_yaml(f"value: {written}\n".encode(), Path(name))
    if document is None or problems or not isinstance(document.value, dict):
        raise ChangeError(f"{text[:60]!r} cannot be read: {problems[0].message if problems else 'write one value'}")
    return read_change(build, path, document.value["value"])


def with_changes(build: Build, changes: Mapping[str, Any]) -> Build:
    """Return the build with other values at some full paths; None takes a value away."""
    for path, value in changes.items():
        build = with_value(build, path, value)
    taken = {path: source for path, source in build.taken_from.items() if path not in changes}
    return dataclasses.replace(build, taken_from=taken) if len(taken) < len(build.taken_from) else build


def with_value(build: Build, path: str, value: Any) -> Build:
    """Return the build with a value at a path; sections on the way that were not recorded are made."""
    document, *steps = path.split(".")
    part = getattr(build, document) or DOCUMENTS[document].model_construct()
    changes: dict[str, Any] = {document: _with_value(part, steps, value)}
    return dataclasses.replace(build, **changes)


def _with_value(model: RecordModel, steps: list[str], value: Any) -> RecordModel:
    name, *rest = steps
    if rest:
        inner = getattr(model, name)
        if inner is None:
            inner = models_in(type(model).model_fields[name].annotation)[0].model_construct()
        value = _with_value(inner, rest, value)
    return model.model_copy(update={name: value})


@cache
def measurements() -> tuple[tuple[str, Mapping[str, float | None]], ...]:
    """Return every field that no longer holds when others change, with the paths of those; see `field`."""
    return tuple(
        (path, notes.depends_on)
        for document, model in DOCUMENTS.items()
        for path in (f"{document}.{below}" for below in field_paths(model))
        if (notes := notes_at(path)).depends_on
    )


def is_below(path: str, above: str) -> bool:
    """Return whether a path is another one, or leads below it."""
    return path == above or path.startswith(f"{above}.")


def field_info(path: str) -> FieldInfo | None:
    """Return the field at a full path; None where there is none, or where a list of entries is on the way."""
    document, *steps = path.split(".")
    model = DOCUMENTS.get(document)
    for index, step in enumerate(steps):
        info = model.model_fields.get(step) if model else None
        if info is None or index == len(steps) - 1:
            return info
        inner = models_in(info.annotation)
        model = inner[0] if inner and info.default != () else None
    return None
