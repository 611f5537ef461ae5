"""The files of one delivery pack, from the record without other people's private data."""

from __future__ import annotations

import datetime
import hashlib
import json
from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from builder.archive.engine_lookup import history_until
from builder.draw.chart_cache import ChartCache
from builder.figures.core.types import FigureSheet
from builder.figures.evaluate import compute
from builder.figures.export import figures_as_json
from builder.handover.binder_content import Binder, binder_of
from builder.handover.binder_pdf import binder_pdf
from builder.handover.checksums import BINDER, README, add_checksums, pack_digest
from builder.handover.engine_tag import tag_pdf, tag_size
from builder.handover.issue import ISSUE_FILE, Issue, IssuedPack, issue_content, issue_file, issue_of
from builder.handover.offline_site import compile_templates, offline_record
from builder.handover.redacted_record import delivered_record
from builder.publish.data_export import export_data
from builder.publish.english import english_of
from builder.publish.pages.build.charts import charts_for
from builder.publish.pages.build.page_chart import chart_guard, draw_page_charts
from builder.publish.photos import build_photos
from builder.publish.sheets.sheet_pdf import FILES, sheet_requests
from builder.publish.workers import INLINE, WorkerPool
from builder.record.models.build import Build
from builder.record.models.shop import Shop
from builder.record.problem import Problem
from builder.record.redaction import without_private

TAG, RECORD, DATA = "engine-tag.pdf", "record/", "data/"
_SHEET_TEXTS = {FILES["dyno"]: "the dyno result on one page", FILES["build"]: "the build on one page"}
_MEDIA = {".yaml": "application/yaml", ".csv": "text/csv", ".json": "application/json", ".jpg": "image/jpeg",
          ".jpeg": "image/jpeg", ".png": "image/png"}  # fmt: skip


@dataclass(frozen=True)
class CustomerView:
    """A build without the fields that its customer may not see, with its figures."""

    build: Build
    sheet: FigureSheet


def customer_view(build: Build, shop: Shop) -> CustomerView:
    """Return the build without its private fields, except those that shop.yaml allows in the handover."""
    public = without_private(build, shop.handover_holds)
    return CustomerView(public, compute(public, shop))


@dataclass(frozen=True)
class Pack:
    """Every file of a pack by path, its issue (None for a draft), its digest, and warnings for charts left out."""

    files: dict[str, bytes]
    issue: Issue | None
    digest: str
    problems: tuple[Problem, ...]


def make_pack(
    build: Build,
    view: CustomerView,
    shop: Shop,
    archive: Path,
    *,
    today: datetime.date,
    former: IssuedPack | None = None,
    draft: bool = False,
    workers: WorkerPool = INLINE,
) -> Pack:
    """Return the pack of a build: the issue after ``former``, or the same again where nothing changed.

    The same record and the same former pack give the same bytes. ``build`` is the record as read, for its documents
    and logs; everything else is made from ``view``. A process of ``workers`` draws the charts and builds the HTML
    meanwhile. Raises PublishError where a template has an error.
    """
    public, sheet = view.build, view.sheet
    guard = chart_guard(build.slug)
    charts = charts_for(public, sheet, shop, guard)
    # The customer's charts may show private data, so they are not cached.
    drawing_task = workers.submit(partial(draw_page_charts, charts, ChartCache(None), build.slug), retry=True)
    photos, pictures, _ = build_photos(public)
    english = english_of(shop.english, archive).keeping(public)
    history = history_until(public, archive, shop)
    place = len(history.builds) if history else None
    binder = binder_of(public, sheet, shop, archive, history)
    curves = export_data(public, sheet)
    data = {f"{DATA}{name}": content for name, content in curves.items()}
    record = delivered_record(build, shop.handover_holds, photos, pictures)
    data |= {f"{DATA}record/{name}": content for name, content in record.files.items()}
    data[f"{DATA}figures.json"] = _json(figures_as_json(build.slug, sheet))
    captions = {item.published.source_hash: item.photo.caption or item.photo.alt for item in photos}
    content = issue_content(data, shop, captions, _other_builds(binder))
    issue = None if draft else issue_of(content, former, today)
    data[ISSUE_FILE] = issue_file(issue, content)
    data[f"{DATA}datapackage.json"] = _datapackage(public, data, record.original_hashes)
    compile_templates(archive)
    drawings, chart_problems = drawing_task.result()
    requests = sheet_requests(public, sheet, shop, drawings, english, draft=draft)
    # typst releases the GIL, so the page is rendered while it compiles tag and sheets.
    with ThreadPoolExecutor(1) as executor:
        tag = executor.submit(tag_pdf, public, sheet, shop, archive=archive, english=english, draft=draft, place=place)
        compiled = [executor.submit(request.compile, archive, english) for request in requests]
        page = offline_record(
            public,
            sheet,
            shop,
            drawings,
            photos,
            pictures,
            archive=archive,
            english=english,
            data=curves,
            sheets=[request.link for request in requests],
            workers=workers,
        )
        sheets = [task.result() for task in compiled]
        files = {**data, **{f"{RECORD}{name}": content for name, content in page.items()}, TAG: tag.result()}
    files |= {item.file: item.pdf for item in sheets}
    digest = pack_digest(files)
    files[BINDER] = binder_pdf(
        binder,
        issue,
        sheet,
        shop,
        sheets,
        drawings,
        photos,
        pictures,
        archive=archive,
        english=english,
        digest=digest,
        draft=draft,
    )
    sheet_files = tuple(item.file for item in sheets)
    files[README] = english.text(_readme(binder, shop, digest, issue, sheet_files)).encode()
    return Pack(add_checksums(files), issue, digest, (*guard.problems, *chart_problems))


