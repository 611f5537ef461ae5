"""The published archive that the commands are asked about."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from builder.publish.deploy.lock import lock
from tests.support.command_line import run

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="session")
def published_archive(shared_folder: Path) -> Path:
    """Return an archive with three demo builds, published once for all workers of a run."""
    archive, done = shared_folder / "commands", shared_folder / "commands.done"
    with lock(shared_folder / "commands.lock"):
        if not done.exists():
            (archive / "builds").mkdir(parents=True)
            shutil.copy(ROOT / "builds" / "shop.yaml", archive / "builds")
            for slug in ("pilot-launch-four", "roadster-six", "breakdown-truck-v8"):
                shutil.copytree(ROOT / "builds" / slug, archive / "builds" / slug)
            assert run("publish", archive=archive).exit_code == 0
            done.touch()
    return archive
