"""Packs that many tests look at, each built once for all workers of a run."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from builder.handover.packs import handover
from tests.support.handover_samples import (
    FULL,
    SMALL,
    archive_with,
    bare_archive,
    load_yaml,
    read_files,
    write_yaml,
)
from tests.support.once import once


def _pack(shared: Path, name: str, slug: str, make_archive: Callable[[Path], Path]) -> Path:
    def make(archive: Path) -> Path:
        report = handover(make_archive(archive), (slug,))
        assert report.ok, report.lines
        return archive / "handover" / slug

    return once(shared, name, make)


def _archive_of_two(folder: Path) -> Path:
    archive_with(folder)
    second = folder / "builds" / "other-engine"
    shutil.copytree(folder / "builds" / FULL, second)
    record = load_yaml(folder, "other-engine", "build")
    write_yaml(second / "build.yaml", record | {"title": "The other engine", "number": "X-9999"})
    return folder


@pytest.fixture(scope="session")
def full_pack(shared_folder: Path) -> Path:
    """Return the pack of the fullest demo build, in an archive of two and a folder whose name URLs must quote."""
    return _pack(shared_folder, "off line & 100%", FULL, _archive_of_two)


@pytest.fixture(scope="session")
def small_pack(shared_folder: Path) -> Path:
    """Return the pack of a small demo build."""
    return _pack(shared_folder, "small pack", SMALL, lambda folder: archive_with(folder, SMALL))


@pytest.fixture(scope="session")
def bare_pack(shared_folder: Path) -> Path:
    """Return the pack of a build of which next to nothing is recorded."""
    return _pack(shared_folder, "bare pack", "bare", bare_archive)


@pytest.fixture(scope="session")
def full_files(full_pack: Path) -> dict[str, bytes]:
    """Return the files of the full pack by path."""
    return read_files(full_pack)


@pytest.fixture(scope="session")
def bare_files(bare_pack: Path) -> dict[str, bytes]:
    """Return the files of the bare pack by path."""
    return read_files(bare_pack)
