"""What imports what: one direction between packages, no circle anywhere, and a short list of top-level entries."""

from __future__ import annotations

import ast
import shutil
import subprocess
import sys
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
PACKAGE = ROOT / "builder"
MAY_IMPORT = {
    "engine": set(),
    "record": {"engine"},
    "figures": {"record", "engine"},
    "draw": {"figures", "record", "engine"},
    "archive": {"figures", "record", "engine"},
    "publish": {"archive", "draw", "figures", "record", "engine"},
    "handover": {"publish", "archive", "draw", "figures", "record", "engine"},
    "commands": {"handover", "publish", "archive", "draw", "figures", "record", "engine"},
}
"""For each package the packages that it may import, besides itself."""
THIRD_PARTY = {"engine": {"numpy"}, "record": {"numpy", "openpyxl", "pydantic", "pydantic_core", "yaml"}}
"""For the packages that depend on little: all they may import besides the standard library and this program."""
FROM_ENGINE_TO_RECORD = {"builder.engine.constants"}
"""The modules of `engine` that `record` may import."""
TOP_LEVEL = {
    "README.md",
    "DEVELOPERS.md",
    "LICENSE",
    "mkdocs.yml",
    "pyproject.toml",
    "builder",
    "builds",
    "site_templates",
    "tests",
}


def module_name(path: Path) -> str:
    """Return the dotted name of a module of the program."""
    parts = path.relative_to(PACKAGE.parent).with_suffix("").parts
    return ".".join(parts).removesuffix(".__init__")


@cache
def imports() -> dict[str, set[str]]:
    """Return for every module the names that it imports anywhere, except where only a type checker looks."""
    return {module_name(path): imported_names(path) for path in sorted(PACKAGE.rglob("*.py"))}


def imported_names(path: Path) -> set[str]:
    """Return the modules and the members of modules that one file imports, as dotted names."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    checker_only = {
        id(child)
        for node in ast.walk(tree)
        if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.dump(node.test)
        for statement in node.body
        for child in ast.walk(statement)
    }
    names: set[str] = set()
    for node in ast.walk(tree):
        if id(node) in checker_only:
            continue
        if isinstance(node, ast.Import):
            names.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.module, f"{path}: a relative import"
            assert node.level == 0, f"{path}: a relative import"
            names.add(node.module)
            names.update(f"{node.module}.{alias.name}" for alias in node.names)
    return names


def modules_of(package: str) -> list[str]:
    """Return the modules of one package, those of its packages included."""
    modules = [name for name in imports() if name.split(".")[1:2] == [package]]
    assert modules, f"no module in builder/{package}"
    return modules


@pytest.mark.parametrize("package", MAY_IMPORT)
def test_packages_import_in_one_direction(package: str) -> None:
    allowed = MAY_IMPORT[package] | {package}
    wrong = [
        f"{module} imports {name}"
        for module in modules_of(package)
        for name in sorted(imports()[module])
        if name.startswith("builder.") and name.split(".")[1] not in allowed
    ]
    assert not wrong


def test_record_imports_nothing_of_the_engine_but_its_constants() -> None:
    wrong = [
        f"{module} imports {name}"
        for module in modules_of("record")
        for name in sorted(imports()[module])
        if name.startswith("builder.engine.") and ".".join(name.split(".")[:3]) not in FROM_ENGINE_TO_RECORD
    ]
    assert not wrong


def test_only_the_entry_point_imports_the_command_line() -> None:
    users = [module for module, names in imports().items() if any(name.startswith("builder.cli") for name in names)]
    assert set(users) <= {"builder.__main__"}


@pytest.mark.parametrize("package", THIRD_PARTY)
def test_what_depends_on_little(package: str) -> None:
    allowed = THIRD_PARTY[package] | {"builder"} | sys.stdlib_module_names
    wrong = [
        f"{module} imports {name}"
        for module in modules_of(package)
        for name in sorted(imports()[module])
        if name.split(".")[0] not in allowed
    ]
    assert not wrong


def test_no_modules_import_each_other_in_a_circle() -> None:
    assert [" <-> ".join(circle) for circle in circles()] == []


def circles() -> list[list[str]]:
    """Return the groups of modules that import each other in a circle: strongly connected components (Tarjan)."""
    edges = {module: sorted(names & imports().keys() - {module, "builder"}) for module, names in imports().items()}
    index: dict[str, int] = {}
    low: dict[str, int] = {}
    stack: list[str] = []
    groups: list[list[str]] = []

    def visit(module: str) -> None:
        index[module] = low[module] = len(index)
        stack.append(module)
        for target in edges[module]:
            if target not in index:
                visit(target)
                low[module] = min(low[module], low[target])
            elif target in stack:
                low[module] = min(low[module], index[target])
        if low[module] == index[module]:
            group = stack[stack.index(module) :]
            del stack[stack.index(module) :]
            if len(group) > 1:
                groups.append(sorted(group))

    for module in edges:
        if module not in index:
            visit(module)
    return groups


def test_top_level_entries() -> None:
    """Only what git knows of: a working copy also holds sites, caches and virtual environments."""
    git = shutil.which("git")
    if git is None or not (ROOT / ".git").exists():
        pytest.skip("git is not installed, or this is no repository")
    command = [git, "-c", "safe.directory=*", "ls-files"]
    files = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True).stdout
    entries = {line.partition("/")[0] for line in files.splitlines()}
    assert {entry for entry in entries if not entry.startswith(".")} == TOP_LEVEL


def test_no_line_of_a_template_is_over_120_characters() -> None:
    templates = sorted((ROOT / "site_templates").rglob("*.j2"))
    assert templates
    wide = [
        f"{path.relative_to(ROOT)}:{number}"
        for path in templates
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), start=1)
        if len(line) > 120
    ]
    assert not wide
