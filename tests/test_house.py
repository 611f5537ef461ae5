"""The house: arrows run one way, the ground floor is bare, and the top level holds only what belongs there."""

from __future__ import annotations

import ast
import sys
from pathlib import Path

import pytest

HOUSE = Path(__file__).resolve().parents[1] / "builder"
# Each room may look into these rooms, and into itself.
MAY_USE = {
    "engine": set(),
    "record": set(),
    "figures": {"record", "engine"},
    "archive": {"figures", "record", "engine"},
    "draw": {"figures", "record", "engine"},
    "publish": {"draw", "archive", "figures", "record", "engine"},
}
GROUND = {"engine": {"numpy"}, "record": {"numpy", "pydantic", "pydantic_core", "pint", "yaml"}}


def imports(path: Path) -> list[str]:
    found: list[str] = []
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            found += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative imports hide which way an arrow runs"
            found.append(node.module or "")
    return found


@pytest.mark.parametrize("room", MAY_USE)
def test_arrows_run_one_way(room: str) -> None:
    allowed = MAY_USE[room] | {room}
    files = sorted((HOUSE / room).glob("*.py"))
    assert files
    for path in files:
        for name in imports(path):
            parts = name.split(".")
            if parts[0] == "builder" and len(parts) > 1:
                assert parts[1] in allowed, f"{path} imports {name}"


@pytest.mark.parametrize("room", GROUND)
def test_ground_floor_stands_on_little(room: str) -> None:
    for path in sorted((HOUSE / room).glob("*.py")):
        for name in imports(path):
            top = name.split(".")[0]
            assert top in GROUND[room] | {"builder", "__future__"} or top in sys.stdlib_module_names, f"{path}: {name}"


def test_nothing_looks_up_to_the_command() -> None:
    for path in sorted(HOUSE.rglob("*.py")):
        if path.name not in ("cli.py", "__main__.py"):
            assert "builder.cli" not in imports(path), path


def test_rooms_stay_one_subject() -> None:
    for path in sorted(HOUSE.rglob("*.py")):
        assert len(path.read_text().splitlines()) <= 450, f"{path} has grown: is it still one subject?"
