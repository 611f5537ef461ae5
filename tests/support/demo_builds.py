"""A fixed part of the demo archive, so that tests do not take longer with every build that is added to it."""

from __future__ import annotations

import shutil
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
FURTHER = Path(__file__).with_name("archive")
"""An archive with builds of kinds that the demo does not have."""
SAMPLE = (
    "breakdown-truck-v8", "climb-special-six", "fire-pump-flat-four", "generator-gas-six", "grasstrack-sidecar-twin",
    "hydroplane-two-stroke", "irrigation-single", "methanol-speed-single", "offshore-v8", "pilot-launch-four",
    "post-van-four", "roadster-six", "sprint-e85-four", "workboat-diesel-four",
)  # fmt: skip
"""Builds of every kind: complete and sparse ones, two-stroke and diesel, in both systems; one is in progress.

Tests that go over "the demo builds" take these. Only a few go over all of `builds/`: that every build is read and
checked without a problem, and that the whole archive is published, in US and in UK English.
"""


def folders(*slugs: str) -> list[Path]:
    """Return the folders of the builds named, or of the sample, in the order of their names."""
    return [folder_of(slug) for slug in sorted(slugs or SAMPLE)]


def folder_of(slug: str) -> Path:
    """Return the folder of a build of the demo, or of a further one."""
    folder = ROOT / "builds" / slug
    return folder if folder.is_dir() else FURTHER / "builds" / slug


def copy_builds(archive: Path, *slugs: str) -> Path:
    """Copy the builds named, or the sample, with the shop's profile into an archive, and return the archive."""
    (archive / "builds").mkdir(parents=True, exist_ok=True)
    shutil.copy(ROOT / "builds" / "shop.yaml", archive / "builds")
    for folder in folders(*slugs):
        shutil.copytree(folder, archive / "builds" / folder.name)
    return archive
