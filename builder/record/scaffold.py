"""Write the files of a new build, ready to fill in, from the models, in the order of the work.

Every line is either live, a remark (`## `), or an example commented out with a single `#` and no space after it:
without that mark it is YAML that the reader accepts, in its column. What only other engines than that of the examples
have is commented out with `##` and no space. An entry of a list is used from its first line, the one with the dash.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from builder.record.load import slug_problem
from builder.record.models.build import DOCUMENTS
from builder.record.models.fields import Notes, RecordModel, notes_of
from builder.record.models.shop import Shop
from builder.record.problem import Problem
from builder.record.reference import document_description
from builder.record.schema import schema_file, write_schemas
from builder.record.schema_shape import Shape, shape_of
from builder.record.yaml_loader import parse_yaml

SCHEMA_FOLDER = "_schema"
"""The folder in `builds/` with the schemas; its underscore marks it as no build."""

WIDTH = 110
_REMARK_COLUMN = 58
_MEASURED = re.compile(r"measured: \[([^\]]*)\]")

FIRST = {
    "build": "title, status, finished, family, purpose, summary, engine.layout, engine.cylinders, engine.fuel_system, "
    "engine.fuel.kind",
    "parts": "parts, parts.part, parts.maker, parts.number, parts.source, parts.verdict",
    "bottom_end": "deck_clearance, block.bores, crankshaft.stroke, rods.length, pistons.compression_height, "
    "pistons.dish",
    "top_end": "heads.chambers, gasket.bore, gasket.thickness, rockers.ratio",
    "cam": "card.lobe_separation, card.intake.centerline, card.intake.lobe_lift, card.intake.durations, "
    "card.exhaust.centerline, card.exhaust.lobe_lift, card.exhaust.durations, lifters.kind",
    "assembly": "fits.main_oil_clearance, fits.rod_oil_clearance, fits.piston_clearance, fits.top_ring_gap, "
    "fits.crank_end_play, fasteners.joint, fasteners.torque",
    "dyno": "readings, conditions.barometer, conditions.barometer_is, conditions.temperature, "
    "conditions.relative_humidity, delivered, pulls.name, pulls.file, pulls.since, pulls.changed",
    "delivery": "delivered, settings.total_timing, settings.idle_speed, settings.plug_gap, least_octane",
    "shop": "name, place, contact, english, units, correction",
}
"""The few fields of each file that make a page, which come first in it; the others follow."""
_MORE = "## Further, where you have it:"
_CYLINDER_SIZE = 727.6  # [cc] of the bore and stroke in the examples
_FIRING_ORDERS = {1: "1", 2: "1-2", 3: "1-3-2", 4: "1-3-4-2", 5: "1-2-4-5-3", 6: "1-5-3-6-2-4", 8: "1-8-4-3-6-5-7-2"}

_PAGE_NEEDS = """\
A page needs no more than title, status: finished and the number of cylinders. Bores and stroke
(bottom_end.yaml) give the displacement, chambers and gasket (top_end.yaml) the compression ratio, the log of
a pull (dyno.yaml) the curves. In every file the fields that matter most come first.
"""
_HOW_TO = """\
Lines with # are examples: delete the # and enter your own value. Lines with ## and no space after it are
examples for other engines: delete both marks.
What you leave out is not shown, never guessed.
A value carries its unit: 4.0305 in, 102.38 mm, 72.4 cc, 65 lbf.ft. A list may say it once:
{unit: in, measured: [4.0305, 4.0304]}. Catalog and measured value side by side:
{listed: 1.480 in, measured: 1.395 in}. Spec: {allowed: 0.0025..0.0035 in, measured: 0.0030 in}.
In a list, start at the line with the dash; copy the lines for the next entry.
"""


@dataclass(frozen=True, slots=True)
class _Field:
    """One field of a model, with all that the scaffold needs to write it."""

    name: str
    notes: Notes
    shape: Shape
    required: bool


def scaffold(slug: str, *, title: str | None = None, cylinders: int = 4, two_stroke: bool = False) -> dict[str, str]:
    """Return the files of a new build as commented YAML, by file name.

    ``title`` is what the engine is called, ``cylinders`` how many readings the examples have. A four-stroke has a cam,
    a ``two_stroke`` ports. plan.yaml is for an engine with parts to choose from, and is left to be written.
    """
    name = title or slug.replace("-", " ").capitalize()
    live = {"title": quoted("title", name), "status": "in progress", "engine.cylinders": str(cylinders)}
    if two_stroke:
        live["engine.cycle"] = "two-stroke"
    return {
        f"{document}.yaml": _document(
            document, model, f"../{SCHEMA_FOLDER}", live if document == "build" else {}, cylinders
        )
        for document, model in DOCUMENTS.items()
        if document not in ("plan", "cam" if two_stroke else "ports")
    }


def shop_scaffold() -> str:
    """Return the shop's own file, ready to fill in."""
    return _document("shop", Shop, SCHEMA_FOLDER, {"name": quoted("name", "Engine shop")}, 4)


