"""`millbook publish`."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest

from tests.support.command_line import run


def test_new_check_publish_from_nothing(tmp_path: Path) -> None:
    assert run("new", "harbour-tug", archive=tmp_path).exit_code == 0
    assert (tmp_path / "builds" / "harbour-tug" / "build.yaml").is_file()
    assert run("check", "harbour-tug", archive=tmp_path).exit_code == 0
    again = run("new", "harbour-tug", archive=tmp_path)
    assert again.exit_code == 1
    result = run("publish", archive=tmp_path)
    assert result.exit_code == 0
    assert "skipped: harbour-tug (in progress)" in result.output
    everything = run("publish", "--all", archive=tmp_path)
    assert "1 build published" in everything.output


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="needs a folder that cannot be written to")
def test_read_only_archive_is_a_message(published_archive: Path, tmp_path: Path) -> None:
    shutil.copytree(published_archive / "builds", tmp_path / "builds")
    tmp_path.chmod(0o500)
    try:
        result = run("publish", archive=tmp_path)
        assert result.exit_code == 1
        assert "not allowed" in result.output
    finally:
        tmp_path.chmod(0o700)
