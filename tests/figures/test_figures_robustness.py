"""Whatever a record leaves out or gets wrong, the figures that can be had are had, and nothing falls over."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from builder.figures.core.types import FigureSheet
from builder.figures.evaluate import compute
from builder.record.load import read_build
from builder.record.models.build import DOCUMENTS, Build
from builder.record.models.fields import RecordModel
from builder.record.models.shop import Shop
from builder.record.quantities.readings import Reading
from builder.record.quantities.units import Quantity

ROOT = Path(__file__).resolve().parents[2]
FULLEST = ROOT / "builds" / "breakdown-truck-v8"


@cache
def whole() -> Build:
    """A build with nearly everything recorded, less its dyno session, which has tests of its own."""
    build, _ = read_build(FULLEST, ROOT)
    assert build is not None
    return replace(build, dyno=None, logs={})


@cache
def figures_of_the_whole() -> frozenset[str]:
    return frozenset(figure.slug for figure in compute(whole(), Shop()).figures)


def models(model: RecordModel, steps: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], RecordModel]]:
    """Every model below a document, with the way to it; lists are passed by."""
    yield steps, model
    for name in type(model).model_fields:
        value = getattr(model, name)
        if isinstance(value, RecordModel):
            yield from models(value, (*steps, name))


def changed(build: Build, document: str, steps: tuple[str, ...], value: object) -> Build:
    """The build with one field changed."""

    def put(model: RecordModel, way: tuple[str, ...]) -> RecordModel:
        name, *rest = way
        inner = put(getattr(model, name), tuple(rest)) if rest else value
        return model.model_copy(update={name: inner})

    return replace(build, **{document: put(getattr(build, document), steps)})


def fields(kinds: type | tuple[type, ...] = object) -> list[tuple[str, tuple[str, ...]]]:
    """Every field that the build records, as document and way."""
    found = []
    for document in DOCUMENTS:
        part = getattr(whole(), document)
        for steps, model in models(part) if part is not None else ():
            for name in type(model).model_fields:
                if isinstance(getattr(model, name), kinds) and getattr(model, name) is not None:
                    found.append((document, (*steps, name)))
    return found


def optional(document: str, steps: tuple[str, ...]) -> bool:
    model: RecordModel = getattr(whole(), document)
    for step in steps[:-1]:
        model = getattr(model, step)
    info = type(model).model_fields[steps[-1]]
    return not info.is_required() and info.default is None


def sound(sheet: FigureSheet) -> None:
    """What must hold of any sheet."""
    assert {figure.slug for figure in sheet.figures}.isdisjoint(need.slug for need in sheet.needs)
    for figure in sheet.figures:
        assert figure.value == figure.value, figure.slug
        assert "nan" not in figure.display, figure.slug
        assert "nan" not in figure.working, figure.slug
    for need in sheet.needs:
        assert need.needs, need.slug


@pytest.mark.parametrize("document", [name for name in DOCUMENTS if name != "build"])
def test_any_document_may_be_missing(document: str) -> None:
    sound(compute(replace(whole(), **{document: None}), Shop()))


def test_any_field_may_be_missing() -> None:
    for document, steps in fields((Reading, Quantity, RecordModel, tuple, float)):
        if optional(document, steps):
            sheet = compute(changed(whole(), document, steps, None), Shop())
            sound(sheet)
            # Leaving something out never makes a figure that was not there, save by another way to the same thing.
            assert {figure.slug for figure in sheet.figures} <= figures_of_the_whole(), steps


@pytest.mark.parametrize("factor", [0.0, -1.0, 1e-6, 1e6])
def test_impossible_readings_are_problems_not_crashes(factor: float) -> None:
    for document, steps in fields(Reading):
        reading: Reading = whole().get(".".join((document, *steps)))

        def spoilt(quantity: Quantity) -> Quantity:
            return replace(quantity, si=quantity.si * factor, number=f"{float(quantity.number) * factor:.10g}")

        listed = spoilt(reading.listed) if reading.listed else None
        other = replace(reading, listed=listed, measured=tuple(map(spoilt, reading.measured)))
        sheet = compute(changed(whole(), document, steps, other), Shop())
        sound(sheet)
        for problem in sheet.problems:
            assert problem.line >= 1
            assert problem.path.suffix == ".yaml"


def test_fewer_positions_than_cylinders() -> None:
    for document, steps in fields(Reading):
        reading: Reading = whole().get(".".join((document, *steps)))
        if len(reading.measured) > 2:
            few = replace(reading, measured=reading.measured[:2])
            sound(compute(changed(whole(), document, steps, few), Shop()))


def test_a_gauge_card_with_an_impossible_reading() -> None:
    card = whole().get("work.bore_gauging")
    first = card.cylinders[0]
    depths = (first.depths[0].model_copy(update={"across": -4.03}), *first.depths[1:])
    cylinders = (first.model_copy(update={"depths": depths}), *card.cylinders[1:])
    spoilt = changed(whole(), "work", ("bore_gauging", "cylinders"), cylinders)
    sheet = compute(spoilt, Shop())
    sound(sheet)
    assert any("bore" in problem.message and problem.path.name == "work.yaml" for problem in sheet.problems)


def test_a_shop_may_set_its_habits_to_nought() -> None:
    nought = {"ring_gap_per_bore": 0, "oil_clearance_per_journal": 0, "least_quench": "0 mm", "most_timing": "0 deg"}
    shop = Shop.model_validate({"guidelines": nought})
    sound(compute(whole(), shop))
    sound(compute(changed(whole(), "assembly", ("fits",), None), shop))


@pytest.mark.parametrize("torque", [0.0, -10.0])
def test_a_joint_of_no_torque(torque: float) -> None:
    joints = whole().get("assembly.fasteners")
    assert joints[0].torque is not None
    spoilt = replace(joints[0].torque, listed=replace(joints[0].torque.listed, si=torque))
    first = joints[0].model_copy(update={"torque": spoilt, "nut_factor": 0.0})
    sound(compute(changed(whole(), "assembly", ("fasteners",), (first, *joints[1:])), Shop()))
