"""Whatever a record leaves out or gets wrong, every other figure is still computed, and nothing fails."""

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
MOST_COMPLETE = ROOT / "builds" / "breakdown-truck-v8"


@cache
def full_build() -> Build:
    """Return a build with nearly everything recorded, without its dyno session, which has tests of its own."""
    build, _ = read_build(MOST_COMPLETE, ROOT)
    assert build is not None
    return replace(build, dyno=None, logs={})


@cache
def slugs_of_the_full_build() -> frozenset[str]:
    return frozenset(figure.slug for figure in compute(full_build(), Shop()).figures)


def models(model: RecordModel, steps: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], RecordModel]]:
    """Yield every model below a document, with its path; lists are left out."""
    yield steps, model
    for name in type(model).model_fields:
        value = getattr(model, name)
        if isinstance(value, RecordModel):
            yield from models(value, (*steps, name))


def changed(build: Build, document: str, steps: tuple[str, ...], value: object) -> Build:
    """Return the build with one field changed."""

    def put(model: RecordModel, path: tuple[str, ...]) -> RecordModel:
        name, *rest = path
        inner = put(getattr(model, name), tuple(rest)) if rest else value
        return model.model_copy(update={name: inner})

    return replace(build, **{document: put(getattr(build, document), steps)})


def fields(kinds: type | tuple[type, ...] = object) -> list[tuple[str, tuple[str, ...]]]:
    """Return every field that the build records, as document and path."""
    paths = []
    for document in DOCUMENTS:
        root = getattr(full_build(), document)
        for steps, model in models(root) if root is not None else ():
            for name in type(model).model_fields:
                if isinstance(getattr(model, name), kinds) and getattr(model, name) is not None:
                    paths.append((document, (*steps, name)))
    return paths


def is_optional(document: str, steps: tuple[str, ...]) -> bool:
    model: RecordModel = getattr(full_build(), document)
    for step in steps[:-1]:
        model = getattr(model, step)
    info = type(model).model_fields[steps[-1]]
    return not info.is_required() and info.default is None


def check_sheet(sheet: FigureSheet) -> None:
    """Assert what must hold of any sheet."""
    assert {figure.slug for figure in sheet.figures}.isdisjoint(need.slug for need in sheet.needs)
    for figure in sheet.figures:
        assert figure.value == figure.value, figure.slug
        assert "nan" not in figure.display, figure.slug
        assert "nan" not in figure.working, figure.slug
    for need in sheet.needs:
        assert need.needs, need.slug


@pytest.mark.parametrize("document", [name for name in DOCUMENTS if name != "build"])
def test_any_document_may_be_missing(document: str) -> None:
    check_sheet(compute(replace(full_build(), **{document: None}), Shop()))


def test_any_field_may_be_missing() -> None:
    for document, steps in fields((Reading, Quantity, RecordModel, tuple, float)):
        if is_optional(document, steps):
            sheet = compute(changed(full_build(), document, steps, None), Shop())
            check_sheet(sheet)
            # Leaving something out adds no figure.
            assert {figure.slug for figure in sheet.figures} <= slugs_of_the_full_build(), steps


@pytest.mark.parametrize("factor", [0.0, -1.0, 1e-6, 1e6])
def test_impossible_readings_are_problems_not_crashes(factor: float) -> None:
    for document, steps in fields(Reading):
        reading: Reading = full_build().get(".".join((document, *steps)))

        def scaled(quantity: Quantity) -> Quantity:
            return replace(quantity, si=quantity.si * factor, number=f"{float(quantity.number) * factor:.10g}")

        listed = scaled(reading.listed) if reading.listed else None
        impossible = replace(reading, listed=listed, measured=tuple(map(scaled, reading.measured)))
        sheet = compute(changed(full_build(), document, steps, impossible), Shop())
        check_sheet(sheet)
        for problem in sheet.problems:
            assert problem.line >= 1
            assert problem.path.suffix == ".yaml"


def test_fewer_positions_than_cylinders() -> None:
    for document, steps in fields(Reading):
        reading: Reading = full_build().get(".".join((document, *steps)))
        if len(reading.measured) > 2:
            few = replace(reading, measured=reading.measured[:2])
            check_sheet(compute(changed(full_build(), document, steps, few), Shop()))


def test_a_gauge_card_with_an_impossible_reading() -> None:
    card = full_build().get("work.bore_gauging")
    first = card.cylinders[0]
    depths = (first.depths[0].model_copy(update={"across": -4.03}), *first.depths[1:])
    cylinders = (first.model_copy(update={"depths": depths}), *card.cylinders[1:])
    build = changed(full_build(), "work", ("bore_gauging", "cylinders"), cylinders)
    sheet = compute(build, Shop())
    check_sheet(sheet)
    assert any("bore" in problem.message and problem.path.name == "work.yaml" for problem in sheet.problems)


def test_a_shop_may_set_its_guidelines_to_zero() -> None:
    zero = {"ring_gap_per_bore": 0, "oil_clearance_per_journal": 0, "least_quench": "0 mm", "most_timing": "0 deg"}
    shop = Shop.model_validate({"guidelines": zero})
    check_sheet(compute(full_build(), shop))
    check_sheet(compute(changed(full_build(), "assembly", ("fits",), None), shop))


@pytest.mark.parametrize("torque", [0.0, -10.0])
def test_a_joint_without_torque(torque: float) -> None:
    joints = full_build().get("assembly.fasteners")
    assert joints[0].torque is not None
    no_torque = replace(joints[0].torque, listed=replace(joints[0].torque.listed, si=torque))
    first = joints[0].model_copy(update={"torque": no_torque, "nut_factor": 0.0})
    check_sheet(compute(changed(full_build(), "assembly", ("fasteners",), (first, *joints[1:])), Shop()))
