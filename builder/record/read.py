"""Reading build folders: every problem with file and line, no build stopped by another's."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from builder.record.build import DOCUMENTS, Build
from builder.record.dyno import Pull
from builder.record.dyno_csv import DynoLog, read_dyno_csv
from builder.record.fields import RecordModel
from builder.record.plausible import implausible
from builder.record.problem import Problem
from builder.record.readings import Reading
from builder.record.shop import Shop
from builder.record.walk import held, model_at
from builder.record.yaml_nodes import Document, read_yaml

SLUG = re.compile(r"^[a-z0-9](?:[a-z0-9-]{0,78}[a-z0-9])?$")


def build_folders(archive: Path) -> list[Path]:
    """The folders of the archive that hold builds, in the order of their names."""
    builds = archive / "builds"
    if not builds.is_dir():
        return []
    return sorted(folder for folder in builds.iterdir() if folder.is_dir() and not folder.name.startswith((".", "_")))


def read_shop(archive: Path) -> tuple[Shop, list[Problem]]:
    """The shop's profile; the usual values where there is none."""
    path = archive / "builds" / "shop.yaml"
    if not path.exists():
        return Shop(), []
    shown_as = Path("builds") / "shop.yaml"
    document, problems = read_yaml(path, shown_as)
    if document is None:
        return Shop(), problems
    shop, more = validate(document, Shop)
    return (shop if isinstance(shop, Shop) else Shop()), problems + more


def read_build(folder: Path, archive: Path) -> tuple[Build | None, list[Problem]]:
    """Read one build folder.

    Returns the build, or None where an error keeps it from being used, with every problem found.
    """
    shown = _shown(folder, archive)
    if not SLUG.match(folder.name):
        return None, [Problem(shown, 1, _bad_slug(folder.name))]
    if folder.is_symlink() and not folder.resolve().is_relative_to(archive.resolve()):
        return None, [Problem(shown, 1, "is a link that leaves the archive: put the build's own folder here")]
    if not (folder / "build.yaml").exists():
        return None, [Problem(shown / "build.yaml", 1, f"is missing: start one with `millbook new {folder.name}`")]
    parts: dict[str, RecordModel] = {}
    documents: dict[str, Document] = {}
    problems = _stray_files(folder, shown)
    for name, model in DOCUMENTS.items():
        path = folder / f"{name}.yaml"
        if not path.exists():
            continue
        if escape := _escapes(folder, path):
            problems.append(Problem(shown / path.name, 1, escape))
            continue
        document, more = read_yaml(path, shown / path.name)
        problems += more
        if document is None:
            continue
        documents[name] = document
        if document.value is None and name != "build":
            continue  # a file of comments only: nothing recorded yet
        part, more = validate(document, model)
        problems += more
        if part is not None:
            parts[name] = part
    if "build" not in parts:
        return None, problems
    build = Build(folder.name, folder, documents=documents, **parts)  # type: ignore[arg-type]
    problems += _wrong_counts(build) + _unknown_pulls(build) + _missing_photos(build) + implausible(build)
    logs, more = _read_logs(build, shown)
    problems += more
    if any(problem.severity == "error" for problem in problems):
        return None, problems
    return Build(folder.name, folder, documents=documents, logs=logs, **parts), problems  # type: ignore[arg-type]


def validate(document: Document, model: type[RecordModel]) -> tuple[RecordModel | None, list[Problem]]:
    """A document as its model, or None with what is wrong, each with its line."""
    if not isinstance(document.value, dict):
        what = "is empty" if document.value is None else "is not a mapping"
        first = next(iter(model.model_fields))
        return None, [Problem(document.path, document.line(()), f"{what}: write entries such as {first}: ...")]
    try:
        return model.model_validate(document.value), []
    except ValidationError as error:
        return None, sorted({_problem(fault, document, model) for fault in error.errors()})


def _problem(fault: Any, document: Document, model: type[RecordModel]) -> Problem:
    location = tuple(step for step in fault["loc"] if step != "[key]")
    line = document.line(location)
    name = ".".join(str(step + 1 if isinstance(step, int) else step) for step in location)
    return Problem(
        document.path, line, f"{name}: {_message(fault, location, model)}" if name else _message(fault, (), model)
    )


