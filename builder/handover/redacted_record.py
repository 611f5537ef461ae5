"""The record as delivered: the YAML without what the shop keeps to itself, and the logs as they were logged.

A comment may hold anything, so comments stay behind. Numbers keep the digits they were written with.
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

_READ_AS_OTHER = {"true", "false", "yes", "no", "null", "~", "", "on", "off", "y", "n", "="}
_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")


def record_files(
    build: Build, keep: Collection[str], photos: Collection[BuildPhoto], pictures: Mapping[str, bytes]
) -> dict[str, bytes]:
    """The build's folder as the customer may have it, by path: YAML, logs, and photos drawn anew.

    ``build`` is the record as read, with its documents; ``keep`` the private fields of build.yaml that this
    customer's own handover holds.
    """
    kept = {f"build.{name}" for name in keep}
    files: dict[str, bytes] = {}
    for name, model in DOCUMENTS.items():
        document = build.documents.get(name)
        if document is not None and document.value is not None:
            files[f"{name}.yaml"] = dumped(_public(document.value, model, name, kept))
    for pull in build.pulls:
        if pull.file is not None and (path := file_in(build.folder, pull.file)[0]) is not None:
            files[_inside(pull.file)] = path.read_bytes()
    for each in photos:
        files[_inside(each.photo.file)] = pictures[each.published.largest.name]
    return files


def _inside(written_path: str) -> str:
    """A path of the record with its steps as this pack writes them."""
    return "/".join(step for step in written_path.replace("\\", "/").split("/") if step not in ("", "."))


def _public(value: Any, model: type[RecordModel], at: str, kept: Collection[str]) -> Any:
    """A value of the record without its private fields; lists are passed through."""
    if isinstance(value, list):
        return [_public(entry, model, at, kept) for entry in value]
    if not isinstance(value, Mapping):
        return value
    found: dict[str, Any] = {}
    for name, inner in value.items():
        info, where = model.model_fields.get(name), f"{at}.{name}"
        if info is None:
            continue  # a name that the reader does not know is nothing it vouches for
        private = notes_of(info).private
        if private == "shop" or (private == "customer" and where not in kept):
            continue
        below = models_in(info.annotation)
        found[name] = _public(inner, below[0], where, kept) if below else inner
    return found


class _Writer(yaml.SafeDumper):
    """Writes YAML that Millbook reads back as the same record."""

    def ignore_aliases(self, data: Any) -> bool:
        return True

    def increase_indent(self, flow: bool = False, indentless: bool = False) -> None:
        super().increase_indent(flow, False)


def _number(writer: _Writer, value: Any) -> yaml.Node:
    tag = "tag:yaml.org,2002:int" if isinstance(value, int) else "tag:yaml.org,2002:float"
    return writer.represent_scalar(tag, as_written(value))


def _text(writer: _Writer, value: str) -> yaml.Node:
    if _DAY.fullmatch(value):
        return writer.represent_scalar("tag:yaml.org,2002:timestamp", value)  # a day stands without quotes
    style = "'" if value.casefold() in _READ_AS_OTHER or _reads_as_number(value) else None
    if "\n" in value:
        style = '"'
    return writer.represent_scalar("tag:yaml.org,2002:str", value, style=style)


def _reads_as_number(value: str) -> bool:
    try:
        float(value)
    except ValueError:
        return False
    return True


_Writer.add_multi_representer(bool, yaml.SafeDumper.represent_bool)
_Writer.add_multi_representer(int, _number)
_Writer.add_multi_representer(float, _number)
_Writer.add_multi_representer(str, _text)
_Writer.add_representer(str, _text)
_Writer.add_representer(int, _number)
_Writer.add_representer(float, _number)


def dumped(value: Any) -> bytes:
    """A value as YAML, with its numbers as they were written."""
    text: str = yaml.dump(value, Dumper=_Writer, sort_keys=False, allow_unicode=True, width=110)
    return text.encode()
