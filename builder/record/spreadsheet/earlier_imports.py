"""Find the builds that were imported from a sheet before, and what differs in the sheet since."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from builder.record.files import build_folders, content_of
from builder.record.quantities.readings import as_written
from builder.record.spreadsheet.dyno_logs import comparable
from builder.record.spreadsheet.table import SheetTable
from builder.record.yaml_loader import read_yaml


@dataclass(frozen=True, slots=True)
class EarlierImport:
    """A build that came from a sheet: the name of its folder, its row, and what the row held by its headings."""

    slug: str
    row: str
    cells: Mapping[str, str]


def earlier_imports(archive: Path, table: SheetTable) -> dict[str, EarlierImport]:
    """Return the builds that came from a sheet, by the names of their folders."""
    imports: dict[str, EarlierImport] = {}
    if not (archive / "builds").is_dir():
        return imports
    for folder in build_folders(archive):
        path = folder / "build.yaml"
        if b"imported_from" not in content_of(path):
            continue
        document, _ = read_yaml(path, path)
        value = document.value if document else None
        source = value.get("imported_from") if isinstance(value, dict) else None
        if not isinstance(source, dict) or as_written(source.get("file")) != table.file:
            continue
        if as_written(source.get("sheet", "")) == table.sheet:
            cells = source.get("cells")
            texts = {name: as_written(text) for name, text in cells.items()} if isinstance(cells, dict) else {}
            imports[folder.name] = EarlierImport(folder.name, as_written(source.get("row", "")), texts)
    return imports


def same_row(earlier: EarlierImport, row: int, number: str, heading: str) -> bool:
    """Return whether a row with another name for its folder is that of an earlier import.

    It is known by the number of the build, which is below ``heading``; where there is none, by the row.
    """
    if comparable(number):
        return comparable(earlier.cells.get(heading, "")) == comparable(number)
    return earlier.row == str(row)


def changed_cells(before: Mapping[str, str], now: Mapping[str, str]) -> list[str]:
    """Return what differs between a row as it was and as it is, a few words for each cell."""
    return [
        f"{name} {_shown(before.get(name))}, now {_shown(now.get(name))}"
        for name in dict.fromkeys((*now, *before))
        if before.get(name) != now.get(name)
    ]


def _shown(text: str | None) -> str:
    return "empty" if text is None else repr(text[:40])
