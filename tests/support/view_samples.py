"""Demo builds, read and computed once for the tests of the pages."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from builder.figures.core.types import FigureSheet
from builder.figures.evaluate import compute
from builder.record.load import read_build, read_shop
from builder.record.models.build import Build
from builder.record.models.shop import Shop
from builder.record.redaction import without_private
from tests.support.demo_builds import ROOT, folder_of


@cache
def shop() -> Shop:
    return read_shop(ROOT)[0]


@cache
def build_and_sheet(slug: str) -> tuple[Build, FigureSheet]:
    build, _ = read_build(folder_of(slug), ROOT)
    assert build is not None
    public = without_private(build)
    return public, compute(public, shop())


def write_and_read(folder: Path, **files: str) -> tuple[Build, FigureSheet]:
    """Write a build of these YAML files; return it read and computed."""
    home = folder / "builds" / "one"
    home.mkdir(parents=True, exist_ok=True)
    for name, text in files.items():
        (home / f"{name}.yaml").write_text(text, encoding="utf-8")
    build, problems = read_build(home, folder)
    assert build is not None, [str(problem) for problem in problems]
    return build, compute(build, Shop(name="Example"))
