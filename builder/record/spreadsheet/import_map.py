"""The map of an import: which column of a spreadsheet goes into which field, read from YAML."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator

from builder.record.models.dyno import ChannelPairs, DecimalMark
from builder.record.models.fields import Count, Line, Lines, RecordModel, field
from builder.record.problem import Problem, did_you_mean
from builder.record.spreadsheet.headings import read_heading
from builder.record.spreadsheet.table import MAX_HEADING_LENGTH, SheetCell, SheetTable, column_letter
from builder.record.spreadsheet.targets import FieldTarget, parse_target
from builder.record.validation_errors import validate
from builder.record.yaml_loader import Document, read_yaml

SLUG_PATTERN = "{number}-{title}"
PLACEHOLDER = re.compile(r"\{([^{}]+)\}")
_SEARCHED_ROWS = 30


def _field_alone(given: Any) -> Any:
    return {"into": given} if isinstance(given, (str, list)) else given


class ColumnEntry(RecordModel):
    """Where one column goes."""

    into: Lines = field("path of the field, or of several", "bottom_end.crankshaft.stroke", default=())
    unit: Line | None = field("unit of its numbers", "in")


class DynoEntry(RecordModel):
    """Where the dyno logs are: a sheet, a file, or a folder with a file for each pull."""

    sheet: Line | None = field("sheet of the same file", "Dyno")
    file: Line | None = field("another spreadsheet, from the folder of the map", "dyno.csv")
    folder: Line | None = field(
        "folder with files whose names begin with the number of a build, from the folder of the map", "logs"
    )
    header_row: Count | None = field("row of its headings, where it is not found", "1")
    number: Line | None = field("column with the number of the build", "Job")
    pull: Line | None = field("column with the name of the pull; without it all rows of a build are one pull", "Run")
    columns: ChannelPairs | None = field("column of each channel, where its heading is unclear", "{torque: TQ2}")
    units: ChannelPairs | None = field("units that the headings do not give", "{torque: lbf.ft}")


_Entry = Annotated[ColumnEntry, BeforeValidator(_field_alone)]


class ImportMap(RecordModel):
    """The map of an import."""

    sheet: Line | None = field("sheet with a row for each build", "Builds")
    header_row: Count | None = field("row with the headings", "1")
    slug: Line = field("name of a build's folder, with fields in braces", SLUG_PATTERN, default=SLUG_PATTERN)
    decimal_mark: DecimalMark | None = field("decimal mark, where the cells leave it open", ".")
    date_order: Literal["day-month", "month-day"] | None = field("order in days such as 3/4/1998", "month-day")
    columns: dict[str, _Entry | None] = field("field of each column, by its heading", "", required=True)
    values: dict[str, Line | None] | None = field("fields that are the same for every build", "{status: finished}")
    dyno: DynoEntry | None = field("dyno logs, joined by the number of the build", "")


@dataclass(frozen=True, slots=True)
class MappedColumn:
    """One column of the sheet and the fields it goes into; none where it is not imported."""

    index: int
    heading: str
    targets: tuple[FieldTarget, ...] = ()
    unit: str = ""
    remark: str = ""
    needs_unit: bool = False
    """Whether a proposal leaves the unit to be written."""

    @property
    def name(self) -> str:
        """The column in a message: its letter and its heading."""
        return f"column {column_letter(self.index)} ({self.heading[:60]})"


@dataclass(frozen=True, slots=True)
class CheckedMap:
    """A map that was checked against its sheet."""

    columns: tuple[MappedColumn, ...]
    values: tuple[tuple[FieldTarget, str], ...]
    slug: str
    settings: ImportMap


def read_map(path: Path) -> tuple[ImportMap | None, Document | None, list[Problem]]:
    """Return a map and its document, or None and what is wrong with it."""
    document, problems = read_yaml(path, path)
    if document is None:
        return None, None, problems
    settings, problems = validate(document, ImportMap)
    return (settings if isinstance(settings, ImportMap) else None), document, problems


def find_header(table: SheetTable, row: int | None = None) -> int | None:
    """Return the place of the headings among the rows of a sheet: the row named, or the one that names most fields."""
    if row is not None:
        return next((place for place, (number, _) in enumerate(table.rows) if number == row), None)
    best, place_of_best = 0, None
    for place, (_, cells) in enumerate(table.rows[:_SEARCHED_ROWS]):
        known = sum(bool(read_heading(cell.text).targets) for cell in cells if cell and not cell.is_number)
        if known > best:
            best, place_of_best = known, place
    if place_of_best is None:
        wide = (place for place, (_, cells) in enumerate(table.rows[:_SEARCHED_ROWS]) if sum(map(bool, cells)) > 1)
        return next(wide, None)
    return place_of_best


def headings(table: SheetTable, header: int) -> list[str]:
    """Return the heading of every column, each different: an empty one, or the second of a name, has its letter."""
    cells = table.rows[header][1]
    width = max((len(row) for _, row in table.rows[header:]), default=0)
    names: list[str] = []
    seen: set[str] = set()
    for index in range(width):
        text = " ".join(cells[index].text.split())[:MAX_HEADING_LENGTH] if index < len(cells) else ""
        letter = f"column {column_letter(index)}"
        name = text if text and text not in seen else f"{text}, {letter}" if text else letter
        seen.add(name)
        names.append(name)
    return names


def resolve(settings: ImportMap, document: Document, names: list[str]) -> tuple[CheckedMap | None, list[Problem]]:
    """Return a map with its columns found among the headings of a sheet, or None and what is wrong with it."""
    problems: list[Problem] = []

    def problem(location: tuple[str, ...], message: str) -> None:
        problems.append(Problem(document.path, document.line(location), message))

    columns: dict[int, MappedColumn] = {}
    for heading, entry in settings.columns.items():
        wanted = " ".join(heading.split())
        index = next((place for place, name in enumerate(names) if name.casefold() == wanted.casefold()), None)
        if index is None:
            hint = did_you_mean(wanted, names, f"its headings are {', '.join(names[:15])}")
            problem(("columns", heading), f"the sheet has no column {wanted[:60]!r}: {hint}")
            continue
        targets, unit = [], (entry.unit or "") if entry else ""
        for path in entry.into if entry else ():
            target = parse_target(path)
            if isinstance(target, str):
                problem(("columns", heading), f"{heading[:60]}: {target}")
                continue
            if unit and (message := target.unit_problem(unit)):
                problem(("columns", heading, "unit"), f"{heading[:60]}: {message}")
            if target.field.startswith("imported_from"):
                problem(("columns", heading), f"{heading[:60]}: imported_from is written by the import itself")
            targets.append(target)
        columns[index] = MappedColumn(index, names[index], tuple(targets), unit)
    values = []
    for path, text in (settings.values or {}).items():
        target = parse_target(path)
        if isinstance(target, str):
            problem(("values", path), target)
        elif text is None:
            if target.path == "engine.cylinders":
                problem(("values", path), "has no value: write how many, or give a column for it")
        else:
            values.append((target, text))
    known = {target.field for column in columns.values() for target in column.targets}
    known |= {target.field for target, _ in values}
    for location, text in ((("slug",), settings.slug), *((("values", t.path), text) for t, text in values)):
        for name in PLACEHOLDER.findall(text):
            target = parse_target(name)
            if isinstance(target, str) or target.field not in known:
                problem(location, f"{{{name[:60]}}} is a field that no column goes into")
    if not PLACEHOLDER.search(settings.slug):
        problem(("slug",), f"names no field, so that every build would have the same folder: write e.g. {SLUG_PATTERN}")
    every = tuple(columns.get(index, MappedColumn(index, name)) for index, name in enumerate(names))
    return (None if problems else CheckedMap(every, tuple(values), settings.slug, settings)), problems


def column_cells(table: SheetTable, header: int, index: int) -> list[tuple[int, SheetCell]]:
    """Return the cells of a column below the headings, each with its row."""
    return [(number, cells[index]) for number, cells in table.rows[header + 1 :] if index < len(cells) and cells[index]]
