"""The README: every command in it exists with its options, and its tour of the demo archive runs as written."""

from __future__ import annotations

import re
import shlex
import shutil
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from builder.cli import main
from builder.publish.report import PublishReport

REPO = Path(__file__).resolve().parents[1]
TEXT = (REPO / "README.md").read_text(encoding="utf-8")
_INLINE = re.compile(r"`(millbook [^`]+)`")
_TOUR = re.compile(r"<!-- tour -->\n(.*?)<!-- /tour -->", re.DOTALL)


def _tour() -> list[str]:
    lines = [line for block in _TOUR.findall(TEXT) for line in block.splitlines()]
    return [line.partition(" # ")[0].strip() for line in lines if line.startswith("millbook ")]


@pytest.mark.parametrize("text", sorted({*_INLINE.findall(TEXT), *_tour()} - {"millbook COMMAND --help"}))
def test_every_command_and_option_exists(text: str) -> None:
    _, name, *words = shlex.split(text)
    command = main.commands[name]
    options = {option for parameter in command.params for option in (*parameter.opts, *parameter.secondary_opts)}
    named = {word.partition("=")[0] for word in words if word.startswith("--")}
    assert named <= options | {"--help"}
    assert isinstance(command, click.Command)


@pytest.mark.slow
def test_the_tour_runs_as_written(whole_demo: PublishReport, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """In the demo archive, which is published already: tests/publish/test_pipeline.py does that from nothing."""
    archive = shutil.copytree(whole_demo.out.parent, tmp_path / "archive", symlinks=True)
    shutil.copytree(REPO / "tests/demo", archive / "tests/demo", ignore=shutil.ignore_patterns("*.py", "__pycache__"))
    monkeypatch.chdir(archive)
    commands = _tour()
    assert {line.split()[1] for line in commands} >= {
        "import", "plan", "worksheet", "check", "publish", "similar", "handover", "due",
    }  # fmt: skip
    for line in commands:
        result = CliRunner().invoke(main, shlex.split(line)[1:])
        assert result.exit_code == 0, f"{line}\n{result.output}"