def _other_builds(binder: Binder) -> dict[str, str]:
    """Return what the binder shows of the engine's history, by day: it changes with the records of other builds."""
    rows = binder.engine_history.rows if binder.engine_history else ()
    return {f"{date}: {what}": details for date, what, details in rows}


def _json(value: object) -> bytes:
    return f"{json.dumps(value, ensure_ascii=False, indent=1, allow_nan=False)}\n".encode()


def _datapackage(build: Build, data: Mapping[str, bytes], original_hashes: Mapping[str, str]) -> bytes:
    """Return the data package of the session's files, extended to every file of the data.

    A log has the hash of the shop's own file too, from which its comments were left out.
    """
    package_path = f"{DATA}datapackage.json"
    package: dict[str, Any] = json.loads(data[package_path]) if package_path in data else {"name": build.slug}
    package["title"] = f"{build.build.title}: the data of its handover"
    package["description"] = "The record as delivered, the rows of the logs, corrected curves and all calculations."
    resources: list[dict[str, Any]] = package.setdefault("resources", [])
    listed = {resource["path"] for resource in resources}
    for path in sorted(data):
        name = path.removeprefix(DATA)
        if path == package_path or name in listed:
            continue
        resources.append({
            "name": f"file-{len(resources) + 1:03d}",
            "title": _title(name),
            "type": "file",
            "path": name,
            "scheme": "file",
            "format": Path(name).suffix.removeprefix(".").lower(),
            "mediatype": _MEDIA.get(Path(name).suffix.lower(), "application/octet-stream"),
        })  # fmt: skip
    for resource in resources:
        content = data[f"{DATA}{resource['path']}"]
        resource["bytes"] = len(content)
        resource["hash"] = f"sha256:{hashlib.sha256(content).hexdigest()}"
        if original := original_hashes.get(resource["path"].removeprefix("record/")):
            resource["originalHash"] = f"sha256:{original}"
    return _json(package)


def _title(name: str) -> str:
    if name == "figures.json":
        return "All calculations"
    if name == ISSUE_FILE.removeprefix(DATA):
        return "The issue of this pack, and what changed since the one before"
    kind = {".yaml": "as delivered", ".csv": "as it was logged, without comments"}.get(Path(name).suffix.lower(), "")
    return f"{name.removeprefix('record/')} {kind}".strip()


def _issue_lines(issue: Issue) -> list[str]:
    lines = [issue.text]
    for former in reversed(issue.former):
        lines += [f"Replaces issue {former.number}, {former.date}, with the digest", f"    {former.digest}"]
    return lines


def _readme(binder: Binder, shop: Shop, digest: str, issue: Issue | None, sheets: tuple[str, ...]) -> str:
    width, height = tag_size(shop)
    lines = [
        f"{binder.identity.title}",
        f"Build {binder.identity.number}, {binder.identity.shop}",
        *(_issue_lines(issue) if issue else ["", "DRAFT: something is still missing. Not for delivery."]),
        "",
        f"{BINDER}      the binder, to read and to print",
        *(f"{file:<15} {_SHEET_TEXTS[file]}" for file in sheets),
        f"{TAG}  a label for the engine, {width:g} x {height:g} mm",
        "record/         the engine's page: open record/index.html, works offline",
        "data/           the record, dyno logs, curves and figures, for other programs",
        "SEAL.txt        a SHA-256 digest of every file",
        "",
        "To check that the pack is complete and unaltered:",
        "    millbook handover --verify FOLDER       or       sha256sum -c SEAL.txt",
        "Digest of every file except binder.pdf, READ-FIRST.txt and SEAL.txt, as printed in the binder:",
        f"    {digest}",
        "",
        "A record of finished work, not instructions. The manufacturer's current manual, the rules where you are,",
        "and a qualified person's advice come first.",
        "",
    ]
    return "\n".join(lines)
