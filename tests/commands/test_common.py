"""What several commands share: how a build is named, and a message where nothing was published."""

from __future__ import annotations

from pathlib import Path

import pytest

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
