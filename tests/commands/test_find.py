"""`millbook find`."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.support.command_line import run

BUILD = "pilot-launch-four"


def test_find(published_archive: Path) -> None:
    everything = run("find", archive=published_archive)
    assert "3 builds" in everything.output
    some = run("find", "-w", "displacement=1000..2000", archive=published_archive)
    assert BUILD in some.output
    assert "breakdown-truck-v8" not in some.output
    assert "no builds match" in run("find", "zeppelin", archive=published_archive).output


@pytest.mark.parametrize(
    ("condition", "message"),
    [
        ("displacment=1..2", "did you mean displacement"),
        ("displacement", "field=value"),
        ("displacement=2..1", "turn them round"),
        ("displacement=1 parsec", "not a unit"),
        ("displacement=abc", "not a range"),
    ],
)
def test_a_condition_that_cannot_be_read_is_explained(condition: str, message: str, published_archive: Path) -> None:
    result = run("find", "-w", condition, archive=published_archive)
    assert result.exit_code == 1
    assert message in result.output
