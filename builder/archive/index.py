"""The archive's index on disk: every Summary in one file, so that searching opens no record.

One JSON value a line: a heading with the form and a digest of the rest, then one build a line, in the
archive's order. The same builds always give the same bytes. Values that are None, or no number at all (NaN,
infinite), are not written.
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

from builder.archive.summary import Curve, Part, Summary, newest_first

INDEX_PATH = Path(".millbook") / "index.json"
"""Where the index of the last publish is, in the archive's folder."""
FORM = "millbook archive index 1"
_NAMES = tuple(f.name for f in fields(Summary) if f.name not in ("curve", "parts"))


def dump_index(summaries: Iterable[Summary]) -> bytes:
    """The index file of these builds."""
    return join_lines(map(dump_line, newest_first(summaries)))


def join_lines(lines: Iterable[bytes]) -> bytes:
    """The index file of the builds with these lines, in this order."""
    body = b"".join(lines)
    head = json.dumps({"form": FORM, "sha256": hashlib.sha256(body).hexdigest()})
    return head.encode() + b"\n" + body


def write_index(path: Path, index: bytes) -> None:
    """Write the index in one step: a reader sees the old file or the new one, never a part."""
    temporary = path.with_name(f"{path.name}.{os.getpid()}.part")
    path.parent.mkdir(parents=True, exist_ok=True)
    try:
        temporary.write_bytes(index)
        os.replace(temporary, path)
    finally:
        temporary.unlink(missing_ok=True)


def read_index(path: Path) -> tuple[Summary, ...] | None:
    """The builds of an index, newest first; None when it is missing, damaged or of another form.

    The caller then makes it anew from the records: the index holds nothing that they do not.
    """
    try:
        read = _read(path.read_bytes())
    except OSError:
        return None
    return None if read is None else tuple(summary for summary, _ in read)


def parse_lines(content: bytes) -> dict[str, tuple[Summary, bytes]]:
    """By slug: the builds of an index file's content, each with its line; none where it is damaged."""
    return {summary.slug: (summary, line) for summary, line in _read(content) or ()}


def _read(content: bytes) -> list[tuple[Summary, bytes]] | None:
    try:
        head, _, body = content.partition(b"\n")
        heading = json.loads(head)
        if heading != {"form": FORM, "sha256": hashlib.sha256(body).hexdigest()}:
            return None
        return [(_build(json.loads(line)), line) for line in body.splitlines(keepends=True)]
    except (ValueError, TypeError, KeyError):
        return None


def dump_line(summary: Summary) -> bytes:
    """A build's line of the index: all that the archive knows of it, the same bytes for the same build."""
    out: dict[str, Any] = {n: v for n in _NAMES if _is_present(v := getattr(summary, n))}
    if summary.curve is not None and all(map(_is_present, (*summary.curve.speeds, *summary.curve.torque))):
        out["curve"] = [summary.curve.start, summary.curve.step, *summary.curve.torque]
    if summary.parts:
        out["parts"] = [[p.maker, p.number, p.kind, p.verdict] for p in summary.parts]
    return json.dumps(out, ensure_ascii=True, separators=(",", ":"), allow_nan=False).encode() + b"\n"


def _is_present(value: object) -> bool:
    return value not in (None, "") and not (isinstance(value, float) and not math.isfinite(value))


def _build(out: dict[str, Any]) -> Summary:
    curve, parts = out.pop("curve", None), out.pop("parts", ())
    return Summary(
        **out,
        curve=None if curve is None else Curve(curve[0], curve[1], tuple(curve[2:])),
        parts=tuple(Part(*p) for p in parts),
    )
