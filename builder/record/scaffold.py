"""The files of a new build, ready to fill in: made from the models, in the order of the work.

Every line is either live, a remark (`##`), or an example behind a single `#`: taking that mark away leaves
YAML that the reader accepts. An entry of a list is taken up from its first line, the one with the dash.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from builder.record.load import slug_fault
from builder.record.models.build import DOCUMENTS
from builder.record.models.fields import Notes, RecordModel, notes_of
from builder.record.models.shop import Shop
from builder.record.problem import Problem
from builder.record.reference import about
from builder.record.schema import schema_file, write_schemas
from builder.record.schema_shape import Shape, shape_of
from builder.record.yaml_loader import parse_yaml

SCHEMA_FOLDER = "_schema"
"""Beside the builds; its name keeps it from being taken for one."""

WIDTH = 110
_REMARK_COLUMN = 58
_MEASURED = re.compile(r"measured: \[([^\]]*)\]")

_HOW_TO = """\
Lines behind one # are examples: take the mark away and put your own value there.
What you leave out is shown as not recorded, never guessed.
A value carries its unit: 4.0305 in, 102.38 mm, 72.4 cc, 65 lbf.ft. A list may say it once:
{unit: in, measured: [4.0305, 4.0304]}. What was listed and what was measured stand side by side:
{listed: 1.760 in, measured: 1.661 in}. What is allowed: {allowed: 0.0025..0.0035 in, measured: 0.0030 in}.
In a list, start at the line with the dash; copy the lines for the next entry.
"""


@dataclass(frozen=True, slots=True)
class _Field:
    """One field of a model, with all that the scaffold needs to write it."""

    name: str
    notes: Notes
    shape: Shape
    required: bool


def scaffold(slug: str, *, title: str | None = None, cylinders: int = 4) -> dict[str, str]:
    """The files of a new build: file name -> commented YAML.

    ``title`` is what the engine is called, ``cylinders`` how many readings the examples have.
    """
    name = title or slug.replace("-", " ").capitalize()
    live = {"title": _quoted("title", name), "status": "in progress", "engine.cylinders": str(cylinders)}
    return {
        f"{document}.yaml": _document(
            document, model, f"../{SCHEMA_FOLDER}", live if document == "build" else {}, cylinders
        )
        for document, model in DOCUMENTS.items()
    }


def shop_scaffold(name: str = "Engine shop") -> str:
    """The shop's own file, ready to fill in."""
    return _document("shop", Shop, SCHEMA_FOLDER, {"name": _quoted("name", name)}, 4)


def write_scaffold(
    archive: Path, slug: str, *, title: str | None = None, cylinders: int = 4
) -> tuple[list[Path], list[Problem]]:
    """Write the files of a new build into `builds/SLUG`; nothing that is there is ever written over.

    The first build of an archive brings the shop's own file with it, and every build the schemas that its
    files point an editor to. Returns the files written, and the problems that kept others from being written.
    """
    shown = Path("builds") / slug
    if fault := slug_fault(slug):
        return [], [Problem(shown, 1, fault)]
    if not 1 <= cylinders <= 48:
        return [], [Problem(shown, 1, f"{cylinders} cylinders: say how many the engine has, 1 to 48")]
    folder = archive / "builds" / slug
    if folder.is_symlink() or folder.exists():
        return [], [Problem(shown, 1, "is there already: choose another name, or fill in what is there")]
    written: list[Path] = []
    try:
        for inner in ("dyno", "photos"):
            (folder / inner).mkdir(parents=True)
        for name, text in scaffold(slug, title=title, cylinders=cylinders).items():
            written.append(_write_new(folder / name, text))
        shop = archive / "builds" / "shop.yaml"
        if not shop.exists() and not shop.is_symlink():
            written.append(_write_new(shop, shop_scaffold()))
    except OSError as error:
        return written, [Problem(shown, 1, f"cannot be written: {error.strerror or error}")]
    made, problems = write_schemas(archive / "builds" / SCHEMA_FOLDER)
    return written + made, problems


