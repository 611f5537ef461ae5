"""Look an XLSX file over before it is read: its size when unpacked, its XML, and what openpyxl does not tell.

A workbook is a ZIP file of XML parts. What could use up memory or time is refused here, while each part streams by:
parts that unpack to far more than they should, document types (and with them entities), rows of endless cells.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from typing import Any
from xml.parsers import expat
from zipfile import ZipFile, ZipInfo

from builder.record.spreadsheet.table import SpreadsheetError

MAX_PARTS = 3_000
MAX_UNPACKED = 150_000_000  # [bytes] of all parts together
MAX_RATIO = 250
_SMALL_PART = 5_000_000  # [bytes] whose ratio does not matter
MAX_ELEMENTS = 4_000_000
MAX_ELEMENTS_IN_ROW = 150_000
MAX_DEPTH = 200
_CHUNK = 1 << 16
_LISTED = 200


@dataclass
class PartScan:
    """What one part holds that its cells do not show."""

    merged: list[str] = field(default_factory=list)
    """Ranges of merged cells: A5:A7."""
    without_value: set[str] = field(default_factory=set)
    """Cells with a formula whose result the file does not hold."""
    elements: int = 0


def scan_parts(archive: ZipFile) -> dict[str, PartScan]:
    """Return the scan of every XML part of a workbook by its name. Raises SpreadsheetError for a harmful file."""
    parts = archive.infolist()
    if len(parts) > MAX_PARTS:
        raise SpreadsheetError(f"holds {len(parts):,} parts: that is no workbook of a shop")
    for part in parts:
        if part.file_size > _SMALL_PART and part.file_size > MAX_RATIO * max(part.compress_size, 1):
            raise SpreadsheetError(f"unpacks to more than {MAX_RATIO} times its size ({_shown(part)}): it is not read")
    if sum(part.file_size for part in parts) > MAX_UNPACKED:
        raise SpreadsheetError(
            f"unpacks to more than {MAX_UNPACKED / 1e6:,.0f} MB: save the sheet that is wanted in a file of its own"
        )
    scans: dict[str, PartScan] = {}
    elements = 0
    for part in parts:
        if part.is_dir() or not _is_xml(archive, part):
            continue
        scan = _scan(archive, part)
        scans[part.filename] = scan
        elements += scan.elements
        if elements > MAX_ELEMENTS:
            raise SpreadsheetError("holds more cells than are read: divide it into several files")
    return scans


def _shown(part: ZipInfo) -> str:
    return part.filename[:60]


def _is_xml(archive: ZipFile, part: ZipInfo) -> bool:
    """Return whether a part is XML that a reader of workbooks may parse; pictures never are."""
    if part.filename.startswith("xl/media/"):
        return False
    with archive.open(part) as file:
        head = file.read(64).lstrip(b"\xef\xbb\xbf\xff\xfe \t\r\n\x00")
    return head.startswith(b"<") or part.filename.endswith((".xml", ".rels"))


class _Scanner:
    """Counts the elements of a part, and remembers merged cells and formulas without a result."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.parser = expat.ParserCreate()
        self.parser.StartDoctypeDeclHandler = self.doctype
        self.parser.StartElementHandler = self.start
        self.parser.EndElementHandler = self.end
        self.scan = PartScan()
        self.depth = self.in_row = 0
        self.cell = ""
        self.seen: dict[str, bool] = defaultdict(bool)

    def doctype(self, *_: Any) -> None:
        raise SpreadsheetError(f"declares a document type ({self.name[:60]}), which no workbook needs: it is not read")

    def value(self, _: str) -> None:
        self.seen["v"] = True

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        name = tag.rpartition(":")[2]
        self.depth += 1
        self.scan.elements += 1
        self.in_row = 0 if name in ("row", "si") else self.in_row + 1
        if self.in_row > MAX_ELEMENTS_IN_ROW or self.scan.elements > MAX_ELEMENTS or self.depth > MAX_DEPTH:
            raise SpreadsheetError(f"holds more than is read ({self.name[:60]}): is it damaged?")
        if name == "c":
            self.cell = attributes.get("r", "")
            self.seen.clear()
        elif name == "v":
            self.parser.CharacterDataHandler = self.value
        elif name in ("f", "is"):
            self.seen[name] = True
        elif name == "mergeCell" and len(self.scan.merged) < _LISTED:
            self.scan.merged.append(attributes.get("ref", ""))

    def end(self, tag: str) -> None:
        self.depth -= 1
        name = tag.rpartition(":")[2]
        if name == "v":
            self.parser.CharacterDataHandler = None
        elif name == "c" and self.seen["f"] and not (self.seen["v"] or self.seen["is"]):
            self.scan.without_value.add(self.cell)


def _scan(archive: ZipFile, part: ZipInfo) -> PartScan:
    scanner = _Scanner(part.filename)
    with archive.open(part) as file:
        while chunk := file.read(_CHUNK):
            scanner.parser.Parse(chunk, False)
    scanner.parser.Parse(b"", True)
    return scanner.scan
