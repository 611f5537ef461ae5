"""Put the values of one row together as the YAML files of a build, in the order and the form of the record."""

from __future__ import annotations

import json
import re
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from builder.record.models.build import DOCUMENTS
from builder.record.models.fields import RecordModel
from builder.record.problem import Problem
from builder.record.scaffold import SCHEMA_FOLDER, in_flow, quoted
from builder.record.schema import schema_file
from builder.record.schema_shape import shape_of
from builder.record.spreadsheet.cell_values import Value
from builder.record.spreadsheet.targets import READING_KEYS, FieldTarget

_PLAIN = re.compile(r"[A-Za-z][A-Za-z0-9 _()/.-]*[A-Za-z0-9)]|[0-9]{1,9}(\.[0-9]+)?( [A-Za-z][A-Za-z.]*)?")
_WORDS = frozenset(("true", "yes", "false", "no", "null", "on", "off"))


@dataclass(frozen=True, slots=True)
class Entry:
    """The values of one cell for one field; ``source`` is the index of its column, None where the map has them."""

    target: FieldTarget
    values: tuple[Value, ...]
    source: int | None


@dataclass(frozen=True, slots=True)
class RecordFile:
    """The text of a YAML file, and the columns that its values come from: by line, and by the path of the field."""

    text: str
    by_line: Mapping[int, tuple[int, ...]]
    by_path: Mapping[str, tuple[int, ...]]

    def sources(self, problem: Problem) -> tuple[int, ...]:
        """Return the columns that a problem of this file is about; none where it is about what no column gives."""
        if not problem.fields:
            return self.by_line.get(problem.line, ())
        for path in problem.fields:
            steps = path.split(".")
            for end in range(len(steps), 1, -1):
                if ".".join(steps[:end]) in self.by_path:
                    return self.by_path[".".join(steps[:end])]
        return ()


@dataclass(frozen=True, slots=True)
class _Leaf:
    yaml: str
    sources: tuple[int, ...]


@dataclass
class Conflict(Exception):
    """Two columns with different values for one field."""

    message: str
    source: int | None = None


@dataclass
class _Entries:
    """A list of entries, each by its key."""

    model: type[RecordModel]
    by_key: dict[str, dict[str, Any]] = field(default_factory=dict)


def scalar(name: str, text: str) -> str:
    """Return a text as a YAML value on one line."""
    if "\n" in text:
        return json.dumps(text, ensure_ascii=False)
    if _PLAIN.fullmatch(text) and text.casefold() not in _WORDS:
        return text
    return quoted(name, text)


def record_files(entries: Iterable[Entry], remark: str) -> dict[str, RecordFile]:
    """Return the files of a build by name. Raises Conflict where two columns contradict each other."""
    trees: dict[str, dict[str, Any]] = defaultdict(dict)
    by_field: dict[tuple[str, str], list[Entry]] = defaultdict(list)
    for entry in entries:
        by_field[(entry.target.document, entry.target.field)].append(entry)
    for (document, _), several in by_field.items():
        target = several[0].target
        holder, name = _holder(trees[document], DOCUMENTS[document], target)
        sources = tuple(entry.source for entry in several if entry.source is not None)
        yaml = _reading(several) if target.shape.kind == "reading" else _single(several)
        if target.shape.kind == "map":
            holder.setdefault(name, {})[target.steps[-1][1]] = _Leaf(yaml, sources)
        else:
            holder[name] = _Leaf(yaml, sources)
    return {
        f"{document}.yaml": _file(document, trees[document], remark)
        for document in DOCUMENTS
        if trees.get(document) or document == "build"
    }


def _holder(tree: dict[str, Any], model: type[RecordModel], target: FieldTarget) -> tuple[dict[str, Any], str]:
    """Return the mapping that a field belongs into, created where it is missing, and the name of the field."""
    *sections, (name, _) = target.steps
    for step, key in sections:
        shape = shape_of(model.model_fields[step])
        assert shape.model is not None
        model = shape.model
        if not key:
            tree = tree.setdefault(step, {})
            continue
        listed = tree.setdefault(step, _Entries(model))
        first = next(iter(model.model_fields))
        tree = listed.by_key.setdefault(key, {first: _Leaf(scalar(first, key), ())})
    return tree, name


def _single(several: list[Entry]) -> str:
    """Return the YAML of a field that is one value, or a list of texts."""
    first = several[0]
    written = {tuple(value.written for value in entry.values) for entry in several}
    if len(written) > 1:
        raise Conflict(_different(several), several[-1].source)
    name = first.target.steps[-1][0]
    texts = [value.written for value in first.values]
    if first.target.kind == "list":
        return f"[{', '.join(in_flow(scalar(name, text)) for text in texts)}]"
    if len(texts) > 1:
        raise Conflict(f"{'; '.join(texts)[:60]!r} are several values for one field", first.source)
    return scalar(name, texts[0])