def _message(fault: Any, location: tuple[str | int, ...], model: type[RecordModel]) -> str:
    kind, given, context = fault["type"], fault.get("input"), fault.get("ctx") or {}
    shown = str(given)[:60]
    if kind == "extra_forbidden":
        known = list(model_at(model, location[:-1]).model_fields)
        near = difflib.get_close_matches(str(location[-1]), known, n=1, cutoff=0.5)
        return (
            f"unknown name: did you mean {near[0]!r}?" if near else f"unknown name: known here are {', '.join(known)}"
        )
    if kind == "missing":
        return "is missing: it must be given"
    if kind == "literal_error":
        choices = [word.strip("'\"") for word in re.split(r", | or ", str(context.get("expected", "")))]
        near = difflib.get_close_matches(shown, choices, n=1)
        hint = f"did you mean {near[0]!r}? " if near else ""
        return f"{shown!r} is not known here: {hint}write one of {', '.join(choices)}"
    if kind in ("reading", "value_error"):
        return str(fault["msg"]).removeprefix("Value error, ")
    if kind.startswith("date"):
        return f"{shown!r} is not a day: write year-month-day, e.g. 2024-05-17"
    if kind.startswith("int_"):
        return f"{shown!r} is not a whole number"
    if kind.startswith("float_") or kind == "finite_number":
        return f"{shown!r} is not a plain number: leave out units and words"
    if kind == "string_too_long":
        return f"is longer than {context.get('max_length')} characters: shorten it, or use a note or summary"
    if kind == "string_too_short":
        return "is empty: write a few words or leave the line out"
    if kind.startswith("string_"):
        return f"is {_kind_word(given)}; a few words of text are wanted"
    if kind in ("model_type", "model_attributes_type", "dict_type"):
        return f"is {_kind_word(given)}; entries of the form name: value are wanted, indented below it"
    if kind in ("tuple_type", "list_type"):
        return f"is {_kind_word(given)}; a list is wanted: start each entry with '- '"
    return str(fault["msg"])


def _kind_word(given: object) -> str:
    words = {dict: "a block of entries", list: "a list", bool: "yes/no", type(None): "empty"}
    return words.get(type(given), f"{str(given)[:60]!r}")


def _bad_slug(name: str) -> str:
    fixed = re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")[:80] or "a-name"
    return f"the folder's name becomes an address: use small letters, digits and hyphens, e.g. {fixed}"


def _stray_files(folder: Path, shown: Path) -> list[Problem]:
    problems = []
    for path in sorted(folder.iterdir()):
        if path.suffix in (".yaml", ".yml") and not (path.stem in DOCUMENTS and path.suffix == ".yaml"):
            near = difflib.get_close_matches(path.stem, DOCUMENTS, n=1, cutoff=0.5)
            hint = f"did you mean {near[0]}.yaml?" if near else f"known are {', '.join(DOCUMENTS)}"
            problems.append(Problem(shown / path.name, 1, f"is not read: {hint}", "warning"))
    return problems


def _shown(folder: Path, archive: Path) -> Path:
    return folder.relative_to(archive) if folder.is_relative_to(archive) else folder


def _escapes(folder: Path, path: Path) -> str | None:
    """What is wrong with a path that a record names, or None if it stays inside the build's folder."""
    try:
        inside = path.resolve().is_relative_to(folder.resolve())
    except (OSError, ValueError, RuntimeError):
        return "is not a path that can be followed"
    return None if inside else "leaves the build's folder: copy the file into it"


