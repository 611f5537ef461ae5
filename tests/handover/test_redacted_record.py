"""The record as delivered reads back as the same build, digit for digit."""

from __future__ import annotations

import hashlib
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from builder.handover.redacted_record import delivered_record
from builder.publish.photos import build_photos
from builder.record.load import read_build
from builder.record.models.build import DOCUMENTS
from builder.record.redaction import without_private
from tests.support.handover_samples import REPO


@pytest.mark.parametrize("slug", ["pilot-launch-four", "offshore-v8", "hydroplane-two-stroke", "workboat-diesel-four"])
def test_the_record_as_delivered_reads_back_as_the_same_build(tmp_path: Path, slug: str) -> None:
    before, _ = read_build(REPO / "builds" / slug, REPO)
    assert before is not None
    keep = ("customer.name", "registration", "engine_serial")
    photos, pictures, _ = build_photos(before)
    record = delivered_record(before, keep, photos, pictures)
    for name, content in record.files.items():
        path = tmp_path / "builds" / slug / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    after, _ = read_build(tmp_path / "builds" / slug, tmp_path)
    assert after is not None
    expected = without_private(before, keep)
    # An accepted caution whose reason is private is left out of the pack.
    assert expected.delivery is None or after.delivery is None or not after.delivery.accepted
    if expected.delivery is not None:
        expected = replace(expected, delivery=expected.delivery.model_copy(update={"accepted": ()}))
    for name in DOCUMENTS:
        document, delivered = getattr(expected, name), getattr(after, name)
        assert (document is None) == (delivered is None)
        assert document is None or _recorded(document.model_dump()) == _recorded(delivered.model_dump()), name
    for pull, delivered_pull in zip(before.pulls, after.pulls, strict=True):
        if pull.file:
            original, log = before.logs[pull.name], after.logs[pull.name]
            assert original.channels.keys() == log.channels.keys()
            for channel, values in original.channels.items():
                np.testing.assert_array_equal(log.channels[channel], values)
            digest = hashlib.sha256((before.folder / pull.file).read_bytes()).hexdigest()
            assert record.original_hashes[delivered_pull.file or ""] == digest


def test_logs_and_photos_are_named_by_pull_and_section(tmp_path: Path) -> None:
    build, _ = read_build(REPO / "builds" / "pilot-launch-four", REPO)
    assert build is not None
    photos, pictures, _ = build_photos(build)
    files = delivered_record(build, (), photos, pictures).files
    assert "dyno/pull-01-first-pull.csv" in files, sorted(files)
    logs = {name for name in files if name.startswith("dyno/")}
    assert len(logs) == len(build.pulls)
    assert all(re.fullmatch(r"photos/[a-z-]+-[0-9]{2}\.(jpg|png)", name) for name in files.keys() - logs if "/" in name)
    text = (files["dyno.yaml"] + files["photos.yaml"]).decode()
    for item in (*build.pulls, *(item.photo for item in photos)):
        assert item.file is not None
        assert item.file not in text


def _recorded(value: Any) -> Any:
    """Return a value of the record without sections that hold nothing, and without the names of files."""
    if isinstance(value, dict):
        recorded = {name: _recorded(item) for name, item in value.items() if name != "file"}
        return {name: item for name, item in recorded.items() if item not in (None, {}, ())}
    return tuple(_recorded(item) for item in value) if isinstance(value, tuple) else value


def test_numbers_keep_the_digits_they_were_written_with() -> None:
    from builder.handover.redacted_record import dump_yaml
    from builder.record.yaml_loader import read_yaml

    text = "a: 81.50\nb: [1.0, 2, 0.040]\nc: 'no'\nd: '12'\ne: 1e5x\nf: 2024-01-02\ng: 'a: b'\n"
    path = Path(__file__).with_name("none.yaml")
    document = _read(text, read_yaml, path)
    assert _read(dump_yaml(document).decode(), read_yaml, path) == document
    for written in ("81.50", "1.0", "0.040", "f: 2024-01-02"):
        assert written in dump_yaml(document).decode()


def _read(text: str, read_yaml: Any, path: Path) -> Any:
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "x.yaml").write_text(text, encoding="utf-8")
        document, problems = read_yaml(Path(folder) / "x.yaml", path)
        assert document is not None, problems
        return document.value


def test_only_public_lessons_are_delivered(tmp_path: Path) -> None:
    folder = tmp_path / "builds" / "larch"
    folder.mkdir(parents=True)
    lessons = "lessons: [first, {lesson: second, part: rings}, {lesson: third, visibility: Everyone}]\n"
    (folder / "build.yaml").write_text(f"title: Larch\nengine: {{cylinders: 4}}\n{lessons}")
    build, _ = read_build(folder, tmp_path)
    assert build is not None
    sheet = delivered_record(build, (), (), {}).files["build.yaml"].decode()
    assert "third" in sheet
    assert "first" not in sheet
    assert "second" not in sheet
    assert "rings" not in sheet


def test_nothing_is_left_of_a_section_of_private_fields_alone(tmp_path: Path) -> None:
    folder = tmp_path / "builds" / "one"
    folder.mkdir(parents=True)
    (folder / "build.yaml").write_text(
        "title: one\nengine: {cylinders: 4}\nimported_from: {file: list.xlsx, row: 3, cells: {Paid: 4800}}\n"
    )
    build, _ = read_build(folder, tmp_path)
    assert build is not None
    content = delivered_record(build, (), (), {}).files["build.yaml"].decode()
    assert "title: one" in content
    assert not re.search("imported_from|list.xlsx|4800", content)


def test_a_file_of_which_everything_is_private_is_not_in_the_pack(tmp_path: Path) -> None:
    folder = tmp_path / "builds" / "one"
    folder.mkdir(parents=True)
    (folder / "build.yaml").write_text("title: one\nengine: {cylinders: 4}\n")
    (folder / "plan.yaml").write_text("alternatives: {gasket: {dear one: {gasket.thickness: 1 mm}}}\n")
    build, problems = read_build(folder, tmp_path)
    assert build is not None, problems
    assert set(delivered_record(build, (), (), {}).files) == {"build.yaml"}
    assert without_private(build).plan is not None
    assert "dear one" not in repr(without_private(build))
