"""A small archive to read from: one build with a little of everything, changed file by file."""

from __future__ import annotations

from pathlib import Path

import pytest
from PIL import Image

from builder.record.load import read_build
from builder.record.models.build import Build
from builder.record.problem import Problem
from tests.support.record_samples import CSV, SHEET, ReadWith


@pytest.fixture
def archive(tmp_path: Path) -> Path:
    folder = tmp_path / "builds" / "test-engine"
    for inner in ("dyno", "photos"):
        (folder / inner).mkdir(parents=True)
    (folder / "build.yaml").write_text(SHEET, encoding="utf-8")
    (folder / "dyno" / "pull-1.csv").write_text(CSV, encoding="utf-8")
    Image.new("RGB", (40, 30)).save(folder / "photos" / "deck.jpg")
    return tmp_path


@pytest.fixture
def folder(archive: Path) -> Path:
    return archive / "builds" / "test-engine"


@pytest.fixture
def read(archive: Path, folder: Path) -> ReadWith:
    """Write documents into the build's folder, then read it."""

    def written_and_read(**documents: str) -> tuple[Build | None, list[Problem]]:
        for name, text in documents.items():
            (folder / f"{name}.yaml").write_text(text, encoding="utf-8")
        return read_build(folder, archive)

    return written_and_read