def write_scaffold(
    archive: Path, slug: str, *, title: str | None = None, cylinders: int = 4, two_stroke: bool = False
) -> tuple[list[Path], list[Problem]]:
    """Write the files of a new build into `builds/SLUG`, and never over an existing file.

    The first build of an archive comes with the shop's own file, every build with the schemas that its files point an
    editor to. Returns the files written, and the problems that prevented others.
    """
    shown = Path("builds") / slug
    if message := slug_problem(slug):
        return [], [Problem(shown, 1, message)]
    if not 1 <= cylinders <= 48:
        return [], [Problem(shown, 1, f"{cylinders} cylinders: say how many the engine has, 1 to 48")]
    folder = archive / "builds" / slug
    if folder.is_symlink() or folder.exists():
        return [], [Problem(shown, 1, "is there already: choose another name, or fill in what is there")]
    written: list[Path] = []
    try:
        for inner in ("dyno", "photos"):
            (folder / inner).mkdir(parents=True)
        for name, text in scaffold(slug, title=title, cylinders=cylinders, two_stroke=two_stroke).items():
            written.append(_write_new(folder / name, text))
    except OSError as error:
        return written, [Problem(shown, 1, f"cannot be written: {error.strerror or error}")]
    shared, problems = write_shared_files(archive)
    return written + shared, problems


def write_shared_files(archive: Path) -> tuple[list[Path], list[Problem]]:
    """Write the shop's own file unless it exists, and the schemas that the files of builds point an editor to.

    Returns the files written, and the problems that prevented others.
    """
    shop = archive / "builds" / "shop.yaml"
    written: list[Path] = []
    try:
        if not shop.exists() and not shop.is_symlink():
            written.append(_write_new(shop, shop_scaffold()))
    except OSError as error:
        return written, [Problem(Path("builds") / shop.name, 1, f"cannot be written: {error.strerror or error}")]
    schema_files, problems = write_schemas(archive / "builds" / SCHEMA_FOLDER)
    return written + schema_files, problems


def _write_new(path: Path, text: str) -> Path:
    with path.open("x", encoding="utf-8", newline="\n") as file:
        file.write(text)
    return path


def _document(name: str, model: type[RecordModel], schemas: str, live: dict[str, str], cylinders: int) -> str:
    head = [
        f"# yaml-language-server: $schema={schemas}/{schema_file(name)}",
        f"## {name}.yaml: {document_description(model)}.",
    ]
    if live:
        how_to = _HOW_TO if model is Shop else _PAGE_NEEDS + _HOW_TO
        head += [f"## {line}" for line in how_to.splitlines()]
    first = frozenset(path.strip() for path in FIRST.get(name, "").split(","))
    body = _Writer(live, cylinders, first).section(model, "", 0)
    return "\n".join([*head, "", *body]).rstrip() + "\n"


