"""The schemas an editor checks with say the same as the reader, as far as a schema can."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from builder.record.models.build import DOCUMENTS
from builder.record.redaction import private_fields
from builder.record.reference import document_models
from builder.record.scaffold import shop_scaffold
from builder.record.schema import schema_file, schemas, write_schemas
from builder.record.validation_errors import validate
from builder.record.yaml_loader import parse_yaml
from tests.support.record_samples import full_scaffold

SCHEMAS = schemas()
DEMO = Path(__file__).parents[2] / "builds"
_REMARK = re.compile(r"\s*##|# yaml-language-server")


def _plain(text: str) -> Any:
    """A YAML text as an editor sees it: plain values, days and part numbers as text."""
    document, problems = parse_yaml(text.encode(), Path("x.yaml"))
    assert not problems
    assert document is not None
    return json.loads(json.dumps(document.value))


def _errors(name: str, text: str) -> list[str]:
    validator = jsonschema.Draft202012Validator(SCHEMAS[name])
    return [f"{list(error.absolute_path)}: {error.message[:200]}" for error in validator.iter_errors(_plain(text))]


@pytest.mark.parametrize("name", document_models())
def test_every_document_has_a_valid_schema(name: str) -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMAS[name])
    assert SCHEMAS[name]["title"] == f"{name}.yaml"
    assert SCHEMAS[name]["additionalProperties"] is False


@pytest.mark.parametrize("name", document_models())
def test_every_field_has_a_description(name: str) -> None:
    def check(node: Any) -> None:
        for field in node.get("properties", {}).values():
            assert field.get("description"), field

    check(SCHEMAS[name])
    for model in SCHEMAS[name].get("$defs", {}).values():
        for part in (model, *model.get("anyOf", ())):
            if "Reading" not in str(part.get("title")) and part.get("title"):
                check(part)


def test_every_example_is_valid() -> None:
    """An example in a schema is valid against that very field."""
    count = 0
    for schema in SCHEMAS.values():

        def check(node: Any, schema: dict[str, Any] = schema) -> None:
            nonlocal count
            if isinstance(node, dict):
                for example in node.get("examples", ()):
                    complete = {
                        **{key: value for key, value in node.items() if key != "examples"},
                        "$defs": schema["$defs"],
                    }
                    assert jsonschema.Draft202012Validator(complete).is_valid(example), example
                    count += 1
            for inner in node.values() if isinstance(node, dict) else node if isinstance(node, list) else ():
                check(inner)

        check(schema)
    assert count > 250


@pytest.mark.parametrize("name", document_models())
def test_private_fields_are_marked(name: str) -> None:
    model = document_models()[name]
    own_names, other_names = _privacy(SCHEMAS[name])
    assert sorted(own_names) == sorted(private_fields(model).values())
    assert len(other_names) == (4 if name == "build" else 0)


def _privacy(node: Any) -> tuple[list[str], list[str]]:
    """Who may see the private fields below a node: those under their own names, and those under other names."""
    own: list[str] = []
    other: list[str] = []
    for item in node.values() if isinstance(node, dict) else node if isinstance(node, list) else ():
        if isinstance(item, dict) and "x-private" in item:
            same = str(item.get("description", "")).startswith("the same as ")
            (other if same else own).append(item["x-private"])
        inner = _privacy(item)
        own += inner[0]
        other += inner[1]
    return own, other


@pytest.mark.parametrize("name", [name for name in document_models() if name != "plan"])
def test_the_scaffold_is_valid_as_it_is_and_with_its_examples(name: str) -> None:
    text = shop_scaffold() if name == "shop" else full_scaffold("pilot-four")[f"{name}.yaml"]
    lines = [line if _REMARK.match(line) else re.sub(r"^( *)#", r"\1", line) for line in text.splitlines()]
    for taken in (text, "\n".join(lines)):
        value = _plain(taken)
        if value is not None:
            assert _errors(name, taken) == []


def test_the_demo_records_are_valid() -> None:
    records = [path for name in DOCUMENTS for path in sorted(DEMO.glob(f"*/{name}.yaml"))]
    records += sorted(DEMO.glob("shop.yaml"))
    assert len(records) >= 20
    for path in records:
        assert _errors(path.stem, path.read_text(encoding="utf-8")) == [], path


FINE = [
    ("bottom_end", "crankshaft: {stroke: 3.480 in}"),
    ("bottom_end", "block: {bores: [4.03 in, 4.03 in]}"),
    ("bottom_end", "block: {bores: {unit: in, measured: [4.03, '4.04', 102.4 mm], allowed: 4.02..4.04}}"),
    ("bottom_end", "block: {deck_height: {listed: 9.025 in, measured: 9.018 in, accepted: {why: worn, by: RT}}}"),
    ("bottom_end", "block: {bores: 1 15/16 in, maker: , casting: 2214}"),
    ("bottom_end", "deck_clearance: −0.006 in"),
    ("top_end", "rockers: {ratio: 1.6}"),
    ("top_end", "rockers: {ratio: {measured: [1.58, 1.6]}}"),
    ("dyno", "range: 3000..6000 rpm"),
    ("dyno", "conditions: {temperature: 72°F}"),
    ("dyno", "pulls: [{name: 1, readings: din-70020, columns: {torque: 3}}]"),
    ("build", "title: X\nengine: {cylinders: 4, fuel: diesel}"),
    ("build", "title: X\nfinished: 2024-05-17\nengine: {cylinders: 4, fuel: {kind: E85, octane: 98}}"),
    ("assembly", "fasteners: [{joint: rod bolts, steps: [30 lbf.ft, 65 lbf.ft]}]"),
    ("shop", "units: inch\nlikeness_weights: {displacement: 2}"),
]
WRONG = [
    ("bottom_end", "crankshaft: {stroke: 3.480}"),
    ("bottom_end", "crankshaft: {stroke: '3.480'}"),
    ("bottom_end", "crankshaft: {stork: 3.480 in}"),
    ("bottom_end", "crankshaft: {material: unobtainium}"),
    ("bottom_end", "block: {bores: [4.03, 4.03]}"),
    ("bottom_end", "block: {bores: {unit: in, mesured: [4.03]}}"),
    ("bottom_end", "block: {bores: {unit: in, allowed: 4.02-4.04, measured: 4.03}}"),
    ("bottom_end", "block: {deck_height: {listed: 9 in, accepted: {why: worn}}}"),
    ("bottom_end", "block: [4 in]"),
    ("top_end", "rockers: {ratio: 1.6 in}"),
    ("dyno", "range: 3000-6000 rpm"),
    ("dyno", "range: 3000...6000 rpm"),
    ("dyno", "pulls: [{file: dyno/pull-1.csv}]"),
    ("build", "engine: {cylinders: 4}"),
    ("build", "title: X\nengine: {cylinders: four}"),
    ("build", "title: X\nengine: {cylinders: 4, fuel: hay}"),
    ("build", "title: X\nstatus: delivered yesterday\nengine: {cylinders: 4}"),
    ("shop", "units: feet"),
]


@pytest.mark.parametrize(("name", "text"), FINE)
def test_what_the_reader_accepts_the_schema_accepts(name: str, text: str) -> None:
    assert _reader_accepts(name, text)
    assert _errors(name, text) == []


@pytest.mark.parametrize(("name", "text"), WRONG)
def test_what_the_schema_refuses_the_reader_refuses(name: str, text: str) -> None:
    assert not _reader_accepts(name, text)
    assert _errors(name, text) != []


def _reader_accepts(name: str, text: str) -> bool:
    document, problems = parse_yaml(text.encode(), Path("x.yaml"))
    assert not problems
    assert document is not None
    model, problems = validate(document, document_models()[name])
    return model is not None and not problems


def test_schemas_are_written_the_same_every_time(tmp_path: Path) -> None:
    written, problems = write_schemas(tmp_path / "a")
    assert problems == []
    assert [path.name for path in written] == [schema_file(name) for name in document_models()]
    write_schemas(tmp_path / "b")
    for path in written:
        assert json.loads(path.read_text(encoding="utf-8")) == SCHEMAS[path.name.removesuffix(".schema.json")]
        assert path.read_bytes() == (tmp_path / "b" / path.name).read_bytes()
    assert write_schemas(tmp_path / "a")[1] == []


def test_a_folder_that_cannot_be_written_to_is_a_message(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x", encoding="utf-8")
    _, (problem,) = write_schemas(tmp_path / "file")
    assert "cannot be written" in problem.message