def file_in(folder: Path, written: str) -> tuple[Path | None, str]:
    """A file that the record names, or None with what is wrong."""
    if "\x00" in written or "\n" in written:
        return None, "holds a character that no file name may have"
    if Path(written).is_absolute() or ".." in Path(written.replace("\\", "/")).parts:
        return None, f"{written!r} leaves the build's folder: write a path inside it, e.g. dyno/pull-1.csv"
    path = folder / written
    if escape := _escapes(folder, path):
        return None, f"{written!r} {escape}"
    if not path.is_file():
        near = difflib.get_close_matches(written, _files(folder), n=1)
        return None, f"{written!r} is not there" + (f": did you mean {near[0]!r}?" if near else "")
    return path, ""


def _files(folder: Path) -> list[str]:
    return [path.relative_to(folder).as_posix() for path in sorted(folder.glob("*/*"))[:500] if path.is_file()]


def _wrong_counts(build: Build) -> list[Problem]:
    counts = {"cylinder": build.cylinders}
    for side in ("intake", "exhaust"):
        valve = build.get(f"top_end.heads.{side}_valve")
        if valve is not None:
            counts[f"{side} valve"] = build.cylinders * valve.per_cylinder
    problems = []
    for name in DOCUMENTS:
        part = getattr(build, name)
        if part is None:
            continue
        for item in held(part):
            wanted = counts.get(item.notes.each or "")
            if wanted is None or not isinstance(item.value, Reading) or len(item.value.measured) in (0, 1, wanted):
                continue
            path, line = build.where(".".join(map(str, (name, *item.location, "measured"))))
            each = f"{item.notes.each}{'s' if wanted != 1 else ''}"
            problems.append(
                Problem(
                    path,
                    line,
                    f"{'.'.join(map(str, item.location))}: {len(item.value.measured)} readings for {wanted} {each}: "
                    f"give one for each {item.notes.each}, in order, or one for all",
                )
            )
    return problems


def _unknown_pulls(build: Build) -> list[Problem]:
    problems: list[Problem] = []
    seen: list[str] = []
    for index, pull in enumerate(build.pulls):
        for key in ("since", "repeat_of"):
            named = getattr(pull, key)
            if named is not None and named not in seen:
                path, line = build.where(f"dyno.pulls.{index}.{key}")
                near = difflib.get_close_matches(named, seen, n=1)
                hint = f"did you mean {near[0]!r}?" if near else "name a pull that stands above this one"
                problems.append(Problem(path, line, f"{key}: no earlier pull is called {named!r}: {hint}"))
        if pull.name in seen:
            path, line = build.where(f"dyno.pulls.{index}.name")
            problems.append(Problem(path, line, f"two pulls are called {pull.name!r}: give each its own name"))
        seen.append(pull.name)
    return problems


def _missing_photos(build: Build) -> list[Problem]:
    problems = []
    for index, photo in enumerate(build.photos.photos if build.photos else ()):
        found, wrong = file_in(build.folder, photo.file)
        if found is None:
            path, line = build.where(f"photos.photos.{index}.file")
            problems.append(Problem(path, line, wrong))
        elif found.suffix.lower() not in (".jpg", ".jpeg", ".png"):
            path, line = build.where(f"photos.photos.{index}.file")
            problems.append(Problem(path, line, f"{photo.file!r} is not a JPEG or PNG picture"))
    return problems


def _read_logs(build: Build, shown: Path) -> tuple[dict[str, DynoLog], list[Problem]]:
    logs: dict[str, DynoLog] = {}
    problems: list[Problem] = []
    for index, pull in enumerate(build.pulls):
        if pull.file is None:
            continue
        path, wrong = file_in(build.folder, pull.file)
        if path is None:
            at, line = build.where(f"dyno.pulls.{index}.file")
            problems.append(Problem(at, line, wrong))
            continue
        log, more = _read_log(pull, path, shown)
        problems += more
        if log is not None:
            logs[pull.name] = log
    return logs, problems


def _read_log(pull: Pull, path: Path, shown: Path) -> tuple[DynoLog | None, list[Problem]]:
    assert pull.file is not None
    return read_dyno_csv(path, columns=pull.columns, units=pull.units, shown_as=shown / pull.file)


def errors_in(problems: Iterable[Problem]) -> list[Problem]:
    """The problems that keep a build from being published."""
    return [problem for problem in problems if problem.severity == "error"]
