"""What the reader and the figures have to say of the records, without making a page."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from functools import partial
from pathlib import Path

from builder.archive.engine_checks import EngineEntry, engine_problems
from builder.archive.engine_history import EngineHistory
from builder.archive.engine_lookup import has_engine_number, history_until
from builder.archive.engine_record import engine_entry
from builder.archive.service_due import schedule_problems
from builder.archive.shop_profile import read_shop_profile
from builder.archive.wear_report import wear_as_json, wear_lines
from builder.figures.core.guard import Guard
from builder.figures.core.types import FigureSheet
from builder.figures.dyno.pull import PullResult
from builder.figures.evaluate import compute
from builder.figures.export import figures_as_json, figures_as_lines
from builder.figures.review.delivery_readiness import Readiness, readiness
from builder.publish.pages.build.goals_section import goal_rows
from builder.publish.pages.build.headline import performance_sentences
from builder.record.load import build_folders, errors_in, file_in, read_build, select_folders
from builder.record.models.build import Build
from builder.record.models.shop import Shop
from builder.record.plausibility import us_measures
from builder.record.problem import Problem
from builder.record.report import CommandReport
from builder.record.wording import count_of, plain_spaces


def check_records(archive: Path, slugs: Sequence[str] = (), *, delivery: bool = False) -> CommandReport:
    """Check the builds named, or all of them; with ``delivery`` also whether they are ready to be handed over."""
    shop, problems = read_shop_profile(archive)
    folders, unknown = select_folders(archive, slugs)
    problems += unknown
    lines: list[str] = []
    ready = True
    engines: dict[str, EngineEntry | None] = {}
    for folder in folders:
        guard = Guard(folder.name, "checked")
        check = partial(_check_build, folder, archive, shop, delivery=delivery, log_notes=bool(slugs))
        report, engines[folder.name] = guard.run("the build", check, (CommandReport((), (), ok=False), None))
        problems += [*report.problems, *guard.problems]
        lines += report.lines
        ready = ready and report.ok
    problems += _engine_problems(archive, shop, engines)
    ok = ready and not errors_in(problems)
    count = len(folders)
    if ok and not delivery:
        lines.append(f"{count_of(count, 'build')} checked, no errors")
    return CommandReport(problems, lines, ok)


def _check_build(
    folder: Path, archive: Path, shop: Shop, *, delivery: bool, log_notes: bool
) -> tuple[CommandReport, EngineEntry | None]:
    """Check one build, and return what its record says of its engine, where that has a number.

    All is well unless the build is to be handed over and something is missing.
    """
    build, problems = read_build(folder, archive)
    if build is None:
        return CommandReport(problems, (), ok=True), None
    sheet = compute(build, shop)
    problems += [*sheet.problems, *_photo_problems(build), *schedule_problems(build, shop)]
    engine = engine_entry(build, shop)
    if shop.english == "uk":
        problems += us_measures(build)
    lines: list[str] = []
    if log_notes and sheet.session is not None:
        lines += [f"{build.slug}: {sentence}" for sentence in performance_sentences(build, sheet)]
        lines += _log_notes(build.slug, sheet.session.pulls)
    if not delivery:
        return CommandReport(problems, lines, ok=True), engine
    result = readiness(build, shop, sheet)
    lines += [*_readiness_lines(build.slug, result), *_goal_lines(build.slug, sheet)]
    return CommandReport(problems, lines, result.ready), engine


def _engine_problems(archive: Path, shop: Shop, checked: Mapping[str, EngineEntry | None]) -> list[Problem]:
    """Return what cannot be true of the engines of the builds that were checked, against all their other builds."""
    keys = {entry.engine.key for entry in checked.values() if entry is not None}
    if not keys:
        return []
    entries, folders = dict(checked), build_folders(archive)
    for folder in folders:
        if folder.name not in entries and has_engine_number(folder):
            build, _ = read_build(folder, archive)
            entries[folder.name] = engine_entry(build, shop) if build is not None else None
    numbered = [entry for entry in entries.values() if entry is not None and entry.engine.key in keys]
    unnumbered = [folder.name for folder in folders if not has_engine_number(folder)]
    return engine_problems(archive, numbered, [folder.name for folder in folders], unnumbered)


def _goal_lines(slug: str, sheet: FigureSheet) -> Iterator[str]:
    """Yield a line for each goal of the customer that has a number; one that is not met does not prevent delivery."""
    for goal in goal_rows(sheet):
        result = f"; as delivered {goal.result}" if goal.result else ""
        text = f"{slug}: goal {goal.outcome}: {goal.name}, wanted {goal.wanted}{result}"
        yield plain_spaces(text)


def figures_report(archive: Path, slug: str, *, as_json: bool = False) -> CommandReport:
    """Compute the figures of one build and return them as lines with their working, or as JSON in SI units."""
    shop, problems = read_shop_profile(archive)
    folders, unknown = select_folders(archive, (slug,))
    problems += unknown
    guard = Guard(slug)
    lines: tuple[str, ...] = ()
    for folder in folders:
        build, build_problems = guard.run("the build", partial(read_build, folder, archive), (None, []))
        problems += build_problems
        if build is not None:
            sheet = compute(build, shop)
            problems += sheet.problems
            history = guard.run("the history of its engine", partial(history_until, build, archive, shop), None)
            if as_json:
                lines = (guard.run("the sheet of figures", partial(_as_json, slug, sheet, history), ""),)
            else:
                lines = (
                    *performance_sentences(build, sheet),
                    *guard.collect("the sheet of figures", partial(figures_as_lines, sheet)),
                    *(guard.collect("wear", partial(wear_lines, history, slug)) if history is not None else ()),
                )
    problems += guard.problems
    return CommandReport(problems, lines, ok=not errors_in(problems))


def _as_json(slug: str, sheet: FigureSheet, history: EngineHistory | None) -> str:
    content = figures_as_json(slug, sheet)
    if history is not None and (wear := wear_as_json(history, slug)):
        content["wear"] = wear
    return json.dumps(content, indent=2, ensure_ascii=False)


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
        same_format = f" same format as {previous.name!r}" if previous and len(notes) < len(pull.notes) else ""
        lines += [f"{slug}, {pull.name}:{same_format}", *(f"  {note}" for note in notes)]
        previous = pull
    return lines


def _readiness_lines(slug: str, result: Readiness) -> list[str]:
    cautions = [
        f"  {'accepted' if caution.is_accepted else 'caution'}  {caution.name}: {caution.text}"
        for caution in result.cautions
    ]
    if not result.present and not result.missing:
        hint = "list the required fields under delivery_requires"
        return [f"{slug}: shop.yaml has no delivery requirements: {hint}", *cautions]
    return [
        f"{slug}: {'ready for delivery' if result.ready else 'not ready for delivery'}",
        *(f"  missing  {item.title}: {item.message}" for item in result.missing),
        *(f"  present  {item.title}" for item in result.present),
        *cautions,
    ]
