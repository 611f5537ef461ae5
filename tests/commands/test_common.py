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


def test_queries_before_the_first_publish_have_a_message(tmp_path: Path) -> None:
    for words in (("find",), ("similar", "x"), ("compare", "a", "b")):
        result = run(*words, archive=tmp_path)
        assert result.exit_code == 1
        assert "millbook publish" in result.output
