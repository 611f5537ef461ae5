"""A synthetic archive of any size: builds varied from the demo, three pulls each, the same for the same seed."""

from __future__ import annotations

import random
import re
import shutil
from datetime import date, timedelta
from pathlib import Path
from typing import Any, ClassVar

import yaml

from tests.support.demo_builds import ROOT, folders

PULLS = 3
_NUMBER = re.compile(r"(?<![\w./:-])(\d+\.\d{3,})(?=$|[\s,;])")
_HEADER_LINES, _MISSING_SHARE = 12, 0.04
"""Lines of a log that stay as they are, and the share of the readings below them that go missing."""


class _Reader(yaml.SafeLoader):
    """Reads every scalar as the text it is, so that it can be written down again as it was."""

    yaml_implicit_resolvers: ClassVar[dict[str, Any]] = {}


class _Writer(yaml.SafeDumper):
    """Writes every scalar bare."""

    yaml_implicit_resolvers: ClassVar[dict[str, Any]] = {}


def _read(path: Path) -> Any:
    return yaml.load(path.read_text(encoding="utf-8"), Loader=_Reader)


def write_archive(archive: Path, count: int, seed: int = 1) -> list[str]:
    """Write `count` builds into `archive/builds` and return their slugs.

    Only builds of the sample with three pulls or more serve as models. Every finely measured number differs in its
    last digit, dates differ from build to build, and in every log some readings are missing.
    """
    models = [folder for folder in folders() if _pulls(folder) >= PULLS and _finished(folder)]
    (archive / "builds").mkdir(parents=True)
    shutil.copyfile(ROOT / "builds" / "shop.yaml", archive / "builds" / "shop.yaml")
    slugs = []
    for number in range(count):
        model = models[number % len(models)]
        slug = f"{model.name}-{number + 1:05d}"
        write_build(model, archive / "builds" / slug, number, random.Random(f"{seed}/{number}"))
        slugs.append(slug)
    return slugs


def write_build(model: Path, folder: Path, number: int, chance: random.Random) -> None:
    """Write a build that differs from its model in every finely measured number."""
    folder.mkdir()
    for path in sorted(model.glob("*.yaml")):
        document = _varied(_read(path), chance)
        if path.name == "build.yaml":
            finished = date(1990, 1, 1) + timedelta(days=chance.randrange(36 * 365))
            document |= {
                "title": f"{document['title']}, number {number + 1}",
                "number": f"B-{number + 1:05d}",
                "finished": finished.isoformat(),
                "started": (finished - timedelta(days=90)).isoformat(),
            }
        if path.name == "delivery.yaml":
            document.pop("delivered", None)
        if path.name == "dyno.yaml":
            document["pulls"] = _first_pulls(document["pulls"])
            names = {pull["name"] for pull in document["pulls"]}
            for reference in ("delivered", "before_work"):
                if reference in document and document[reference] not in names:
                    del document[reference]
            (folder / "dyno").mkdir()
            for pull in document["pulls"]:
                log = (model / pull["file"]).read_bytes()
                (folder / pull["file"]).write_bytes(_varied_log(log, chance))
        text = yaml.dump(document, Dumper=_Writer, sort_keys=False, allow_unicode=True, width=110)
        (folder / path.name).write_text(text, encoding="utf-8")
    if (model / "photos").is_dir():
        shutil.copytree(model / "photos", folder / "photos")


def _pulls(folder: Path) -> int:
    session = folder / "dyno.yaml"
    return len(_read(session)["pulls"]) if session.is_file() else 0


def _finished(folder: Path) -> bool:
    return bool((folder / "build.yaml").is_file() and _read(folder / "build.yaml")["status"] == "finished")


def _first_pulls(pulls: list[dict[str, Any]]) -> list[dict[str, Any]]:
    first = pulls[:PULLS]
    names = {pull["name"] for pull in first}
    for pull in first:
        for reference in ("since", "repeat_of"):
            if reference in pull and pull[reference] not in names:
                del pull[reference]
    return first


def _varied(value: Any, chance: random.Random) -> Any:
    """Return a document with another last digit in every finely measured number."""
    if isinstance(value, dict):
        return {key: _varied(inner, chance) for key, inner in value.items()}
    if isinstance(value, list):
        return [_varied(inner, chance) for inner in value]
    if isinstance(value, str) and ".." not in value:
        return _NUMBER.sub(lambda match: f"{match[1][:-1]}{chance.randrange(1, 10)}", value)
    return value


def _varied_log(log: bytes, chance: random.Random) -> bytes:
    """Return a log in which some readings are missing, in the encoding it has."""
    encoding = "utf-16" if log[:2] in (b"\xff\xfe", b"\xfe\xff") else "latin-1"
    lines = log.decode(encoding).splitlines(keepends=True)
    readings = (line for line in lines[_HEADER_LINES:] if chance.random() >= _MISSING_SHARE)
    return "".join([*lines[:_HEADER_LINES], *readings]).encode(encoding)
