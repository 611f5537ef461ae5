"""Build the JSON Schema of every document from the models, so that an editor completes and checks while typing."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from builder.record.field_names import other_names
from builder.record.models.fields import RecordModel, notes_of
from builder.record.problem import Problem
from builder.record.quantities.pydantic_types import SHARED_DEFINITION
from builder.record.reference import document_description, document_models
from builder.record.traversal import models_in
from builder.record.yaml_loader import parse_yaml

DIALECT = "https://json-schema.org/draft/2020-12/schema"


def schemas() -> dict[str, dict[str, Any]]:
    """Return the JSON Schema of every document, by the document's name."""
    return {name: _schema(name, model) for name, model in document_models().items()}


def schema_file(name: str) -> str:
    """Return the file name of a document's schema."""
    return f"{name}.schema.json"


def write_schemas(folder: Path) -> tuple[list[Path], list[Problem]]:
    """Write every schema into a folder, replacing those of an earlier version.

    Returns the files written, and the problems that prevented others.
    """
    written: list[Path] = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, schema in schemas().items():
            path = folder / schema_file(name)
            path.write_text(json.dumps(schema, indent=1, ensure_ascii=False) + "\n", encoding="utf-8", newline="\n")
            written.append(path)
    except OSError as error:
        path = Path(str(error.filename)) if error.filename else folder
        return written, [Problem(path, 1, f"cannot be written: {error.strerror or error}")]
    return written, []


def _schema(name: str, model: type[RecordModel]) -> dict[str, Any]:
    schema = model.model_json_schema(mode="validation")
    _clean(schema)
    shared: dict[str, Any] = {}
    _share(schema, shared)
    schema["$defs"] = {**schema.get("$defs", {}), **shared}
    for inner in _models_below(model):
        node = schema if inner is model else schema["$defs"].get(inner.__name__, {})
        _add_other_names(node.get("properties", {}), inner)
    return {"$schema": DIALECT, **schema, "title": f"{name}.yaml", "description": document_description(model)}


def _models_below(model: type[RecordModel]) -> Iterator[type[RecordModel]]:
    """Yield a model and every model below it."""
    yield model
    for info in model.model_fields.values():
        for inner in models_in(info.annotation):
            yield from _models_below(inner)


def _add_other_names(properties: dict[str, Any], model: type[RecordModel]) -> None:
    """Let an editor accept the other names of the fields too."""
    for name, info in model.model_fields.items():
        for other in other_names(name, notes_of(info).also):
            if name in properties:
                properties[other] = {**properties[name], "description": f"the same as {name}"}


def _clean(node: Any) -> None:
    """Replace examples by their values, allow names left empty, and remove what an editor has no use for."""
    if isinstance(node, list):
        for item in node:
            _clean(item)
    if not isinstance(node, dict):
        return
    if "properties" in node and "default" in node:
        node.pop("default")
    for name, schema in node.get("properties", {}).items():
        if isinstance(schema, dict) and name not in node.get("required", ()):
            node["properties"][name] = _may_be_empty(schema)
    if isinstance(node.get("examples"), list):
        node["examples"] = [_value(example) for example in node["examples"]]
    for key, item in list(node.items()):
        if key != "examples":
            _clean(item)


def _share(node: Any, shared: dict[str, Any]) -> None:
    """Move what many fields have in common into shared definitions, and refer to those."""
    for key, item in list(node.items() if isinstance(node, dict) else enumerate(node)):
        if isinstance(item, dict) and SHARED_DEFINITION in item:
            name = item.pop(SHARED_DEFINITION).replace(" ", "-")
            notes = {note: item.pop(note) for note in ("description", "examples", "x-private") if note in item}
            shared[name] = item
            node[key] = {"$ref": f"#/$defs/{name}", **notes}
        elif isinstance(item, (dict, list)):
            _share(item, shared)


def _may_be_empty(schema: dict[str, Any]) -> dict[str, Any]:
    schema.pop("default", None)
    schema.pop("title", None)
    if {"type": "null"} in schema.get("anyOf", ()):
        return schema
    notes: dict[str, Any] = {key: schema.pop(key) for key in ("description", "examples", "x-private") if key in schema}
    return {"anyOf": [schema, {"type": "null"}], **notes}


def _value(example: Any) -> Any:
    """Return a written example as the plain value that an editor's YAML reader makes of it."""
    if not isinstance(example, str):
        return example
    document, problems = parse_yaml(f"x: {example}".encode(), Path("example"))
    if document is None or problems:
        return example
    plain = json.loads(json.dumps(document.value["x"]))
    return example if plain is None else plain
