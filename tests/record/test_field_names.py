"""Where the trade has two names for a field, either is read."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from builder.record.field_names import common_form, names_in, other_names
from builder.record.load import read_shop
from builder.record.models.fields import RecordModel, notes_of
from builder.record.problem import errors_in
from builder.record.reference import document_models
from builder.record.traversal import models_in
from tests.support.record_samples import ReadWith


@pytest.mark.parametrize(
    ("document", "text", "path"),
    [
        ("assembly", "fits: {crank_end_float: 0.006 in}\n", "assembly.fits.crank_end_play"),
        ("assembly", "fits: {Crank end play: 0.006 in}\n", "assembly.fits.crank_end_play"),
        ("assembly", "checks: {inlet_lash: 0.4 mm}\n", "assembly.checks.intake_lash"),
        ("cam", "card: {inlet: {centreline: 108 deg}}\n", "cam.card.intake.centerline"),
        ("dyno", "conditions: {vapour-pressure: 0.4 inHg}\n", "dyno.conditions.vapor_pressure"),
        ("delivery", "running_in: [vary speed and load]\n", "delivery.break_in"),
    ],
)
def test_the_other_name_is_read_and_its_line_is_known(read: ReadWith, document: str, text: str, path: str) -> None:
    build, problems = read(**{document: f"note: x\n{text}" if document != "cam" else f"drive: belt\n{text}"})
    assert [str(problem) for problem in problems] == []
    assert build is not None
    assert build.get(path) is not None
    assert build.where(path)[1] == 2


def test_a_field_under_both_names_is_an_error_that_names_both(read: ReadWith) -> None:
    _, problems = read(assembly="fits:\n  crank_end_play: 0.006 in\n  crank_end_float: 0.005 in\n")
    (problem,) = errors_in(problems)
    assert problem.line == 3
    assert "crank_end_float and crank_end_play are two names for the same field" in problem.message


def test_a_message_names_the_field_as_it_was_written(read: ReadWith) -> None:
    _, problems = read(assembly="fits:\n  crank_end_float: 0.006\n")
    (problem,) = errors_in(problems)
    assert problem.line == 2
    assert problem.message.startswith("fits.crank_end_float: ")


def test_the_shops_own_file_too(tmp_path: Path) -> None:
    (tmp_path / "builds").mkdir()
    text = "running_in: {roller: [prime the oil]}\nname: Fern Engines\n"
    (tmp_path / "builds" / "shop.yaml").write_text(text, encoding="utf-8")
    shop, problems = read_shop(tmp_path)
    assert problems == []
    assert shop.break_in.roller == ("prime the oil",)


def _models(model: type[RecordModel]) -> Iterator[type[RecordModel]]:
    yield model
    for info in model.model_fields.values():
        for inner in models_in(info.annotation):
            yield from _models(inner)


def test_no_name_stands_for_two_fields() -> None:
    for root in document_models().values():
        for model in _models(root):
            taken: dict[str, str] = {}
            for name, info in model.model_fields.items():
                for other in {common_form(each) for each in (name, *other_names(name, notes_of(info).also))}:
                    assert taken.setdefault(other, name) == name, (model, other)
            assert set(names_in(model).values()) == set(model.model_fields)


def test_a_name_of_the_shops_own_stays_as_it_is(read: ReadWith) -> None:
    build, problems = read(dyno="pulls: [{name: a, file: dyno/pull-1.csv, columns: {torque: Inlet centre}}]\n")
    assert build is None
    assert any("'Inlet centre'" in problem.message for problem in problems)
