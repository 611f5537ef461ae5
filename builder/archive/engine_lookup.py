"""The builds of one engine, found in the records themselves: for what is made without the index of a publish."""

from __future__ import annotations

import re
from pathlib import Path

from builder.archive.build_summary import summary_of_record
from builder.archive.engine_build import engine_key
from builder.archive.engine_history import EngineHistory, in_order
from builder.record.files import build_folders, content_of
from builder.record.load import read_build
from builder.record.models.build import Build
from builder.record.models.shop import Shop

_MENTION = re.compile(rb"engine[ _-]?number", re.IGNORECASE)
_LINE = re.compile(rb"^[ \t]*[\"']?engine[ _-]?number[\"']?[ \t]*:[ \t]*([^#\r\n]*)", re.IGNORECASE | re.MULTILINE)


def has_engine_number(folder: Path) -> bool:
    """Return whether the record in a folder may name an engine."""
    return _MENTION.search(content_of(folder / "build.yaml")) is not None


def history_until(build: Build, archive: Path, shop: Shop) -> EngineHistory | None:
    """Return the history of a build's engine up to that build; None without an engine number.

    Of the others only finished builds count. Nothing private is in it, and nothing of a later build.
    """
    number = build.build.engine_number
    key = engine_key(number) if number else ""
    if not key:
        return None
    summaries = [summary_of_record(build, shop)]
    for folder in build_folders(archive):
        if folder.name == build.slug or not _may_be_of(folder, key):
            continue
        other, _ = read_build(folder, archive)
        if other is not None and other.build.status == "finished":
            summary = summary_of_record(other, shop)
            if summary.engine is not None and summary.engine.key == key:
                summaries.append(summary)
    ordered = in_order(summaries)
    place = [summary.slug for summary in ordered].index(build.slug)
    return EngineHistory(key, ordered[: place + 1])


def _may_be_of(folder: Path, key: str) -> bool:
    """Return whether the record in a folder may be of an engine, without reading it as a record."""
    content = content_of(folder / "build.yaml")
    lines = _LINE.findall(content)
    if not lines:
        return _MENTION.search(content) is not None
    return any(engine_key(line.decode("utf-8", "replace").strip(" \t\"'")) == key for line in lines)
