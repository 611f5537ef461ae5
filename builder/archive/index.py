"""The archive's index on disk: every Summary in one file, so that searching opens no record.

A header with the format and a hash of the rest, then one build a line, in the archive's order, as JSON. Where its
engine has a number, a second JSON value follows: what the build adds to the history of the engine. The same builds
always give the same bytes. Values that are None, NaN or infinite are not written.
"""

from __future__ import annotations

import hashlib
import json
import math
import os
from collections.abc import Iterable
from dataclasses import fields
from pathlib import Path
from typing import Any

import msgspec

from builder.archive.due_item import DueItem
from builder.archive.engine_build import EngineBuild
from builder.archive.summary import CoarseCurve, PartSummary, ShopNotes, Summary, newest_first

INDEX_PATH = Path(".millbook") / "index.json"
"""Where the index of the last publish is, in the archive's folder."""
FORMAT = "millbook archive index 2"
_ENGINE = b"\t"
"""Separates a build from what it adds to the history of its engine: no JSON value holds a tab."""
_FIELD_NAMES = tuple(f.name for f in fields(Summary) if f.name not in ("curve", "parts", "engine", "due", "shop"))


def dump_index(summaries: Iterable[Summary]) -> bytes:
    """Return the index file of these builds."""
    return join_lines(map(dump_line, newest_first(summaries)))


def join_lines(lines: Iterable[bytes]) -> bytes:
    """Return the index file of the builds with these lines, in this order."""
    body = b"".join(lines)
    header = json.dumps({"form": FORMAT, "sha256": hashlib.sha256(body).hexdigest()})
    return header.encode() + b"\n" + body


def write_index(path: Path, index: bytes) -> None:
    """Write the index atomically: a reader sees the old file or the new one, never a part."""
    temporary = path.with_name(f"{path.name}.{os.getpid()}.part")
    path.parent.mkdir(parents=True, exist_ok=True)
    try:
        temporary.write_bytes(index)
        os.replace(temporary, path)
    finally:
        temporary.unlink(missing_ok=True)


def read_index(path: Path) -> tuple[Summary, ...] | None:
    """Return the builds of an index, newest first; None when it is missing, damaged or of another format.

    The index holds nothing that the records do not, so the next publish writes it again.
    """
    try:
        entries = _parse(path.read_bytes())
    except OSError:
        return None
    return None if entries is None else tuple(summary for summary, _ in entries)


def parse_lines(content: bytes) -> dict[str, tuple[Summary, bytes]]:
    """Return the builds of an index file by slug, each with its line; none where the file is damaged."""
    return {summary.slug: (summary, line) for summary, line in _parse(content) or ()}


def _parse(content: bytes) -> list[tuple[Summary, bytes]] | None:
    try:
        header, _, body = content.partition(b"\n")
        if json.loads(header) != {"form": FORMAT, "sha256": hashlib.sha256(body).hexdigest()}:
            return None
        return [(_summary(line), line) for line in body.splitlines(keepends=True)]
    except (ValueError, TypeError, KeyError, msgspec.DecodeError):
        return None


def dump_line(summary: Summary) -> bytes:
    """Return a build's line of the index, the same bytes for the same build."""
    values: dict[str, Any] = {n: v for n in _FIELD_NAMES if _is_present(v := getattr(summary, n))}
    if summary.curve is not None and all(map(_is_present, (*summary.curve.speeds, *summary.curve.torque))):
        values["curve"] = [summary.curve.start, summary.curve.step, *summary.curve.torque]
    if summary.parts:
        values["parts"] = [[p.maker, p.number, p.kind, p.verdict] for p in summary.parts]
    if summary.due:
        values["due"] = msgspec.to_builtins(summary.due)
    if summary.shop is not None:
        values["shop"] = msgspec.to_builtins(summary.shop)
    line = json.dumps(values, ensure_ascii=True, separators=(",", ":"), allow_nan=False).encode()
    if summary.engine is not None:
        line += _ENGINE + msgspec.json.encode(summary.engine)
    return line + b"\n"


def _is_present(value: object) -> bool:
    return value not in (None, "") and not (isinstance(value, float) and not math.isfinite(value))


def _summary(line: bytes) -> Summary:
    build, _, engine = line.partition(_ENGINE)
    values = json.loads(build)
    curve, parts, due = values.pop("curve", None), values.pop("parts", ()), values.pop("due", None)
    shop = values.pop("shop", None)
    return Summary(
        **values,
        curve=None if curve is None else CoarseCurve(curve[0], curve[1], tuple(curve[2:])),
        parts=tuple(PartSummary(*p) for p in parts),
        due=msgspec.convert(due, tuple[DueItem, ...]) if due else (),
        shop=msgspec.convert(shop, ShopNotes) if shop is not None else None,
        engine=msgspec.json.decode(engine, type=EngineBuild) if engine else None,
    )
