"""An error in the computation of one item leaves out that item, with a problem of the build, and nothing else."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from builder.figures.core.types import FigureSheet, MissingInputs
from builder.figures.definitions import REGISTRY
from builder.figures.dyno import session as session_module
from builder.figures.evaluate import compute
from builder.figures.review import cautions, clearance_checks, discrepancies
from builder.record.load import read_build, read_shop
from builder.record.models.build import Build

ROOT = Path(__file__).resolve().parents[2]
SLUG = "offshore-v8"
ERRORS = (
    ZeroDivisionError("float division by zero"),
    IndexError("list index out of range"),
    OverflowError("too large"),
)


@cache
def build() -> Build:
    build, _ = read_build(ROOT / "builds" / SLUG, ROOT)
    assert build is not None
    return build


@cache
def undisturbed() -> FigureSheet:
    return compute(build(), read_shop(ROOT)[0])


@pytest.fixture(autouse=True)
def compute_undisturbed_first() -> None:
    undisturbed()


def disturbed(*items: str) -> FigureSheet:
    """Return the sheet, after looking for a problem with each of these items and for no other new one."""
    sheet = compute(build(), read_shop(ROOT)[0])
    problems = [problem for problem in sheet.problems if problem not in undisturbed().problems]
    assert {problem.path.as_posix() for problem in problems} == {f"builds/{SLUG}"}
    texts = [problem.message for problem in problems]
    for item in items:
        assert any(text.startswith(f"{item} cannot be computed and is left out") for text in texts), texts
    assert len(texts) == len(items)
    return sheet


def failing(error: Exception) -> Callable[..., Any]:
    def fail(*arguments: object, **options: object) -> Any:
        raise error

    return fail


@pytest.mark.parametrize("error", ERRORS, ids=lambda error: type(error).__name__)
def test_one_figure(monkeypatch: pytest.MonkeyPatch, error: Exception) -> None:
    definition = REGISTRY.figures["swept_volume"]
    methods = tuple(replace(method, function=failing(error)) for method in definition.methods)
    monkeypatch.setitem(REGISTRY.figures, "swept_volume", replace(definition, methods=methods))  # type: ignore[arg-type]
    sheet = disturbed("swept volume")
    need = next(need for need in sheet.needs if need.slug == "swept_volume")
    assert isinstance(need, MissingInputs)
    assert "rod_ratio" in sheet


def test_one_input(monkeypatch: pytest.MonkeyPatch) -> None:
    item = REGISTRY.inputs["red_line"]
    monkeypatch.setitem(REGISTRY.inputs, "red_line", replace(item, get=failing(ERRORS[0])))  # type: ignore[arg-type]
    assert "rod_ratio" in disturbed(item.label)


def test_one_caution(monkeypatch: pytest.MonkeyPatch) -> None:
    def _quench(*arguments: object) -> Iterator[cautions.Caution]:
        raise ERRORS[0]
        yield

    rules = tuple(_quench if rule.__name__ == "_quench" else rule for rule in cautions._RULES)
    monkeypatch.setattr(cautions, "_RULES", rules)
    expected = [caution for caution in undisturbed().cautions if caution.subject != "quench"]
    assert [*disturbed("the caution on quench").cautions] == expected


def test_one_clearance(monkeypatch: pytest.MonkeyPatch) -> None:
    check = clearance_checks._guideline_range

    def fail_for_ring_gap(build: Build, shop: Any, name: str) -> Any:
        if name == "top_ring_gap":
            raise ERRORS[0]
        return check(build, shop, name)

    monkeypatch.setattr(clearance_checks, "_guideline_range", fail_for_ring_gap)
    sheet = disturbed("Top ring gap")
    titles = [clearance.title for clearance in undisturbed().clearances if clearance.title != "Top ring gap"]
    assert [clearance.title for clearance in sheet.clearances] == titles


def test_one_discrepancy(monkeypatch: pytest.MonkeyPatch) -> None:
    compare = discrepancies.difference_text
    first = undisturbed().discrepancies[0]

    def fail_for_the_first(reading: Any, axis: str) -> Any:
        if reading is build().get(first.path):
            raise ERRORS[0]
        return compare(reading, axis)

    monkeypatch.setattr(discrepancies, "difference_text", fail_for_the_first)
    sheet = disturbed(f"{first.title}, listed against measured,")
    assert sheet.discrepancies == undisturbed().discrepancies[1:]


def test_one_pull(monkeypatch: pytest.MonkeyPatch) -> None:
    load = session_module.load_pull

    def fail_for_the_first(build: Build, index: int, *rest: Any) -> Any:
        if index == 0:
            raise ERRORS[0]
        return load(build, index, *rest)

    monkeypatch.setattr(session_module, "load_pull", fail_for_the_first)
    name = build().pulls[0].name
    sheet = compute(build(), read_shop(ROOT)[0])
    assert any(problem.message.startswith(f"the pull {name!r} cannot be computed") for problem in sheet.problems)
    assert sheet.session is not None
    assert [pull.name for pull in sheet.session.pulls] == [pull.name for pull in build().pulls[1:]]


def test_the_session(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(session_module, "group_repeats", failing(ERRORS[0]))
    sheet = disturbed("the dyno session")
    assert sheet.session is None
    assert "compression_ratio" in sheet
