"""Choices take the trade's words on both sides of the Atlantic; one normal form is kept, and the word as written."""

from __future__ import annotations

import copy
import pickle
from collections.abc import Iterator
from pathlib import Path
from typing import Any, get_args

import pytest

from builder.figures.review.guideline_defaults import effective_ratio_guideline, mixture_guideline
from builder.record.load import read_shop
from builder.record.models.build_yaml import FUEL_FAMILIES, EngineKind, FuelFamily, FuelKind
from builder.record.models.choices import Choice, Synonyms, choice_key
from builder.record.models.fields import RecordModel
from builder.record.models.shop import Shop
from builder.record.problem import errors_in
from builder.record.quantities.readings import as_written
from builder.record.reference import document_models
from builder.record.schema_shape import Shape, shape_of
from tests.support.record_samples import ReadWith


def _choices(model: type[RecordModel], at: str) -> Iterator[tuple[str, Shape]]:
    for name, info in model.model_fields.items():
        shape = shape_of(info)
        if shape.kind == "choice":
            yield f"{at}.{name}", shape
        if shape.model is not None:
            yield from _choices(shape.model, f"{at}.{name}")


CHOICES = [item for name, model in document_models().items() for item in _choices(model, name)]


@pytest.mark.parametrize(("path", "shape"), CHOICES, ids=[path for path, _ in CHOICES])
def test_a_word_stands_for_one_choice(path: str, shape: Shape) -> None:
    assert set(shape.synonyms) <= set(shape.choices)
    words = [*shape.choices, *(word for words in shape.synonyms.values() for word in words)]
    keys = [choice_key(word) for word in words]
    assert len(keys) == len(set(keys)), path


def _engine(**fields: Any) -> EngineKind:
    return EngineKind.model_validate({"cylinders": 8, **fields})


def test_capitals_blanks_and_hyphens_do_not_matter(read: ReadWith) -> None:
    for written, standard in (("SAE J1349", "sae-j1349"), ("DIN 70020", "din-70020"), ("Iso_1585", "iso-1585")):
        build, problems = read(dyno=f"readings: {written}\n")
        assert problems == []
        assert build is not None
        assert build.get("dyno.readings") == standard


@pytest.mark.parametrize(
    ("field", "written", "normal"),
    [
        ("fuel", "gasoline", "gasoline"), ("fuel", "petrol", "gasoline"), ("fuel", "Pump gas", "gasoline"),
        ("fuel", "pump fuel", "gasoline"), ("fuel", "paraffin", "kerosene"), ("fuel", "race fuel", "race gasoline"),
        ("fuel_system", "carb", "carburetor"), ("fuel_system", "carburettor", "carburetor"),
        ("fuel_system", "Throttle body injection", "throttle-body injection"),
        ("induction", "NA", "naturally aspirated"), ("induction", "natural", "naturally aspirated"),
        ("induction", "naturally-aspirated", "naturally aspirated"), ("induction", "turbo", "turbocharged"),
        ("cycle", "4-stroke", "four-stroke"), ("layout", "V8", "V"), ("layout", "boxer", "flat"),
        ("cooling", "liquid", "water"),
    ],
)  # fmt: skip
def test_a_word_of_the_trade_is_its_choice_and_stays_as_written(field: str, written: str, normal: str) -> None:
    value = getattr(_engine(**{field: written}), field)
    choice = value.kind if field == "fuel" else value
    assert choice == normal
    assert as_written(choice) == written
    again = pickle.loads(pickle.dumps(choice))
    assert (again, again.text, copy.deepcopy(choice).text) == (normal, written, written)
    assert type(str(choice)) is str


def test_lifters_in_either_order(read: ReadWith) -> None:
    for written in ("hydraulic roller", "roller hydraulic"):
        build, problems = read(cam=f"lifters: {{kind: {written}}}\n")
        assert problems == []
        assert build is not None
        assert build.get("cam.lifters.kind") == "hydraulic roller"


def test_a_word_that_leaves_it_open_is_not_taken(read: ReadWith) -> None:
    """`hydraulic` does not say flat or roller, and the first start depends on it; `gas` may be any of three fuels."""
    _, problems = read(cam="lifters: {kind: hydraulic}\n")
    (problem,) = errors_in(problems)
    assert "hydraulic flat tappet" in problem.message
    assert "hydraulic roller" in problem.message
    assert Synonyms.of(FuelKind).normal("gas") is None


def test_an_unknown_word_gets_the_nearest_and_the_choices(read: ReadWith) -> None:
    _, problems = read(cam="lifters:\n  kind: hydrolic roller\n")
    (problem,) = errors_in(problems)
    assert problem.line == 2
    assert "did you mean 'hydraulic roller'?" in problem.message


def test_guidelines_name_fuels_and_materials_in_any_word(tmp_path: Path) -> None:
    (tmp_path / "builds").mkdir()
    text = "guidelines:\n  effective_ratio: [{fuel: petrol, effective_ratio: 9}]\n  piston_speed:\n"
    text += "    - {type: wood, metres_per_second: 18}\n"
    path = tmp_path / "builds" / "shop.yaml"
    path.write_text(text, encoding="utf-8")
    _, problems = read_shop(tmp_path)
    assert [(problem.line, "write one of cast, " in problem.message) for problem in problems] == [(4, True)]
    path.write_text(text.replace("wood", "forging"), encoding="utf-8")
    shop, problems = read_shop(tmp_path)
    assert problems == []
    assert shop.guidelines.effective_ratio[0].fuel == "gasoline"
    assert shop.guidelines.piston_speed[0].type == "forged"


def test_a_choice_without_another_word_was_written_so() -> None:
    assert as_written(Choice("V")) == "V"


def test_every_fuel_has_a_family() -> None:
    literal, _ = get_args(FuelKind)
    assert set(FUEL_FAMILIES) == set(get_args(literal))
    assert set(FUEL_FAMILIES.values()) == set(get_args(get_args(FuelFamily)[0]))
    pump = {kind for kind, family in FUEL_FAMILIES.items() if family == "pump gasoline"}
    assert pump == {"gasoline", "regular gasoline", "premium gasoline", "E10"}


def test_regular_and_premium_follow_the_guideline_of_gasoline() -> None:
    shop = Shop.model_validate({"guidelines": {"effective_ratio": [{"fuel": "gasoline", "effective_ratio": 9.1}]}})
    for kind in ("gasoline", "regular gasoline", "premium gasoline"):
        limit = effective_ratio_guideline(shop, kind)
        assert limit is not None
        assert (limit.value, limit.set_by_shop) == (9.1, True)
        assert mixture_guideline(shop, kind) is not None
        assert mixture_guideline(shop, kind) == mixture_guideline(shop, "gasoline")
    assert mixture_guideline(shop, "diesel") is None
