"""The record as delivered: the YAML without private fields, and the dyno logs unchanged.

A comment may contain anything, so comments are left out. Numbers keep the digits they were written with.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping
from typing import Any

import yaml

from builder.publish.photos import BuildPhoto
from builder.record.load import file_in
from builder.record.models.build import DOCUMENTS, Build
from builder.record.models.fields import RecordModel, notes_of
from builder.record.quantities.readings import as_written
from builder.record.traversal import models_in

_AMBIGUOUS = {"true", "false", "yes", "no", "null", "~", "", "on", "off", "y", "n", "="}
_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")


def record_files(
    build: Build, keep: Collection[str], photos: Collection[BuildPhoto], pictures: Mapping[str, bytes]
) -> dict[str, bytes]:
    """Return the build's folder without private fields, by path: YAML, logs, and photos encoded again.

    ``build`` is the record as read, with its documents; ``keep`` are the private fields of build.yaml that this
    customer's own pack contains.
    """
    kept_paths = {f"build.{name}" for name in keep}
    files: dict[str, bytes] = {}
    for name, model in DOCUMENTS.items():
        document = build.documents.get(name)
        if document is not None and document.value is not None:
            files[f"{name}.yaml"] = dump_yaml(_public(document.value, model, name, kept_paths))
    for pull in build.pulls:
        if pull.file is not None and (path := file_in(build.folder, pull.file)[0]) is not None:
            files[_relative_path(pull.file)] = path.read_bytes()
    for item in photos:
        files[_relative_path(item.photo.file)] = pictures[item.published.largest.name]
    return files


def _relative_path(path: str) -> str:
    """Return a path of the record with forward slashes, relative to the build's folder."""
    return "/".join(step for step in path.replace("\\", "/").split("/") if step not in ("", "."))


def _public(value: Any, model: type[RecordModel], path: str, kept_paths: Collection[str]) -> Any:
    """Return a value of the record without its private fields."""
    if isinstance(value, list):
        return [_public(entry, model, path, kept_paths) for entry in value]
    if not isinstance(value, Mapping):
        return value
    public: dict[str, Any] = {}
    for name, inner in value.items():
        info, inner_path = model.model_fields.get(name), f"{path}.{name}"
        if info is None:
            continue  # an unknown field may be private
        private = notes_of(info).private
        if private == "shop" or (private == "customer" and inner_path not in kept_paths):
            continue
        models = models_in(info.annotation)
        public[name] = _public(inner, models[0], inner_path, kept_paths) if models else inner
    return public


class _RecordDumper(yaml.SafeDumper):
    """Writes YAML that Millbook reads back as the same record."""

    def ignore_aliases(self, data: Any) -> bool:
        return True

    def increase_indent(self, flow: bool = False, indentless: bool = False) -> None:
        super().increase_indent(flow, False)


def _represent_number(dumper: _RecordDumper, value: Any) -> yaml.Node:
    tag = "tag:yaml.org,2002:int" if isinstance(value, int) else "tag:yaml.org,2002:float"
    return dumper.represent_scalar(tag, as_written(value))


def _represent_text(dumper: _RecordDumper, value: str) -> yaml.Node:
    if _DATE.fullmatch(value):
        return dumper.represent_scalar("tag:yaml.org,2002:timestamp", value)  # a date has no quotes
    style = "'" if value.casefold() in _AMBIGUOUS or _is_number(value) else None
    if "\n" in value:
        style = '"'
    return dumper.represent_scalar("tag:yaml.org,2002:str", value, style=style)


def _is_number(value: str) -> bool:
    try:
        float(value)
    except ValueError:
        return False
    return True


_RecordDumper.add_multi_representer(bool, yaml.SafeDumper.represent_bool)
_RecordDumper.add_multi_representer(int, _represent_number)
_RecordDumper.add_multi_representer(float, _represent_number)
_RecordDumper.add_multi_representer(str, _represent_text)
_RecordDumper.add_representer(str, _represent_text)
_RecordDumper.add_representer(int, _represent_number)
_RecordDumper.add_representer(float, _represent_number)


def dump_yaml(value: Any) -> bytes:
    """Return a value as YAML, with its numbers as they were written."""
    text: str = yaml.dump(value, Dumper=_RecordDumper, sort_keys=False, allow_unicode=True, width=110)
    return text.encode()