class _Writer:
    """Writes the fields of a model as lines of YAML."""

    def __init__(self, live: dict[str, str], cylinders: int, first: frozenset[str]) -> None:
        self.live = live
        self.cylinders = cylinders
        self.first = first

    def section(self, model: type[RecordModel], prefix: str, indent: int) -> Iterator[str]:
        """Yield the fields of a section whose header is live, the examples commented out."""
        pad = " " * indent
        # What has entries of its own comes last, so that nothing else seems to belong to it.
        in_order = sorted(_fields(model), key=lambda field: (field.shape.model is not None, self._rank(field, prefix)))
        for field, begins_rest in self._with_rest(in_order, prefix):
            path = f"{prefix}{field.name}"
            if begins_rest:
                yield f"{pad}{_MORE}"
            if field.notes.only_where:
                yield from self._only_where(field, pad, f"{path}.")
            elif field.shape.kind == "section" and not field.notes.example:
                assert field.shape.model is not None
                yield ""
                yield from self._with_remark(pad, f"{pad}{field.name}:", field.notes.description)
                if self._may_be_live(field.shape.model, path):
                    yield from self.section(field.shape.model, f"{path}.", indent + 2)
                else:
                    yield from _commented_out(self._nested(field.shape.model, f"{path}."), indent + 2)
            elif field.shape.kind == "entries" and not field.notes.example:
                assert field.shape.model is not None
                yield ""
                yield from self._with_remark(
                    pad, f"{pad}{field.name}:", f"{field.notes.description}; one entry for each"
                )
                for later in (False, True) if _refers(field.shape.model) else (False,):
                    yield from _commented_out(self.entry(field.shape.model, f"{path}.", later), indent + 2)
            elif path in self.live:
                yield from self._with_remark(pad, f"{pad}{field.name}: {self.live[path]}", _remark(field))
            else:
                yield from self._example(field, pad, "#", path)

    def _rank(self, field: _Field, prefix: str) -> bool:
        """Return whether a field comes after those that make a page."""
        path = f"{prefix}{field.name}"
        return path not in self.first and not any(first.startswith(f"{path}.") for first in self.first)

    def _with_rest(self, fields: list[_Field], prefix: str) -> Iterator[tuple[_Field, bool]]:
        """Yield each field, and whether it is the first of the rest behind those that make a page."""
        previous = None
        for field in fields:
            rank = self._rank(field, prefix) if field.shape.model is None else None
            yield field, previous is False and rank is True
            previous = rank

    def _only_where(self, field: _Field, pad: str, prefix: str) -> Iterator[str]:
        """Yield a field that the engine of the examples has not: as remarks, to be written where it applies."""
        yield from self._remark_lines(pad, f"where {field.notes.only_where}: {field.notes.description}")
        if field.shape.model is None:
            yield f"{pad}##{field.name}: {self._value(field)}"
            return
        inner = self.entry if field.shape.kind == "entries" else self._nested
        yield f"{pad}##{field.name}:"
        for line in inner(field.shape.model, prefix):
            if not line.lstrip().startswith("##"):
                yield f"{pad}##  {line.partition('  ##')[0].rstrip()}"

    def _may_be_live(self, model: type[RecordModel], path: str) -> bool:
        """Return whether every required field of a section is filled in, so that its header can be live."""
        return all(f"{path}.{field.name}" in self.live for field in _fields(model) if field.required)

    def entry(self, model: type[RecordModel], prefix: str, later: bool = False) -> Iterator[str]:
        """Yield the lines of one entry of a list, starting with its dash, without mark or indent."""
        fields = self._ordered(model, prefix, later)
        if flow := self._in_one_line(fields):
            for field in fields:
                yield from self._remark_lines("", f"{field.name}: {_remark(field)}")
            yield f"- {flow}"
            return
        for index, line in enumerate(self._nested(model, prefix, later, entry=True)):
            yield f"{'- ' if index == 0 else '  '}{line}"

    def _ordered(self, model: type[RecordModel], prefix: str, later: bool) -> list[_Field]:
        """Return the fields of an entry: required ones, those that make a page, the others.

        A first entry has no field that refers to an earlier one.
        """
        fields = _fields(model)
        if not later:
            referring = [index for index, field in enumerate(fields) if field.notes.refers_to]
            fields = fields[: referring[0]] if referring else fields
        return sorted(fields, key=lambda field: (not field.required, self._rank(field, prefix)))

    def _nested(
        self, model: type[RecordModel], prefix: str, later: bool = False, *, entry: bool = False
    ) -> Iterator[str]:
        """Yield the fields of a section or entry that is commented out altogether, without mark or indent."""
        fields = self._ordered(model, prefix, later)
        if not entry:  # the first line of an entry has its dash
            fields.sort(key=lambda field: field.shape.model is not None and self._rank(field, prefix))
        for field, begins_rest in self._with_rest(fields, prefix):
            if begins_rest and not entry:
                yield _MORE
            inner = f"{prefix}{field.name}."
            if field.notes.only_where:
                yield from self._only_where(field, "", inner)
            elif field.shape.kind == "section" and not field.notes.example:
                assert field.shape.model is not None
                yield from self._with_remark("", f"{field.name}:", field.notes.description)
                yield from (f"  {line}" for line in self._nested(field.shape.model, inner))
            elif field.shape.kind == "entries" and not field.notes.example:
                assert field.shape.model is not None
                yield from self._with_remark("", f"{field.name}:", f"{field.notes.description}; one entry for each")
                yield from (f"  {line}" for line in self.entry(field.shape.model, inner))
            else:
                yield from self._example(field, "", "", f"{prefix}{field.name}", later)

    def _example(self, field: _Field, pad: str, mark: str, path: str, later: bool = False) -> Iterator[str]:
        value = self._of_engine(path) or self._value(field, later)
        if field.notes.alternative_to:
            yield f"{pad}## or, in place of {field.notes.alternative_to}: {field.name}: {value}"
            return
        yield from self._with_remark(pad, f"{pad}{mark}{field.name}: {value}", _remark(field))

    def _with_remark(self, pad: str, line: str, remark: str) -> Iterator[str]:
        """Yield a line with its remark after it, or above it where both are too long for one line."""
        if len(line) < _REMARK_COLUMN and _REMARK_COLUMN + len(remark) + 3 <= WIDTH:
            yield f"{line.ljust(_REMARK_COLUMN)}## {remark}"
            return
        yield from self._remark_lines(pad, remark)
        yield line

    @staticmethod
    def _remark_lines(pad: str, remark: str) -> Iterator[str]:
        yield from (f"{pad}## {line}" for line in textwrap.wrap(remark, WIDTH - len(pad) - 12, break_long_words=False))

    def _of_engine(self, path: str) -> str:
        """Return the example of a field that depends on the number of cylinders, or nothing."""
        layout = "single" if self.cylinders == 1 else "inline" if self.cylinders < 8 else "V"
        return {
            "engine.layout": layout,
            "engine.displacement": f"{self.cylinders * _CYLINDER_SIZE:.0f} cc",
            "engine.firing_order": _FIRING_ORDERS.get(self.cylinders, ""),
        }.get(path, "")

    def _value(self, field: _Field, later: bool = False) -> str:
        example = (field.notes.repeat_example if later else "") or field.notes.example
        if field.shape.kind in ("text", "prose", "choice", "section"):
            return quoted(field.name, example)
        if field.notes.axis in ("cylinder", "intake valve", "exhaust valve"):
            if field.shape.kind == "list":
                return f"[{self._repeated(example.strip('[]'))}]"
            return _MEASURED.sub(lambda match: f"measured: [{self._repeated(match[1])}]", example)
        return example

    def _repeated(self, readings: str) -> str:
        cells = [reading.strip() for reading in readings.split(",")]
        return ", ".join(cells[index % len(cells)] for index in range(self.cylinders))

    def _in_one_line(self, fields: list[_Field]) -> str | None:
        """Return a small entry as `{name: value, ...}`, or None where it is too large for one line."""
        if len(fields) > 4 or any(field.shape.model or field.notes.alternative_to for field in fields):
            return None
        pairs = ", ".join(f"{field.name}: {in_flow(self._value(field))}" for field in fields)
        return f"{{{pairs}}}" if len(pairs) <= WIDTH - 20 else None


