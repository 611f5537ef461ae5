"""The record of one build as a small script file, which the compare page loads for the builds it compares.

It adds one entry to the global ``millbookRecords``: the shop's number of the engine, and the fields file by file. A
file is its place in the order of the work, its title and its fields; a field is its group, its title and its value;
then, where they differ from it, the value in the metric system and the numbers at every position. A 0 takes the place
of one that is left out before another.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from itertools import groupby
from typing import Any

from builder.archive.compare import ComparedRecord
from builder.archive.finder_json import escape_script
from builder.archive.recorded_fields import RecordedField
from builder.record.models.build import DOCUMENT_TITLES

GLOBAL = "millbookRecords"
RECORD_SCRIPT = "record.js"
_ORDER = tuple(DOCUMENT_TITLES)


def record_script(slug: str, record: ComparedRecord, translate: Callable[[str], str] = str) -> bytes:
    """Return the content of a build's ``record.js``; `translate` returns a title in the English of the archive."""
    files = [
        [_ORDER.index(file), translate(DOCUMENT_TITLES[file]), [_entry(field, translate) for field in fields]]
        for file, fields in groupby(record.fields, key=lambda field: field.file)
    ]
    value = {"engine": record.engine, "files": files}
    text = escape_script(json.dumps(value, ensure_ascii=False, separators=(",", ":"), allow_nan=False))
    return f"(globalThis.{GLOBAL}??={{}})[{json.dumps(slug)}]=JSON.parse('{text}');\n".encode()


def _entry(field: RecordedField, translate: Callable[[str], str]) -> list[Any]:
    metric = 0 if field.metric == field.inch else field.metric
    entry = [
        translate(field.group),
        translate(field.title),
        field.inch,
        metric,
        field.in_full if field.positions else 0,
    ]
    while entry[-1] == 0:
        entry.pop()
    return entry
