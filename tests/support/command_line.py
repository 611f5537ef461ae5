"""The command line as tests call it."""

from __future__ import annotations

from pathlib import Path

from click.testing import CliRunner, Result

from builder.cli import main


def run(*arguments: str, archive: Path | None = None) -> Result:
    """Run a command and return what it printed; it may end with any status, but never with a traceback."""
    result = CliRunner().invoke(main, [*arguments, *(["--archive", str(archive)] if archive else [])])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    assert "Traceback" not in result.output
    return result
