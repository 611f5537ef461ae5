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
GROUND = {"engine": {"numpy"}, "record": {"numpy", "pydantic", "pydantic_core", "yaml"}}


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


def _modules() -> dict[str, ast.Module]:
    """Every module of the house by its dotted name."""
    found = {}
    for path in sorted(HOUSE.rglob("*.py")):
        parts = path.relative_to(HOUSE.parent).with_suffix("").parts
        found[".".join(parts).removesuffix(".__init__")] = ast.parse(path.read_text())
    return found


class _Uses(ast.NodeVisitor):
    """What a statement of a module refers to, as (module, name); parameters and local names are not meant."""

    def __init__(self, module: str, modules: dict[str, ast.Module]) -> None:
        self.module, self.found = module, set[tuple[str, str]]()
        self.aliases: dict[str, str] = {}
        self.imported: dict[str, tuple[str, str]] = {}
        self.local: list[set[str]] = []
        for node in ast.walk(modules[module]):
            if isinstance(node, ast.ImportFrom) and node.module:
                for alias in node.names:
                    name = alias.asname or alias.name
                    if f"{node.module}.{alias.name}" in modules:
                        self.aliases[name] = f"{node.module}.{alias.name}"
                    elif node.module in modules:
                        self.imported[name] = (node.module, alias.name)

    def _is_local(self, name: str) -> bool:
        return any(name in names for names in self.local)

    def visit_FunctionDef(self, node: ast.FunctionDef) -> None:
        for decorator in node.decorator_list:
            self.visit(decorator)
        self.visit(node.args)
        if node.returns:
            self.visit(node.returns)
        stored = {n.id for n in ast.walk(node) if isinstance(n, ast.Name) and isinstance(n.ctx, ast.Store)}
        self.local.append(stored | {n.arg for n in ast.walk(node.args) if isinstance(n, ast.arg)})
        for statement in node.body:
            self.visit(statement)
        self.local.pop()

    def visit_Attribute(self, node: ast.Attribute) -> None:
        value = node.value
        if isinstance(value, ast.Name) and value.id in self.aliases and not self._is_local(value.id):
            self.found.add((self.aliases[value.id], node.attr))
        self.generic_visit(node)

    def visit_Name(self, node: ast.Name) -> None:
        if isinstance(node.ctx, ast.Load) and not self._is_local(node.id):
            self.found.add(self.imported.get(node.id, (self.module, node.id)))


ONLY_TESTS_CALL: set[tuple[str, str]] = set()
"""Functions that may stand in the house though nothing in it calls them, each with its reason beside it."""


def test_no_function_is_there_for_tests_alone() -> None:
    """From what runs when a module is loaded, from registered figures and from commands, all else is reached."""
    modules = _modules()
    uses: dict[tuple[str, str], set[tuple[str, str]]] = {}
    reached: list[tuple[str, str]] = []
    for name, tree in modules.items():
        for statement in tree.body:
            visitor = _Uses(name, modules)
            visitor.visit(statement)
            if not isinstance(statement, (ast.FunctionDef, ast.ClassDef)):
                reached += visitor.found
                continue
            uses[name, statement.name] = visitor.found
            if isinstance(statement, ast.FunctionDef) and statement.decorator_list:
                kept = {n.id for d in statement.decorator_list for n in ast.walk(d) if isinstance(n, ast.Name)}
                if kept & {"figure", "another_way", "computed_input", "click"}:
                    reached.append((name, statement.name))
    seen: set[tuple[str, str]] = set()
    while reached:
        what = reached.pop()
        if what in uses and what not in seen:
            seen.add(what)
            reached += uses[what]
    assert len(seen) > 1000
    assert set(uses) - seen == ONLY_TESTS_CALL