def _write_new(path: Path, text: str) -> Path:
    with path.open("x", encoding="utf-8", newline="\n") as file:
        file.write(text)
    return path


def _document(name: str, model: type[RecordModel], schemas: str, live: dict[str, str], cylinders: int) -> str:
    head = [f"# yaml-language-server: $schema={schemas}/{schema_file(name)}", f"## {name}.yaml: {about(model)}."]
    if live:
        head += [f"## {line}" for line in _HOW_TO.splitlines()]
    body = _Writer(live, cylinders).section(model, "", 0)
    return "\n".join([*head, "", *body]).rstrip() + "\n"


class _Writer:
    """Writes the fields of a model as lines of YAML."""

    def __init__(self, live: dict[str, str], cylinders: int) -> None:
        self.live = live
        self.cylinders = cylinders

    def section(self, model: type[RecordModel], at: str, indent: int) -> Iterator[str]:
        """The fields of a section that stands in the open: headers live, examples behind a mark."""
        pad = " " * indent
        # What has entries of its own comes last: nothing then stands below it that does not belong to it.
        for field in sorted(_fields(model), key=lambda field: field.shape.model is not None):
            path = f"{at}{field.name}"
            if field.shape.kind == "section":
                assert field.shape.model is not None
                yield ""
                yield from self._laid_out(pad, f"{pad}{field.name}:", field.notes.description)
                if self._stands_open(field.shape.model, path):
                    yield from self.section(field.shape.model, f"{path}.", indent + 2)
                else:
                    yield from _marked(self._nested(_ordered(field.shape.model, False)), indent + 2)
            elif field.shape.kind == "entries" and not field.notes.example:
                assert field.shape.model is not None
                yield ""
                yield from self._laid_out(pad, f"{pad}{field.name}:", f"{field.notes.description}; one entry for each")
                for later in (False, True) if _refers(field.shape.model) else (False,):
                    yield from _marked(self.entry(field.shape.model, later), indent + 2)
            elif path in self.live:
                yield from self._laid_out(pad, f"{pad}{field.name}: {self.live[path]}", _says(field))
            else:
                yield from self._example(field, pad, "# ")

    def _stands_open(self, model: type[RecordModel], path: str) -> bool:
        """Whether nothing but filled-in lines is needed in a section, so that its headers may stand empty."""
        return all(f"{path}.{field.name}" in self.live for field in _fields(model) if field.required)

    def entry(self, model: type[RecordModel], later: bool) -> Iterator[str]:
        """One entry of a list, starting with its dash; the lines are yet to be marked and indented."""
        fields = _ordered(model, later)
        if flow := self._in_one_line(fields):
            for field in fields:
                yield from self._remarks("", f"{field.name}: {_says(field)}")
            yield f"- {flow}"
            return
        for index, line in enumerate(self._nested(fields, later)):
            yield f"{'- ' if index == 0 else '  '}{line}"

    def _nested(self, fields: list[_Field], later: bool = False) -> Iterator[str]:
        """The fields of something that stands behind a mark as a whole."""
        for field in fields:
            if field.shape.kind == "section":
                assert field.shape.model is not None
                yield from self._laid_out("", f"{field.name}:", field.notes.description)
                yield from (f"  {line}" for line in self._nested(_ordered(field.shape.model, False)))
            elif field.shape.kind == "entries" and not field.notes.example:
                assert field.shape.model is not None
                yield from self._laid_out("", f"{field.name}:", f"{field.notes.description}; one entry for each")
                yield from (f"  {line}" for line in self.entry(field.shape.model, False))
            else:
                yield from self._example(field, "", "", later)

    def _example(self, field: _Field, pad: str, mark: str, later: bool = False) -> Iterator[str]:
        says, value = _says(field), self._value(field, later)
        if field.notes.alternative_to:
            yield f"{pad}## or, in place of {field.notes.alternative_to}: {field.name}: {value}"
            return
        yield from self._laid_out(pad, f"{pad}{mark}{field.name}: {value}", says)

    def _laid_out(self, pad: str, line: str, says: str) -> Iterator[str]:
        """A line with its remark beside it, or above it where both are too long for one line."""
        if len(line) < _REMARK_COLUMN and _REMARK_COLUMN + len(says) + 3 <= WIDTH:
            yield f"{line.ljust(_REMARK_COLUMN)}## {says}"
            return
        yield from self._remarks(pad, says)
        yield line

    @staticmethod
    def _remarks(pad: str, says: str) -> Iterator[str]:
        yield from (f"{pad}## {part}" for part in textwrap.wrap(says, WIDTH - len(pad) - 12, break_long_words=False))

    def _value(self, field: _Field, later: bool = False) -> str:
        example = (field.notes.repeat_example if later else "") or field.notes.example
        if field.shape.kind in ("text", "prose", "choice"):
            return _quoted(field.name, example)
        if field.notes.axis in ("cylinder", "intake valve", "exhaust valve"):
            return _MEASURED.sub(lambda match: f"measured: [{self._repeated(match[1])}]", example)
        return example

    def _repeated(self, readings: str) -> str:
        given = [reading.strip() for reading in readings.split(",")]
        return ", ".join(given[index % len(given)] for index in range(self.cylinders))

    def _in_one_line(self, fields: list[_Field]) -> str | None:
        """A small entry as `{name: value, ...}`, or None where it is better spread out."""
        if len(fields) > 4 or any(field.shape.model or field.notes.alternative_to for field in fields):
            return None
        pairs = ", ".join(f"{field.name}: {_in_flow(self._value(field))}" for field in fields)
        return f"{{{pairs}}}" if len(pairs) <= WIDTH - 20 else None


