"""What a configuration of MkDocs depends on besides itself, so that a change of any of it is noticed.

It is read as YAML nodes, without MkDocs, which takes longer to load than a publish in which nothing changed.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

_ENVIRONMENT = "!ENV"


def config_dependencies(config: Path) -> tuple[list[Path], list[str]]:
    """Return the files that a configuration depends on, itself first, and the values it takes from the environment.

    These are what it inherits from (`INHERIT`), its `hooks`, and the files of the theme's `custom_dir`. What a hook
    itself reads is not known. A file that cannot be read as YAML depends on nothing: MkDocs reports what is wrong.
    """
    files: list[Path] = []
    values: list[str] = []
    pending = [config]
    while pending:
        path = pending.pop()
        if path in files:
            continue
        files.append(path)
        root = _read(path)
        pending += [path.parent / name for name in _texts(_child(root, "INHERIT"))]
        # MkDocs looks for these from the folder of the first file.
        files += [config.parent / name for name in _texts(_child(root, "hooks"))]
        for name in _texts(_child(_child(root, "theme"), "custom_dir")):
            files += sorted(path for path in (config.parent / name).rglob("*") if path.is_file())
        values += [f"{name}={os.environ.get(name, '')}" for node in _walk(root) for name in _env_names(node)]
    return files, values


def _read(path: Path) -> Any:
    import yaml

    try:
        return yaml.compose(path.read_text(encoding="utf-8"), Loader=yaml.SafeLoader)
    except (OSError, ValueError, RecursionError, yaml.YAMLError):
        return None


def _child(node: Any, name: str) -> Any:
    """Return the node under a name of a mapping."""
    pairs = node.value if getattr(node, "id", "") == "mapping" else ()
    return next((value for key, value in pairs if key.value == name), None)


def _texts(node: Any) -> Iterator[str]:
    """Yield the text of a scalar, or those in a sequence."""
    if getattr(node, "id", "") == "scalar":
        yield node.value
    elif getattr(node, "id", "") == "sequence":
        yield from (item.value for item in node.value if item.id == "scalar")


def _env_names(node: Any) -> Iterator[str]:
    """Yield the environment variables that a node names; the last of several may be its default value."""
    if node.tag == _ENVIRONMENT:
        yield from _texts(node)


def _walk(root: Any) -> Iterator[Any]:
    """Yield a node and all below it, each once whatever aliases lead to it."""
    seen: set[int] = set()
    pending = [root] if root is not None else []
    while pending:
        node = pending.pop()
        if id(node) in seen:
            continue
        seen.add(id(node))
        yield node
        if node.id == "mapping":
            pending += [item for pair in node.value for item in pair]
        elif node.id == "sequence":
            pending += node.value
