"""What the reader and the figures have to say of the records, without making a page."""

from __future__ import annotations

import difflib
import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from builder.archive.shop_profile import read_shop_profile
from builder.figures.dyno.pull import PullResult
from builder.figures.evaluate import compute
from builder.figures.review.delivery_readiness import Readiness, readiness
from builder.record.load import build_folders, errors_in, file_in, read_build
from builder.record.models.build import Build
from builder.record.problem import Problem


@dataclass(frozen=True)
class CheckReport:
    """Problems, lines to print, and whether all is well."""

    problems: tuple[Problem, ...]
    lines: tuple[str, ...]
    ok: bool


def check_records(archive: Path, slugs: Sequence[str] = (), *, delivery: bool = False) -> CheckReport:
    """Check the builds named, or all of them; with ``delivery`` also whether they are ready to be handed over."""
    shop, problems = read_shop_profile(archive)
    folders, unknown = _select_folders(archive, slugs)
    problems += unknown
    lines: list[str] = []
    ready = True
    for folder in folders:
        build, build_problems = read_build(folder, archive)
        problems += build_problems
        if build is None:
            continue
        sheet = compute(build, shop)
        problems += sheet.problems
        problems += _photo_problems(build)
        if slugs and sheet.session is not None:
            lines += _log_notes(build.slug, sheet.session.pulls)
        if delivery:
            result = readiness(build, shop, sheet)
            ready = ready and result.ready
            lines += _readiness_lines(build.slug, result)
    ok = ready and not errors_in(problems)
    count = len(folders)
    if ok and not delivery:
        lines.append(f"{count} build{'s' if count != 1 else ''} looked over: no error")
    return CheckReport(tuple(problems), tuple(lines), ok)


def figures_report(archive: Path, slug: str, *, as_json: bool = False) -> CheckReport:
    """Compute the figures of one build and return them as lines with their working, or as JSON in SI units."""
    from builder.figures.export import figures_as_json, figures_as_lines

    shop, problems = read_shop_profile(archive)
    folders, unknown = _select_folders(archive, (slug,))
    problems += unknown
    build = None
    for folder in folders:
        build, build_problems = read_build(folder, archive)
        problems += build_problems
    if build is None:
        return CheckReport(tuple(problems), (), ok=False)
    sheet = compute(build, shop)
    problems += sheet.problems
    lines: Iterable[str] = figures_as_lines(sheet)
    if as_json:
        lines = [json.dumps(figures_as_json(slug, sheet), indent=2, ensure_ascii=False)]
    return CheckReport(tuple(problems), tuple(lines), ok=not errors_in(problems))


def _select_folders(archive: Path, slugs: Sequence[str]) -> tuple[list[Path], list[Problem]]:
    """Return the folders of the builds named (of all, if none is), and a problem for each that does not exist."""
    folders = build_folders(archive)
    if not slugs:
        if not folders:
            return [], [Problem(archive / "builds", 1, "holds no build: start one with `millbook new SLUG`")]
        return folders, []
    by_name = {folder.name: folder for folder in folders}
    problems = []
    for slug in slugs:
        if slug not in by_name:
            matches = difflib.get_close_matches(slug, by_name, n=1)
            hint = f"did you mean {matches[0]}?" if matches else "start it with `millbook new`"
            problems.append(Problem(archive / "builds" / slug, 1, f"there is no such build: {hint}"))
    return [by_name[slug] for slug in slugs if slug in by_name], problems


def _photo_problems(build: Build) -> list[Problem]:
    """Return a problem for each photo that cannot be published; missing files are among the reader's problems."""
    from builder.publish.photos import validate_photo

    problems: list[Problem] = []
    for index, photo in enumerate(build.photos.photos if build.photos else ()):
        path, _ = file_in(build.folder, photo.file)
        if path is not None:
            problems += validate_photo(path, build.where(f"photos.photos.{index}.file"))
    return problems


def _log_notes(slug: str, pulls: Sequence[PullResult]) -> list[str]:
    """Return what was read, skipped and assumed in each log, without what repeats the log before it."""
    lines: list[str] = []
    previous: PullResult | None = None
    for pull in pulls:
        repeated = set(previous.notes) if previous else set()
        notes = [note for note in pull.notes if note not in repeated]
        same_format = f" read as {previous.name!r} was" if previous and len(notes) < len(pull.notes) else ""
        lines += [f"{slug}, {pull.name}:{same_format}", *(f"  {note}" for note in notes)]
        previous = pull
    return lines


def _readiness_lines(slug: str, result: Readiness) -> list[str]:
    cautions = [f"  caution  {caution.text}" for caution in result.cautions]
    if not result.present and not result.missing:
        hint = "list what must be there under delivery_requires"
        return [f"{slug}: shop.yaml requires nothing of a delivery: {hint}", *cautions]
    return [
        f"{slug}: {'ready for delivery' if result.ready else 'not ready for delivery'}",
        *(f"  missing  {item.title}: {item.message}" for item in result.missing),
        *(f"  there    {item.title}" for item in result.present),
        *cautions,
    ]
