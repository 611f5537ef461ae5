"""The published archive that the commands are asked about."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.support.command_line import run
from tests.support.demo_builds import copy_builds
from tests.support.once import once


@pytest.fixture(scope="session")
def published_archive(shared_folder: Path) -> Path:
    """Return an archive with three demo builds, published once for all workers of a run."""

    def make(archive: Path) -> Path:
        copy_builds(archive, "pilot-launch-four", "roadster-six", "breakdown-truck-v8")
        assert run("publish", archive=archive).exit_code == 0
        return archive

    return once(shared_folder, "commands", make)
