"""The command group: help of every command, and imports only when a command runs."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from builder.cli import main
from tests.support.command_line import run

ROOT = Path(__file__).resolve().parents[1]


@pytest.mark.parametrize("command", sorted(main.commands))
def test_every_command_explains_itself(command: str) -> None:
    result = run(command, "--help")
    assert result.exit_code == 0
    assert len(result.output.splitlines()) > 5


def test_help_loads_nothing_that_is_slow_to_load() -> None:
    """How long it takes is measured by `python -m tests.bench --only commands`."""
    code = "import sys; from builder.cli import main; main(['--help'], standalone_mode=False); print(*sys.modules)"
    run = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True, cwd=ROOT)
    loaded = {name.partition(".")[0] for name in run.stdout.splitlines()[-1].split()}
    assert "click" in loaded
    assert not loaded & {"matplotlib", "mkdocs", "numpy", "PIL", "pint", "pydantic", "scipy", "typst"}
