"""`millbook schema`."""

from __future__ import annotations

import json
from pathlib import Path

from tests.support.command_line import run


def test_schema(tmp_path: Path) -> None:
    assert run("schema", str(tmp_path / "schemas")).exit_code == 0
    assert json.loads((tmp_path / "schemas" / "build.schema.json").read_text())["type"] == "object"