def _different(several: list[Entry]) -> str:
    shown = " and ".join(repr("; ".join(value.written for value in entry.values)[:40]) for entry in several[:3])
    return f"several columns give {several[0].target.field}, and they differ: {shown}"


def _reading(several: list[Entry]) -> str:
    """Return the YAML of a reading from its parts: what is listed, what was measured at each position."""
    parts: dict[str, tuple[Value, ...]] = {}
    positions: dict[int, Value] = {}
    for entry in several:
        if entry.target.position:
            if len(entry.values) > 1 or entry.target.position in positions:
                raise Conflict(_different(several), entry.source)
            positions[entry.target.position] = entry.values[0]
            continue
        key = entry.target.reading_key
        if parts.setdefault(key, entry.values) != entry.values:
            raise Conflict(_different(several), entry.source)
    if positions:
        missing = sorted(set(range(1, max(positions) + 1)) - positions.keys())
        if missing:
            raise Conflict(f"position {missing[0]} is empty: give one for each", several[-1].source)
        parts.setdefault("measured", tuple(positions[place] for place in sorted(positions)))
    plain = parts.pop("", None)
    name = several[0].target.steps[-1][0]
    if plain is not None and not parts:
        return scalar(name, plain[0].written) if len(plain) == 1 else _long_form({"measured": plain})
    if plain is not None:
        key = "measured" if several[0].target.notes.measured else "listed"
        if key in parts:
            raise Conflict(_different(several), several[-1].source)
        parts[key] = plain
    return _long_form(parts)


def _long_form(parts: Mapping[str, tuple[Value, ...]]) -> str:
    """Return a reading in its long form, with its unit once where all of its values share it."""
    texts = ("rule", "by", "note")
    units = {value.unit for key, values in parts.items() if key not in texts for value in values}
    shared = next(iter(units)) if len(units) == 1 and sum(map(len, parts.values())) > 1 else ""
    pairs = [f"unit: {in_flow(scalar('unit', shared))}"] if shared else []
    for key in READING_KEYS:
        values = parts.get(key, ())
        written = [
            in_flow(scalar(key, value.text if shared and key not in texts else value.written)) for value in values
        ]
        if len(written) == 1:
            pairs.append(f"{key}: {written[0]}")
        elif written:
            pairs.append(f"{key}: [{', '.join(written)}]")
    return f"{{{', '.join(pairs)}}}"


def _file(document: str, tree: dict[str, Any], remark: str) -> RecordFile:
    writer = _YamlWriter()
    writer.lines += [f"# yaml-language-server: $schema=../{SCHEMA_FOLDER}/{schema_file(document)}", f"# {remark}"]
    writer.mapping(tree, DOCUMENTS[document], 0, document)
    return RecordFile("\n".join(writer.lines) + "\n", writer.by_line, writer.by_path)


class _YamlWriter:
    """Writes a tree of values as lines of YAML, and notes the columns that each comes from."""

    def __init__(self) -> None:
        self.lines: list[str] = []
        self.by_line: dict[int, tuple[int, ...]] = {}
        self.by_path: dict[str, tuple[int, ...]] = {}

    def mapping(
        self, tree: dict[str, Any], model: type[RecordModel] | None, indent: int, path: str, *, dash: bool = False
    ) -> tuple[int, ...]:
        """Add the lines of a mapping, in the order of its model or, for a set of pairs, in its own.

        Returns the columns that it comes from: a problem of the mapping as a whole is one of everything in it.
        """
        sources: dict[int, None] = {}
        for name in (each for each in (model.model_fields if model else tree) if each in tree):
            value, inner = tree[name], f"{path}.{name}"
            start = f"{' ' * (indent - 2)}- " if dash else " " * indent
            dash = False
            key = name if model else in_flow(scalar("name", name))
            self.lines.append(f"{start}{key}: {value.yaml}" if isinstance(value, _Leaf) else f"{start}{key}:")
            line = len(self.lines)
            if isinstance(value, _Leaf):
                columns = value.sources
            elif isinstance(value, _Entries):
                columns = tuple(
                    source
                    for index, entry in enumerate(value.by_key.values())
                    for source in self.mapping(entry, value.model, indent + 4, f"{inner}.{index}", dash=True)
                )
            else:
                below = shape_of(model.model_fields[name]).model if model else None
                columns = self.mapping(value, below, indent + 2, inner)
            self.by_line[line] = self.by_path[inner] = columns
            sources |= dict.fromkeys(columns)
        if "." in path:
            self.by_path.setdefault(path, tuple(sources))
        return tuple(sources)
