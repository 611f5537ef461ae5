"""Sections that may be one line of text: exhaust, ignition, plugs, oil system, cam drive, manifold, carburetor."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import jsonschema
import pytest
import yaml

from builder.figures.evaluate import compute
from builder.record.models.fields import DescribedModel, RecordModel, notes_of
from builder.record.models.shop import Shop
from builder.record.reference import document_models
from builder.record.scaffold import scaffold
from builder.record.schema import schemas
from builder.record.schema_shape import shape_of
from tests.record.test_scaffold import _uncommented
from tests.support.record_samples import ReadWith

ONE_LINE = [
    ("top_end", "ignition", "distributor, points"),
    ("top_end", "plugs", "14 mm, medium heat"),
    ("top_end", "exhaust", "four into one, 1.625 in by 32 in"),
    ("bottom_end", "oil_system", "gear pump"),
    ("bottom_end", "cooling_system", "raw-water pump"),
    ("cam", "drive", "double-row chain"),
]


@pytest.mark.parametrize(("document", "field", "text"), ONE_LINE)
def test_one_line_of_text_is_the_description(read: ReadWith, document: str, field: str, text: str) -> None:
    build, problems = read(**{document: f"{field}: {text}\n"})
    assert build is not None, problems
    section = build.get(f"{document}.{field}")
    assert (section.description, section.is_one_line) == (text, True)
    assert build.where(f"{document}.{field}")[1] == 1


@pytest.mark.parametrize(
    ("document", "written", "path"),
    [
        ("bottom_end", "oil_pump: gear pump", "bottom_end.oil_system.description"),
        ("cam", "timing_set: {keyway: A4, offset: -2 deg}", "cam.drive.keyway"),
        ("top_end", "exhaust: {silencer: one}", "top_end.exhaust.muffler"),
        ("top_end", "induction: {inlet_manifold: {kind: IR}}", "top_end.induction.manifold.kind"),
        ("top_end", "induction: {carbs: {chokes: 2, choke_tube: 36 mm}}", "top_end.induction.carburetor.venturi"),
        ("assembly", "fasteners: [{joint: flywheel, thread_lock: blue}]", "assembly.fasteners"),
        ("work", "surface_finish: {deck: {ra: 30 µin}}", "work.surface_finish.decks.ra"),
    ],
)
def test_the_names_that_the_trade_has(read: ReadWith, document: str, written: str, path: str) -> None:
    build, problems = read(**{document: f"{written}\n"})
    assert build is not None, problems
    assert [problem for problem in problems if problem.severity == "error"] == []
    assert build.get(path)


@pytest.mark.parametrize(
    ("written", "normal"),
    [
        ("induction: {manifold: {kind: two-level}}", "dual plane"),
        ("induction: {manifold: {kind: Individual Throttles}}", "individual runners"),
        ("ignition: {kind: pointless distributor}", "electronic distributor"),
        ("ignition: {kind: COP}", "coil on plug"),
        ("exhaust: {kind: manifolds}", "cast manifold"),
        ("exhaust: {kind: extractors}", "headers"),
    ],
)
def test_synonyms_are_read_as_one_choice(read: ReadWith, written: str, normal: str) -> None:
    build, problems = read(top_end=f"{written}\n")
    assert build is not None, problems
    kinds = [build.get(f"top_end.{path}.kind") for path in ("induction.manifold", "ignition", "exhaust")]
    assert [str(kind) for kind in kinds if kind is not None] == [normal]


@pytest.mark.parametrize(
    ("document", "written", "line", "message"),
    [
        ("top_end", "exhaust:\n  primary_diameter: 1.625", 2, "write 1.625 in"),
        ("top_end", "exhaust:\n  kind: headders", 2, "did you mean"),
        ("top_end", "exhaust: [a, b]", 1, "entries of the form name: value are wanted"),
        ("top_end", "ignition: yes", 1, "put the text between quotes"),
        ("top_end", "ignition:\n  rev_limiter: 6500", 2, "write 6500 rpm"),
        ("top_end", "induction:\n  carburetor:\n    count: none", 3, "is not a whole number"),
        ("bottom_end", "oil_system:\n  windage: louvered", 2, "did you mean 'windage_tray'"),
        ("cam", "drive:\n  offset: 4", 2, "write 4 deg"),
        ("assembly", "seals:\n  - kind: lip seal", 2, "write joint: rear main"),
        ("work", "surface_finish:\n  bores:\n    ra: {unit: uin, measured: [14, 15, 14]}", 3, "3 readings for 4 cyl"),
        ("work", "surface_finish:\n  bores: {ra: 15}", 2, "write 15 uin"),
    ],
)
def test_bad_input_names_file_line_and_fix(
    read: ReadWith, document: str, written: str, line: int, message: str
) -> None:
    _, problems = read(**{document: f"{written}\n"})
    assert len(problems) == 1
    assert problems[0].path.name == f"{document}.yaml"
    assert (problems[0].line, problems[0].severity) == (line, "error")
    assert message in problems[0].message


@pytest.mark.parametrize(
    ("document", "written"),
    [
        ("top_end", "heads: {intake_port_volume: 4 cc}"),
        ("top_end", "exhaust: {primary_diameter: 1.625 mm}"),
        ("bottom_end", "oil_system: {pickup_clearance: 0.375 mm}"),
        ("work", "surface_finish: {bores: {ra: 0.015 in}}"),
        ("cam", "drive: {offset: 40 deg}"),
    ],
)
def test_what_no_engine_has_is_a_warning(read: ReadWith, document: str, written: str) -> None:
    _, problems = read(**{document: f"{written}\n"})
    assert [problem.severity for problem in problems] == ["warning"]


def test_an_editor_accepts_both_forms() -> None:
    schema = schemas()["top_end"]
    for exhaust in ("four into one", {"kind": "headers", "primary_diameter": "1.625 in"}):
        jsonschema.validate({"exhaust": exhaust}, schema)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate({"exhaust": {"pipes": "two"}}, schema)


def _examples(model: type[RecordModel]) -> dict[str, Any]:
    """Return every example of a model, as it would be written."""
    values: dict[str, Any] = {}
    for name, info in model.model_fields.items():
        notes, shape = notes_of(info), shape_of(info)
        if notes.only_where or notes.private:
            continue
        if shape.model is not None and (not notes.example or issubclass(shape.model, DescribedModel)):
            inner = _examples(shape.model)
            values[name] = [inner] if shape.kind == "entries" else inner
        else:
            value = yaml.safe_load(notes.example)
            values[name] = notes.example if isinstance(value, (float, int, bool)) else value
    return values


def _sections_left_out(model: type[RecordModel]) -> Iterator[tuple[str, Any]]:
    """Yield what the files of a new build have as one line or not at all, with all its examples."""
    for name, info in model.model_fields.items():
        notes, shape = notes_of(info), shape_of(info)
        if notes.only_where or notes.private or name == "distributor":  # one example is no curve
            continue
        described = shape.model is not None and issubclass(shape.model, DescribedModel)
        if notes.rare or described:
            yield name, _examples(model)[name]
        elif shape.kind == "section" and shape.model is not None:
            inner = dict(_sections_left_out(shape.model))
            if inner:
                yield name, inner


def _merged(values: dict[str, Any], more: dict[str, Any]) -> dict[str, Any]:
    result = dict(values)
    for name, value in more.items():
        old = result.get(name)
        result[name] = _merged(old, value) if isinstance(old, dict) and isinstance(value, dict) else value
    return result


def test_examples_that_new_files_leave_out_belong_to_the_same_engine(read: ReadWith) -> None:
    """They read without a problem, agree with the other examples, and break no guideline."""
    documents = ("work", "bottom_end", "top_end", "cam", "assembly", "delivery")
    texts = scaffold("test-engine")
    files = {"build": _uncommented(texts["build.yaml"])}
    for name in documents:
        values = yaml.load(_uncommented(texts[f"{name}.yaml"]), Loader=yaml.BaseLoader)
        files[name] = yaml.safe_dump(_merged(values, dict(_sections_left_out(document_models()[name]))))
    build, problems = read(**files)
    assert [str(problem) for problem in problems] == []
    assert build is not None
    for path in (
        "top_end.induction.manifold.runner_area",
        "top_end.exhaust.steps",
        "assembly.seals",
        "cam.drive.offset",
        "work.surface_finish.bores.rvk",
        "bottom_end.cooling_system.thermostat",
    ):
        assert build.get(path), path  # fmt: skip
    sheet = compute(build, Shop())
    assert [caution.sentence for caution in sheet.cautions] == []
    assert [found.sentence for found in sheet.contradictions] == []
    assert sheet.value("mean_runner_velocity") is not None
