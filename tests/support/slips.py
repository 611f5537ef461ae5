"""Slips of the pen written into copies of the demo builds, and what the program then reports."""

from __future__ import annotations

import random
import re
import shutil
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import yaml

from builder.figures.core.inputs import Context
from builder.figures.core.solver import Solver
from builder.figures.core.types import Contradiction
from builder.figures.definitions import REGISTRY
from builder.figures.evaluate import compute
from builder.figures.review.cross_checks import find_contradictions
from builder.record.load import read_build, read_shop
from builder.record.models.fields import RecordModel
from builder.record.models.shop import Shop
from builder.record.quantities.readings import Reading
from tests.support.demo_builds import folder_of, folders

ARCHIVE = Path(__file__).parents[2]
CATALOG = ARCHIVE / "tests" / "figures" / "review" / "slips.yaml"


@dataclass(frozen=True)
class Slip:
    """One slip: the build and file it is written into, the field it spoils, its kind, and the text that changes."""

    build: str
    file: str
    field: str
    kind: str
    old: str
    new: str

    @property
    def title(self) -> str:
        """Return what was written in place of what."""
        return f"{self.build}/{self.file}: {self.field}, {self.kind}: {self.old!r} -> {self.new!r}"


@dataclass(frozen=True)
class Report:
    """Everything reported on one build: the fields of each warning or error, and the contradictions."""

    fields: frozenset[tuple[str, ...]]
    contradictions: tuple[Contradiction, ...]

    def names(self, field: str) -> bool:
        """Return whether a report names the field, or a value inside it."""
        return any(_is_in(path, field) or _is_position(field, path) for fields in self.fields for path in fields)


def _is_in(path: str, field: str) -> bool:
    return path == field or path.startswith(f"{field}.")


def _is_position(field: str, path: str) -> bool:
    """Return whether a field is one position of the reading at a path, which a mean names as a whole."""
    return re.fullmatch(rf"{re.escape(path)}\.(?:measured|repeats)(?:\.\d+)?", field) is not None


def catalog() -> tuple[Slip, ...]:
    """Return every slip of the catalog, in the order of its builds."""
    written = yaml.safe_load(CATALOG.read_text(encoding="utf-8"))
    return tuple(
        Slip(build, file, *entry)
        for build, files in written.items()
        for file, entries in files.items()
        for entry in entries
    )


@cache
def _shop() -> Shop:
    return read_shop(ARCHIVE)[0]


def report_on(folder: Path, archive: Path) -> Report:
    """Return what reading one build folder and computing its figures reports, each with its fields."""
    build, problems = read_build(folder, archive)
    sheet = compute(build, _shop()) if build is not None else None
    everything = [*problems, *(sheet.problems if sheet else ())]
    return Report(
        frozenset(problem.fields or (f"{problem.path.stem}:{problem.line}",) for problem in everything),
        sheet.contradictions if sheet else (),
    )


def reports_with(slips: list[Slip], work: Path) -> Iterator[tuple[Slip, Report]]:
    """Yield each slip with what is reported when it alone is written into a copy of its build."""
    for name in dict.fromkeys(slip.build for slip in slips):
        folder = work / "builds" / name
        shutil.copytree(folder_of(name), folder)
        for slip in slips:
            if slip.build != name:
                continue
            path = folder / slip.file
            original = path.read_bytes()
            text = original.decode("utf-8")
            if text.count(slip.old) != 1:
                raise ValueError(f"{slip.title}: the old text is there {text.count(slip.old)} times")
            path.write_bytes(text.replace(slip.old, slip.new).encode("utf-8"))
            yield slip, report_on(folder, work)
            path.write_bytes(original)


_READING = re.compile(r"(?P<sign>-?)(?P<number>\d+(?:\.\d+)?)(?P<unit> (?:in|mm|cc|g|deg|lbf|N|psi|bar|cfm|L/s))?")
_MEASURED_FILES = ("bottom_end", "top_end", "cam", "assembly", "work", "delivery", "dyno")
_NOT_READINGS = (
    "allowed", "at_least", "at_most", "listed", "resolution", "note", "number", "year", "count", "quantity", "cylinder",
    "x", "y", "grind", "per_cylinder", "rods_per_pin", "size", "stem", "seat", "at",
)  # fmt: skip
_DRAWN_KINDS = ("transposed", "transposed", "transposed", "decimal", "unit")


@dataclass(frozen=True)
class DrawnSlip:
    """A slip drawn at random: a reading anywhere in the record of a demo build, with two digits swapped or the like."""

    build: str
    document: str
    path: tuple[str | int, ...]
    kind: str
    old: str
    new: str

    @property
    def field(self) -> str:
        """Return the path of the reading."""
        return ".".join(map(str, (self.document, *self.path)))

    @property
    def title(self) -> str:
        """Return what was written in place of what."""
        return f"{self.build}: {self.field}, {self.kind}: {self.old!r} -> {self.new!r}"


