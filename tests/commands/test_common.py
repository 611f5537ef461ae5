"""What several commands share: how a build is named, and a message where nothing was published."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from builder.record.files import MAX_FILE_BYTES, content_of
from tests.support import tiny_archive as tiny
from tests.support.command_line import run

BUILD = "pilot-launch-four"


@pytest.mark.parametrize("written", [f"builds/{BUILD}", f"builds/{BUILD}/", f"./builds/{BUILD}/", f"{BUILD}/"])
def test_a_build_may_be_named_by_the_path_of_its_folder(written: str, published_archive: Path) -> None:
    for command in ("check", "figures", "similar"):
        assert (
            run(command, written, archive=published_archive).output
            == run(command, BUILD, archive=published_archive).output
        )


def test_queries_in_an_archive_without_builds_have_a_message(tmp_path: Path) -> None:
    (tmp_path / "builds").mkdir()
    for words, status, message in (
        (("find",), 0, "no builds match"),
        (("similar", "x"), 1, "no published build is called x"),
        (("compare", "a", "b"), 1, "no published build is called a"),
    ):
        result = run(*words, archive=tmp_path)
        assert result.exit_code == status
        assert message in result.output


@pytest.mark.parametrize(
    "command",
    [("check",), ("check", "one"), ("figures", "one"), ("publish",), ("preview",), ("find", "x"), ("similar", "one"),
     ("compare", "one", "two"), ("handover", "--all"), ("handover", "one")],
)  # fmt: skip
def test_without_the_folder_of_builds_every_command_names_it_and_creates_nothing(
    command: tuple[str, ...], tmp_path: Path
) -> None:
    result = run(*command, archive=tmp_path / "share")
    assert result.exit_code == 2
    assert str(tmp_path / "share" / "builds") in result.output
    assert "does not exist" in result.output
    assert not (tmp_path / "share").exists()


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="the system has no named pipes")
def test_a_profile_that_is_a_pipe_does_not_hang(tmp_path: Path) -> None:
    """Commands look into shop.yaml for its English before they read it; another process, so that a hang ends."""
    tiny.write_build(tmp_path, "first")
    os.mkfifo(tmp_path / "builds" / "shop.yaml")
    command = [sys.executable, "-m", "builder", "check", "first", "--archive", str(tmp_path)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=120, check=False)
    assert done.returncode == 1
    assert "shop.yaml:1: error: is not an ordinary file" in done.stderr


def test_only_ordinary_files_of_the_size_of_a_record_are_looked_into(tmp_path: Path) -> None:
    (tmp_path / "small.yaml").write_bytes(b"english: uk\n")
    (tmp_path / "large.yaml").write_bytes(b"#" * (MAX_FILE_BYTES + 1))
    assert content_of(tmp_path / "small.yaml") == b"english: uk\n"
    for name in ("large.yaml", "none.yaml", "a" * 300, "", "\0"):
        assert content_of(tmp_path / name) == b""


def test_a_name_too_long_for_a_folder_is_no_build(tmp_path: Path) -> None:
    tiny.write_build(tmp_path, "first")
    assert "no published build" in run("similar", "a" * 300, archive=tmp_path).output