def _fields(model: type[RecordModel]) -> list[_Field]:
    """Return the fields of a model, but for those that few shops record."""
    return [
        _Field(name, notes, shape_of(info), info.is_required())
        for name, info in model.model_fields.items()
        if not (notes := notes_of(info)).rare
    ]


def _refers(model: type[RecordModel]) -> bool:
    return any(field.notes.refers_to for field in _fields(model))


def _commented_out(lines: Iterator[str], indent: int) -> Iterator[str]:
    """Comment out the lines of an entry; remarks stay remarks."""
    for line in lines:
        bare = line.lstrip()
        yield f"{' ' * indent}{line}" if bare.startswith("##") else f"{' ' * indent}#{line}"


def _remark(field: _Field) -> str:
    remark = field.notes.description
    if field.shape.kind == "entries" and field.shape.model:
        remark += f" ({'; '.join(f'{inner.name}: {inner.notes.description}' for inner in _fields(field.shape.model))})"
    if field.shape.kind == "choice":
        remark += f" (one of: {', '.join(field.shape.choices)})"
    if field.notes.axis:
        remark += f" (one for each {field.notes.axis})"
    if field.required:
        remark += " (needed)"
    if field.notes.private:
        remark += " (never public)" if field.notes.private == "customer" else " (for the shop alone)"
    return remark


def quoted(name: str, text: str) -> str:
    """Return a text as a YAML value: between quotes where it would not be read as itself."""
    document, problems = parse_yaml(f"{name}: {text}".encode(), Path("example"))
    if not problems and document is not None and isinstance(document.value, dict):
        value = document.value.get(name)
        if not isinstance(value, bool) and getattr(value, "text", value) == text:
            return text
    return "'" + text.replace("'", "''") + "'"


def in_flow(value: str) -> str:
    """Return a value that can be written between braces, where commas and brackets have a meaning."""
    if value[:1] in "'\"{[" or not set(value) & set(",[]{}"):
        return value
    return "'" + value.replace("'", "''") + "'"
