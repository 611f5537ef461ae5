"""JSON Schema of every document, made from the models, so that an editor completes and checks while typing."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from builder.record.models.fields import RecordModel
from builder.record.problem import Problem
from builder.record.quantities.pydantic_types import SHARED
from builder.record.reference import about, documents
from builder.record.yaml_loader import parse_yaml

DIALECT = "https://json-schema.org/draft/2020-12/schema"


def schemas() -> dict[str, dict[str, Any]]:
    """The JSON Schema of every document, by the document's name."""
    return {name: _schema(name, model) for name, model in documents().items()}


def schema_file(name: str) -> str:
    """The file name of a document's schema."""
    return f"{name}.schema.json"


def write_schemas(folder: Path) -> tuple[list[Path], list[Problem]]:
    """Write every schema into a folder, over those of an earlier version.

    Returns the files written, and the problems that kept others from being written.
    """
    written: list[Path] = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, schema in schemas().items():
            path = folder / schema_file(name)
            path.write_text(json.dumps(schema, indent=1, ensure_ascii=False) + "\n", encoding="utf-8", newline="\n")
            written.append(path)
    except OSError as error:
        where = Path(str(error.filename)) if error.filename else folder
        return written, [Problem(where, 1, f"cannot be written: {error.strerror or error}")]
    return written, []


def _schema(name: str, model: type[RecordModel]) -> dict[str, Any]:
    schema = model.model_json_schema(mode="validation")
    _tidy(schema)
    shared: dict[str, Any] = {}
    _share(schema, shared)
    schema["$defs"] = {**schema.get("$defs", {}), **shared}
    return {"$schema": DIALECT, **schema, "title": f"{name}.yaml", "description": about(model)}


def _tidy(node: Any) -> None:
    """Examples as the values they stand for, names left empty allowed, and nothing an editor has no use for."""
    if isinstance(node, list):
        for item in node:
            _tidy(item)
    if not isinstance(node, dict):
        return
    if "properties" in node and "default" in node:
        node.pop("default")
    for name, of in node.get("properties", {}).items():
        if isinstance(of, dict) and name not in node.get("required", ()):
            node["properties"][name] = _may_be_empty(of)
    if isinstance(node.get("examples"), list):
        node["examples"] = [_value(example) for example in node["examples"]]
    for key, item in list(node.items()):
        if key != "examples":
            _tidy(item)


def _share(node: Any, shared: dict[str, Any]) -> None:
    """Keep what many fields have in common once, and refer to it."""
    for key, item in list(node.items() if isinstance(node, dict) else enumerate(node)):
        if isinstance(item, dict) and SHARED in item:
            name = item.pop(SHARED).replace(" ", "-")
            notes = {note: item.pop(note) for note in ("description", "examples", "x-private") if note in item}
            shared[name] = item
            node[key] = {"$ref": f"#/$defs/{name}", **notes}
        elif isinstance(item, (dict, list)):
            _share(item, shared)


def _may_be_empty(of: dict[str, Any]) -> dict[str, Any]:
    of.pop("default", None)
    of.pop("title", None)
    if {"type": "null"} in of.get("anyOf", ()):
        return of
    outside: dict[str, Any] = {key: of.pop(key) for key in ("description", "examples", "x-private") if key in of}
    return {"anyOf": [of, {"type": "null"}], **outside}


def _value(example: Any) -> Any:
    """A written example as the plain value that an editor's YAML reader makes of it."""
    if not isinstance(example, str):
        return example
    document, problems = parse_yaml(f"x: {example}".encode(), Path("example"))
    if document is None or problems:
        return example
    plain = json.loads(json.dumps(document.value["x"]))
    return example if plain is None else plain
