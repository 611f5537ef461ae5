"""Every list that names figures, anywhere in the program, names figures that exist."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

import builder
from builder.archive.fields import BY_SLUG
from builder.figures.definitions import REGISTRY

BUILDER = Path(builder.__file__).parent
MODULES = [path for path in sorted(BUILDER.rglob("*.py")) if "figures/definitions" not in path.as_posix()]
SLUG = re.compile(r"[a-z][a-z0-9]*(_[a-z0-9]+)+")
LOOK_UPS = {"sheet": {"get", "value"}, "solver": {"figure", "via", "root_inputs"}}
CHANNELS = {"air_flow_mass", "fuel_flow_mass"}  # derived channels of a log, in lists with figures
KNOWN = {*REGISTRY.figures, *REGISTRY.inputs, *BY_SLUG, *CHANNELS}


def constants(tree: ast.Module) -> Iterator[tuple[str, set[str]]]:
    """Every constant of a module, with the slugs in it."""
    for statement in tree.body:
        if isinstance(statement, (ast.Assign, ast.AnnAssign)) and statement.value is not None:
            target = statement.targets[0] if isinstance(statement, ast.Assign) else statement.target
            if isinstance(statement.value, (ast.Tuple, ast.List, ast.Dict, ast.Set)):
                texts = [node.value for node in ast.walk(statement.value) if isinstance(node, ast.Constant)]
                yield ast.unparse(target), {text for text in texts if isinstance(text, str) and SLUG.fullmatch(text)}


def look_ups(tree: ast.Module) -> Iterator[str]:
    """Every slug written in a look-up: `sheet.get("bmep")`, `sheet["bmep"]`."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.args:
            owner, argument = ast.unparse(node.func.value).rpartition(".")[2], node.args[0]
            if node.func.attr in LOOK_UPS.get(owner, ()) and isinstance(argument, ast.Constant):
                yield argument.value
        is_item = isinstance(node, ast.Subscript) and ast.unparse(node.value).rpartition(".")[2] == "sheet"
        if is_item and isinstance(node.slice, ast.Constant):
            yield node.slice.value


@pytest.mark.parametrize("path", MODULES, ids=lambda path: path.relative_to(BUILDER).as_posix())
def test_every_slug_in_a_list_or_a_look_up_is_one_of_a_figure(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    assert set(look_ups(tree)) <= set(REGISTRY.figures)
    for name, slugs in constants(tree):
        if len(slugs & set(REGISTRY.figures)) * 2 > len(slugs):  # a list of figures, whatever else is in it
            assert slugs <= KNOWN, name


def test_lists_of_figures_are_recognised() -> None:
    read = {
        name: slugs
        for path in MODULES
        for name, slugs in constants(ast.parse(path.read_text(encoding="utf-8")))
        if len(slugs & set(REGISTRY.figures)) * 2 > len(slugs)
    }
    assert len(read) >= 5
