"""Read the shop's profile and build folders: every problem with file and line, no build stopped by another's."""

from __future__ import annotations

import dataclasses
import difflib
import re
from collections.abc import Sequence
from pathlib import Path

from builder.record.alternatives import read_alternatives
from builder.record.consistency import check_consistency
from builder.record.dyno_log.reader import DynoLog, read_dyno_log
from builder.record.field_names import with_field_names
from builder.record.files import build_folders, dangling_link, file_in, path_problem
from builder.record.models.build import DOCUMENTS, Build
from builder.record.models.fields import RecordModel
from builder.record.models.shop import Shop
from builder.record.plausibility import check_plausibility
from builder.record.problem import Problem, errors_in
from builder.record.shop_check import check_shop
from builder.record.taken_over import differences, with_taken_over
from builder.record.validation_errors import validate
from builder.record.yaml_loader import Document, read_yaml

__all__ = [
    "SHOP_FILE", "build_folders", "errors_in", "file_in", "read_build", "read_shop", "select_folders", "slug_problem",
    "validate",
]  # fmt: skip

SHOP_FILE = Path("builds") / "shop.yaml"
"""Where the shop's profile lies, from the archive's folder."""

SLUG = re.compile(r"[a-z0-9](?:[a-z0-9-]{0,78}[a-z0-9])?")


def slug_problem(slug: str) -> str | None:
    """Return what is wrong with the name of a build's folder, or None."""
    if SLUG.fullmatch(slug):
        return None
    fixed = re.sub(r"[^a-z0-9]+", "-", slug.lower())[:80].strip("-") or "a-name"
    return f"the folder's name becomes an address: use small letters, digits and hyphens, e.g. {fixed}"


def read_shop(archive: Path) -> tuple[Shop, list[Problem]]:
    """Return the shop's profile, the usual values where there is none, and what is wrong with it.

    Commands call `archive.shop_profile.read_shop_profile`, which reports the weights of similarity too.
    """
    path, shown = archive / SHOP_FILE, SHOP_FILE
    try:
        if dangling := dangling_link(path):
            return Shop(), [Problem(shown, 1, dangling)]
        if not path.exists():
            return Shop(), []
    except OSError as error:
        return Shop(), [_unreadable(shown, error)]
    if path_problem(path.parent, path):
        return Shop(), [Problem(shown, 1, "is a link that leaves the builds folder: put the file itself here")]
    document, problems = read_yaml(path, shown)
    if document is None:
        return Shop(), problems
    if document.value is None:
        return Shop(), []  # a file of comments only: nothing decided yet
    document, twice = with_field_names(document, Shop)
    shop, problems = validate(document, Shop)
    if not isinstance(shop, Shop):
        return Shop(), sorted(twice + problems)
    shop, problems = check_shop(shop, document)
    return shop, sorted(twice + problems)


def select_folders(archive: Path, slugs: Sequence[str]) -> tuple[list[Path], list[Problem]]:
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


def read_build(folder: Path, archive: Path) -> tuple[Build | None, list[Problem]]:
    """Read one build folder.

    Returns the build, or None where an error keeps it from being used, with every problem found.
    """
    shown = folder.relative_to(archive) if folder.is_relative_to(archive) else folder
    if message := slug_problem(folder.name):
        return None, [Problem(shown, 1, message)]
    try:
        if folder.is_symlink() and not folder.resolve().is_relative_to(archive.resolve()):
            return None, [Problem(shown, 1, "is a link that leaves the archive: put the build's own folder here")]
        if not (folder / "build.yaml").exists() and not dangling_link(folder / "build.yaml"):
            return None, [Problem(shown / "build.yaml", 1, f"is missing: start one with `millbook new {folder.name}`")]
        return _read(folder, shown)
    except (OSError, RuntimeError) as error:
        return None, [_unreadable(shown, error)]


def _read(folder: Path, shown: Path) -> tuple[Build | None, list[Problem]]:
    problems = _stray_files(folder, shown)
    documents, parts, more = _read_documents(folder, shown)
    problems += more
    if "build" not in parts:
        return None, sorted(problems)
    build = Build(folder.name, folder, documents=documents, **parts)  # type: ignore[arg-type]
    problems += check_consistency(build) + check_plausibility(build) + differences(build) + read_alternatives(build)[1]
    logs, more = _read_logs(build, shown)
    problems += more
    if errors_in(problems):
        return None, sorted(problems)
    return with_taken_over(dataclasses.replace(build, logs=logs)), sorted(problems)


def _read_documents(folder: Path, shown: Path) -> tuple[dict[str, Document], dict[str, RecordModel], list[Problem]]:
    documents: dict[str, Document] = {}
    parts: dict[str, RecordModel] = {}
    problems: list[Problem] = []
    for name, model in DOCUMENTS.items():
        path = folder / f"{name}.yaml"
        if dangling := dangling_link(path):
            problems.append(Problem(shown / path.name, 1, dangling))
            continue
        if not path.exists():
            continue
        if outside := path_problem(folder, path):
            problems.append(Problem(shown / path.name, 1, outside))
            continue
        document, more = read_yaml(path, shown / path.name)
        problems += more
        if document is None:
            continue
        document, more = with_field_names(document, model)
        problems += more
        documents[name] = document
        if document.value is None and name != "build":
            continue  # a file of comments only: nothing recorded yet
        part, more = validate(document, model)
        problems += more
        if part is not None:
            parts[name] = part
    return documents, parts, problems


def _unreadable(shown: Path, error: Exception) -> Problem:
    return Problem(shown, 1, f"cannot be read: {getattr(error, 'strerror', None) or error}")


def _stray_files(folder: Path, shown: Path) -> list[Problem]:
    problems = []
    for path in sorted(folder.iterdir()):
        if path.suffix.lower() in (".yaml", ".yml") and path.name not in {f"{name}.yaml" for name in DOCUMENTS}:
            near = difflib.get_close_matches(path.stem.lower(), DOCUMENTS, n=1, cutoff=0.5)
            hint = f"did you mean {near[0]}.yaml?" if near else f"known are {', '.join(DOCUMENTS)}"
            problems.append(Problem(shown / path.name, 1, f"is not read: {hint}", "warning"))
    return problems


def _read_logs(build: Build, shown: Path) -> tuple[dict[str, DynoLog], list[Problem]]:
    logs: dict[str, DynoLog] = {}
    problems: list[Problem] = []
    for index, pull in enumerate(build.pulls):
        if pull.file is None:
            continue
        path, message = file_in(build.folder, pull.file)
        if path is None:
            problems.append(Problem(*build.where(f"dyno.pulls.{index}.file"), message))
            continue
        log, more = read_dyno_log(
            path, columns=pull.columns, units=pull.units, decimal=pull.decimal_mark, shown_as=shown / pull.file
        )
        problems += more
        if log is not None:
            logs[pull.name] = log
    return logs, problems