def drawn_slips(count: int, seed: int) -> list[DrawnSlip]:
    """Return slips in readings drawn evenly from all readings of the demo builds."""
    generator = random.Random(seed)
    readings = [
        (folder.name, name, path, text)
        for folder in folders()
        for name in _MEASURED_FILES
        if (folder / f"{name}.yaml").is_file()
        for path, text in _readings(_as_text(folder / f"{name}.yaml"), ())
    ]
    drawn: dict[str, DrawnSlip] = {}
    while len(drawn) < count:
        build, document, path, text = generator.choice(readings)
        kind = generator.choice(_DRAWN_KINDS)
        new = _slipped(text, kind, generator)
        if new is not None:
            slip = DrawnSlip(build, document, path, kind, text, new)
            drawn.setdefault(f"{build}.{slip.field}", slip)
    return list(drawn.values())


def reports_with_drawn(slips: list[DrawnSlip], work: Path) -> Iterator[tuple[DrawnSlip, Report]]:
    """Yield each drawn slip with what is reported when it alone is written into a copy of its build."""
    for slip in slips:
        folder = work / "builds" / slip.build
        if not folder.is_dir():
            shutil.copytree(folder_of(slip.build), folder)
        path = folder / f"{slip.document}.yaml"
        original = path.read_bytes()
        content = _as_text(path)
        owner = content
        for step in slip.path[:-1]:
            owner = owner[step]
        owner[slip.path[-1]] = slip.new
        path.write_text(yaml.safe_dump(content, allow_unicode=True), encoding="utf-8")
        yield slip, report_on(folder, work)
        path.write_bytes(original)


def _as_text(path: Path) -> Any:
    """Return a YAML file with every scalar as it was written."""
    return yaml.load(path.read_text(encoding="utf-8"), Loader=yaml.BaseLoader)


def _readings(value: Any, path: tuple[str | int, ...]) -> Iterator[tuple[tuple[str | int, ...], str]]:
    if isinstance(value, dict):
        for key, item in value.items():
            if key not in _NOT_READINGS:
                yield from _readings(item, (*path, key))
    elif isinstance(value, list):
        for index, item in enumerate(value):
            yield from _readings(item, (*path, index))
    elif _READING.fullmatch(value):
        yield path, value


def _slipped(text: str, kind: str, generator: random.Random) -> str | None:
    """Return a reading with a slip of one kind, or None where it cannot have one."""
    match = _READING.fullmatch(text)
    assert match is not None
    sign, number, unit = match["sign"], match["number"], match["unit"] or ""
    if kind == "transposed":
        digits = [index for index, char in enumerate(number) if char.isdigit()]
        pairs = [(a, b) for a, b in pairwise(digits) if number[a] != number[b]]
        if not pairs:
            return None
        a, b = generator.choice(pairs)
        swapped = list(number)
        swapped[a], swapped[b] = swapped[b], swapped[a]
        return f"{sign}{''.join(swapped)}{unit}"
    if kind == "decimal":
        decimals = len(number.partition(".")[2])
        factor, more = generator.choice(((10, -1), (0.1, 1)))
        return f"{sign}{float(number) * factor:.{max(0, decimals + more)}f}{unit}" if float(number) else None
    other = {" in": " mm", " mm": " in"}.get(unit)
    return f"{sign}{number}{other}" if other and float(number) else None


def with_noise(value: Any, generator: np.random.Generator, steps: float) -> Any:
    """Return part of a record with noise on every measured position: so many units of its last digit (1 SD)."""
    if isinstance(value, Reading):
        noisy = (
            replace(quantity, si=quantity.si + round(generator.normal(0, steps)) * quantity.step)
            for quantity in value.measured
        )
        return replace(value, measured=tuple(noisy))
    if isinstance(value, RecordModel):
        return value.model_copy(
            update={name: with_noise(getattr(value, name), generator, steps) for name in type(value).model_fields}
        )
    return tuple(with_noise(item, generator, steps) for item in value) if isinstance(value, tuple) else value


def alarms_from_noise(runs: int, steps: float, seed: int) -> tuple[int, int]:
    """Return how many noisy copies of the demo builds have a contradiction, and how many copies there were."""
    generator = np.random.default_rng(seed)
    builds = [build for folder in folders() if (build := read_build(folder, ARCHIVE)[0]) is not None]
    alarms = 0
    for build in builds * runs:
        parts = {
            name: with_noise(getattr(build, name), generator, steps) for name in ("bottom_end", "top_end", "assembly")
        }
        alarms += bool(find_contradictions(Solver(Context(replace(build, logs={}, **parts), _shop(), REGISTRY))))
    return alarms, len(builds) * runs
