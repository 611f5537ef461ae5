"""Archives for the tests of the handover, from the demo builds."""

from __future__ import annotations

import datetime
import io
import re
import shutil
from collections.abc import Callable
from functools import lru_cache
from pathlib import Path
from typing import Any

import pypdf
import yaml

from builder.draw.chart_cache import ChartCache
from builder.figures.core.types import FigureSheet
from builder.figures.evaluate import compute
from builder.handover.pack import customer_view, make_pack
from builder.publish.english import US
from builder.publish.pages.build.charts import charts_for
from builder.publish.pages.build.page_chart import chart_guard, draw_page_charts
from builder.publish.sheets.sheet_pdf import CHARTS, sheet_pdfs, sheet_requests
from builder.record.load import read_build, read_shop
from builder.record.models.build import DOCUMENTS, Build
from builder.record.models.fields import RecordModel, notes_of
from builder.record.redaction import without_private
from builder.record.schema_shape import shape_of
from builder.record.traversal import models_in

REPO = Path(__file__).resolve().parents[2]
FULL = "pilot-launch-four"
SMALL = "irrigation-single"

Change = Callable[[str, Any, type[RecordModel], str], Any]
"""Takes a field's path, its value, its model and its name; returns the value to write."""


def archive_with(folder: Path, slug: str = FULL, *, shop: dict[str, Any] | None = None) -> Path:
    """Write an archive with one demo build and the demo shop, in which nothing is required."""
    builds = folder / "builds"
    builds.mkdir(parents=True)
    shutil.copytree(REPO / "builds" / slug, builds / slug)
    profile = yaml.safe_load((REPO / "builds" / "shop.yaml").read_text(encoding="utf-8"))
    profile.pop("delivery_requires", None)
    write_yaml(builds / "shop.yaml", profile | (shop or {}))
    return folder


def write_yaml(path: Path, value: Any) -> None:
    path.write_text(yaml.safe_dump(value, allow_unicode=True, sort_keys=False), encoding="utf-8")


def bare_archive(folder: Path, **sheet: Any) -> Path:
    """Write an archive with one build of which next to nothing is recorded, and no shop.yaml."""
    home = folder / "builds" / "bare"
    home.mkdir(parents=True)
    write_yaml(home / "build.yaml", {"title": "Bare", "status": "finished", "engine": {"cylinders": 1}} | sheet)
    return folder


def public_view(archive: Path, slug: str) -> tuple[Build, FigureSheet]:
    """Return a build without its private fields, with its figures."""
    build, problems = read_build(archive / "builds" / slug, archive)
    assert build is not None, problems
    public = without_private(build)
    return public, compute(public, read_shop(archive)[0])


def sheets_of(archive: Path, slug: str) -> dict[str, bytes]:
    """Return the one-page sheets of a build by file name, as a publish makes them."""
    shop, _ = read_shop(archive)
    build, sheet = public_view(archive, slug)
    charts = [chart for chart in charts_for(build, sheet, shop, chart_guard(slug)) if chart.request.name in CHARTS]
    drawings, problems = draw_page_charts(charts, ChartCache(None), slug)
    assert not problems
    return sheet_pdfs(sheet_requests(build, sheet, shop, drawings, US), archive, US)


def load_yaml(archive: Path, slug: str, document: str) -> Any:
    path = archive / "builds" / slug / f"{document}.yaml"
    return yaml.load(path.read_text(encoding="utf-8"), Loader=yaml.BaseLoader) if path.exists() else None


def change_everywhere(archive: Path, slug: str, change: Change) -> None:
    """Rewrite every field that a build's documents hold, private fields that are missing included."""
    for name, model in DOCUMENTS.items():
        value = load_yaml(archive, slug, name)
        if value is not None:
            write_yaml(archive / "builds" / slug / f"{name}.yaml", _changed(value, model, name, change))


def _changed(value: Any, model: type[RecordModel], at: str, change: Change) -> Any:
    if isinstance(value, list):
        return [_changed(entry, model, at, change) for entry in value]
    if not isinstance(value, dict):
        return value
    parts = {}
    for name, info in model.model_fields.items():
        where, inner = f"{at}.{name}", models_in(info.annotation)
        if name in value and inner:
            parts[name] = _changed(value[name], inner[0], where, change)
        elif name in value or notes_of(info).private:
            new = change(where, value.get(name), model, name)
            if new is not None:
                parts[name] = new
    return parts


_NAMES_SOMETHING = {"file", "since", "repeat_of", "delivered", "at", "unit", "barometer_is", "octane", "caution"}


def is_free_text(model: type[RecordModel], name: str) -> bool:
    """Return whether a field takes any text, and nothing else refers to it or is read from it."""
    if name in _NAMES_SOMETHING or (model.__name__ == "Pull" and name == "name"):
        return False
    if model.__name__ == "Setting" or (model.__name__, name) in (("BoreGauging", "unit"), ("Dyno", "delivered")):
        return False
    return shape_of(model.model_fields[name]).kind in ("text", "prose")


@lru_cache(maxsize=32)
def page_texts(pdf: bytes) -> tuple[str, ...]:
    """Return the text of each page of a PDF."""
    return tuple(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(pdf)).pages)


def text_of(pdf: bytes) -> str:
    """Return all text of a PDF, page after page."""
    return "\n".join(page_texts(pdf))


def without_blanks(text: str) -> str:
    """Return text without blanks, line ends and soft hyphens, so that line breaks do not matter."""
    return re.sub("[\\s\u200b\u00ad]+", "", text)


@lru_cache(maxsize=32)
def unpacked_pdf(pdf: bytes) -> bytes:
    """Return every stream of a PDF unpacked, every string in it, and its text."""
    reader = pypdf.PdfReader(io.BytesIO(pdf))
    parts = [pdf, without_blanks(text_of(pdf)).encode()]
    for number in range(1, len(reader.xref_objStm) + max(reader.xref.get(0, {0: 0}), default=0) + 1):
        thing = reader.get_object(pypdf.generic.IndirectObject(number, 0, reader))
        if isinstance(thing, pypdf.generic.StreamObject):
            parts.append(thing.get_data())
        if thing is not None:
            parts.append(repr(thing).encode())
    return b"\n".join(parts)


def build_pack_files(archive: Path, slug: str, *, draft: bool = False) -> dict[str, bytes]:
    """Return the files of a build's pack by path, without writing them."""
    shop, _ = read_shop(archive)
    build, problems = read_build(archive / "builds" / slug, archive)
    assert build is not None, problems
    return make_pack(
        build, customer_view(build, shop), shop, archive, draft=draft, today=datetime.date(2026, 3, 1)
    ).files


def read_files(folder: Path) -> dict[str, bytes]:
    """Return every file below a folder by path."""
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def pdf_reader(files: dict[str, bytes], name: str = "binder.pdf") -> pypdf.PdfReader:
    """Return a reader of a PDF of a pack."""
    return pypdf.PdfReader(io.BytesIO(files[name]))


def write_build(archive: Path, slug: str = "bare", **documents: Any) -> Build:
    """Write documents of a build, and return the build as read."""
    for name, value in documents.items():
        write_yaml(archive / "builds" / slug / f"{name}.yaml", value)
    build, problems = read_build(archive / "builds" / slug, archive)
    assert build is not None, problems
    return build
