"""The record as delivered: the YAML without private fields, the dyno logs without comments, the photos.

A comment or the name of a file may contain anything, so comments are left out of the YAML and of the logs, and logs and
photos are named by pull and section. Numbers keep the digits they were written with.
"""

from __future__ import annotations

import hashlib
import re
from collections import Counter
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import yaml
from pydantic.fields import FieldInfo

from builder.publish.data_export import pull_file_name
from builder.publish.photos import BuildPhoto
from builder.record.dyno_log.reader import without_comments
from builder.record.load import file_in
from builder.record.models.build import DOCUMENTS, Build
from builder.record.models.choices import Synonyms
from builder.record.models.delivery import AcceptedCaution
from builder.record.models.dyno import Pull
from builder.record.models.fields import RecordModel, notes_of
from builder.record.models.photos import Photo
from builder.record.quantities.readings import as_written
from builder.record.redaction import allowed_paths, is_removed
from builder.record.traversal import models_in

_AMBIGUOUS = {"true", "false", "yes", "no", "null", "~", "", "on", "off", "y", "n", "="}
_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")


@dataclass(frozen=True)
class DeliveredRecord:
    """The files of the record as delivered, by path, and the SHA-256 of the shop's own file of each log."""

    files: dict[str, bytes]
    original_hashes: dict[str, str]


def delivered_record(
    build: Build, customer_fields: Collection[str], photos: Collection[BuildPhoto], pictures: Mapping[str, bytes]
) -> DeliveredRecord:
    """Return the build's folder without private fields: YAML, logs without comments, and photos encoded again.

    ``build`` is the record as read, with its documents; ``customer_fields`` are the private fields that this customer's
    own pack contains.
    """
    files: dict[str, bytes] = {}
    original_hashes: dict[str, str] = {}
    names: dict[str, str] = {}
    for index, pull in enumerate(build.pulls):
        log = build.logs.get(pull.name)
        if pull.file is None or log is None or pull.file in names:
            continue
        path = file_in(build.folder, pull.file)[0]
        content = without_comments(path, log, pull.columns) if path else None
        if path is None or content is None:
            continue
        names[pull.file] = name = f"dyno/{pull_file_name(index, pull.name)}"
        files[name] = content
        original_hashes[name] = hashlib.sha256(path.read_bytes()).hexdigest()
    numbers: Counter[str] = Counter()
    for item in photos:
        if item.photo.file in names:
            continue
        section, picture = (item.photo.section or "photo").replace(" ", "-"), item.published.largest.name
        numbers[section] += 1
        names[item.photo.file] = name = f"photos/{section}-{numbers[section]:02d}{Path(picture).suffix}"
        files[name] = pictures[picture]
    redaction = _Redaction(allowed_paths(customer_fields), names)
    for name, model in DOCUMENTS.items():
        document = build.documents.get(name)
        if document is not None and document.value is not None:
            public = redaction.public(document.value, model, name)
            if public or not document.value:  # a file of which everything is private is not in the pack
                files[f"{name}.yaml"] = dump_yaml(public)
    return DeliveredRecord(files, original_hashes)


@dataclass(frozen=True)
class _Redaction:
    """Full paths of the private fields that stay, and the names in the pack by the names of the shop's own files."""

    allowed: Collection[str]
    file_names: Mapping[str, str]

    def public(self, value: Any, model: type[RecordModel], path: str) -> Any:
        """Return a value of the record without its private fields and the shop's own file names."""
        if isinstance(value, list):
            entries = [self.public(entry, model, path) for entry in value]
            # A photo that is not in the pack has no entry, nor has an accepted caution without the reason.
            needed = {Photo: "file", AcceptedCaution: "why"}.get(model)
            return [entry for entry in entries if needed is None or needed in entry]
        if not isinstance(value, Mapping):
            return value
        public: dict[str, Any] = {}
        for name, inner in value.items():
            info, inner_path = model.model_fields.get(name), f"{path}.{name}"
            if info is None:
                continue  # an unknown field may be private
            if is_removed(notes_of(info).private, inner_path, self.allowed):
                if entries := _public_entries(inner, info):
                    public[name] = [self.public(entry, models_in(info.annotation)[0], inner_path) for entry in entries]
                continue
            if name == "file" and model in (Pull, Photo):
                if (file_name := self.file_names.get(" ".join(str(inner).split()))) is not None:
                    public[name] = file_name
                continue
            models = models_in(info.annotation)
            shown = self.public(inner, models[0], inner_path) if models else inner
            if shown != {} or not inner:  # a section of private fields alone is left out
                public[name] = shown
        return public


def _public_entries(value: Any, info: FieldInfo) -> list[Mapping[str, Any]]:
    """Return the entries of a private list that are public by what they say themselves."""
    public_where = notes_of(info).public_where
    if public_where is None or not isinstance(value, list):
        return []
    decisive, choice = public_where
    decisive_field = models_in(info.annotation)[0].model_fields[decisive]
    synonyms = next(note for note in decisive_field.metadata if isinstance(note, Synonyms))
    return [
        entry
        for entry in value
        if isinstance(entry, Mapping) and decisive in entry and synonyms.normal(str(entry[decisive])) == choice
    ]


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