def _fields(model: type[RecordModel]) -> list[_Field]:
    return [
        _Field(name, notes_of(info), shape_of(info), info.is_required()) for name, info in model.model_fields.items()
    ]


def _refers(model: type[RecordModel]) -> bool:
    return any(field.notes.refers_to for field in _fields(model))


def _ordered(model: type[RecordModel], later: bool) -> list[_Field]:
    """The fields of an entry, needed ones first. The first of several entries has none earlier to refer to."""
    fields = _fields(model)
    if not later:
        refers = [index for index, field in enumerate(fields) if field.notes.refers_to]
        fields = fields[: refers[0]] if refers else fields
    return sorted(fields, key=lambda field: not field.required)


def _marked(lines: Iterator[str], indent: int) -> Iterator[str]:
    """Put the lines of an entry behind a mark; remarks stay remarks."""
    for line in lines:
        bare = line.lstrip()
        yield f"{' ' * (indent + 2)}{line}" if bare.startswith("##") else f"{' ' * indent}# {line}"


def _says(field: _Field) -> str:
    says = field.notes.description
    if field.shape.kind == "entries" and field.shape.model:
        says += f" ({'; '.join(f'{inner.name}: {inner.notes.description}' for inner in _fields(field.shape.model))})"
    if field.shape.kind == "choice":
        says += f" (one of: {', '.join(field.shape.choices)})"
    if field.notes.axis:
        says += f" (one for each {field.notes.axis})"
    if field.required:
        says += " (needed)"
    if field.notes.private:
        says += " (never public)" if field.notes.private == "customer" else " (for the shop alone)"
    return says


def _quoted(name: str, text: str) -> str:
    """A text as a YAML value: between quotes where it would not be read as itself."""
    document, problems = parse_yaml(f"{name}: {text}".encode(), Path("example"))
    if not problems and document is not None and isinstance(document.value, dict):
        value = document.value.get(name)
        if not isinstance(value, bool) and getattr(value, "text", value) == text:
            return text
    return "'" + text.replace("'", "''") + "'"


def _in_flow(value: str) -> str:
    """A value fit to stand between braces, where commas and brackets mean something."""
    if value[:1] in "'\"{[" or not set(value) & set(",[]{}"):
        return value
    return "'" + value.replace("'", "''") + "'"
