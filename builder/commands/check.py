"""Looking records over: everything the reader and the figures have to say, without making a page."""

from __future__ import annotations

import difflib
from collections.abc import Sequence
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
    """What looking over came to."""

    problems: tuple[Problem, ...]
    lines: tuple[str, ...]
    ok: bool


def chosen_folders(archive: Path, slugs: Sequence[str]) -> tuple[list[Path], list[Problem]]:
    """The build folders that slugs name (all without any), with a problem for each that is not there."""
    folders = build_folders(archive)
    if not slugs:
        if not folders:
            return [], [Problem(archive / "builds", 1, "holds no build: start one with `millbook new SLUG`")]
        return folders, []
    by_name = {folder.name: folder for folder in folders}
    problems = []
    for slug in slugs:
        if slug not in by_name:
            near = difflib.get_close_matches(slug, by_name, n=1)
            hint = f"did you mean {near[0]}?" if near else "start it with `millbook new`"
            problems.append(Problem(archive / "builds" / slug, 1, f"there is no such build: {hint}"))
    return [by_name[slug] for slug in slugs if slug in by_name], problems


def check(archive: Path, slugs: Sequence[str] = (), *, delivery: bool = False) -> CheckReport:
    """Look over the builds named, or all of them."""
    shop, problems = read_shop_profile(archive)
    folders, missing = chosen_folders(archive, slugs)
    problems += missing
    lines: list[str] = []
    ready = True
    for folder in folders:
        build, found = read_build(folder, archive)
        problems += found
        if build is None:
            continue
        sheet = compute(build, shop)
        problems += sheet.problems
        problems += _photo_problems(build)
        if slugs and sheet.session is not None:
            lines += _log_notes(build.slug, sheet.session.pulls)
        if delivery:
            found_ready = readiness(build, shop, sheet)
            ready = ready and found_ready.ready
            lines += _readiness_lines(build.slug, found_ready)
    good = not errors_in(problems) and ready
    count = len(folders)
    if good and not delivery:
        lines.append(f"{count} build{'s' if count != 1 else ''} looked over: no error")
    return CheckReport(tuple(problems), tuple(lines), good)


def _photo_problems(build: Build) -> list[Problem]:
    """Pictures that cannot be published; those that are not there, the reader has named."""
    from builder.publish.photos import validate_photo

    problems: list[Problem] = []
    for index, photo in enumerate(build.photos.photos if build.photos else ()):
        source, _ = file_in(build.folder, photo.file)
        if source is not None:
            problems += validate_photo(source, build.where(f"photos.photos.{index}.file"))
    return problems


def _log_notes(slug: str, pulls: Sequence[PullResult]) -> list[str]:
    """What was read, skipped and assumed in every log; what is as in the log before it is not said again."""
    lines: list[str] = []
    before: PullResult | None = None
    for pull in pulls:
        known = set(before.notes) if before else set()
        fresh = [said for said in pull.notes if said not in known]
        as_before = f" read as {before.name!r} was" if before and len(fresh) < len(pull.notes) else ""
        lines += [f"{slug}, {pull.name}:{as_before}", *(f"  {said}" for said in fresh)]
        before = pull
    return lines


def _readiness_lines(slug: str, found: Readiness) -> list[str]:
    if not found.present and not found.missing:
        said = [f"{slug}: shop.yaml requires nothing of a delivery: list what must be there under delivery_requires"]
        return said + [f"  caution  {caution.text}" for caution in found.cautions]
    said = [f"{slug}: {'ready for delivery' if found.ready else 'not ready for delivery'}"]
    said += [f"  missing  {item.title}: {item.says}" for item in found.missing]
    said += [f"  there    {item.title}" for item in found.present]
    said += [f"  caution  {caution.text}" for caution in found.cautions]
    return said
