"""Every sum that a page prints, added up again in decimal arithmetic from what is printed."""

from __future__ import annotations

import re
from decimal import ROUND_HALF_UP, Decimal

import pytest

from builder.figures.core.types import Figure
from builder.figures.definitions import REGISTRY
from tests.support.demo_builds import SAMPLE
from tests.support.view_samples import build_and_sheet

_NUMBER = re.compile(r"\d+(?:\.\d+)?")


def is_sum(figure: Figure) -> bool:
    """Return whether the method that gave a figure only adds and subtracts."""
    names = {item.name for item in figure.inputs}
    methods = REGISTRY.figures[figure.slug].methods
    return any(method.is_sum and set(method.required) <= names <= set(method.inputs) for method in methods)


def added_up(working: str) -> tuple[Decimal, Decimal] | None:
    """Return the left side of a working in decimal arithmetic, and its right side; None with mixed units."""
    _, _, text = working.rpartition(": ")
    left, _, right = text.replace("−", "-").replace("×", "*").partition(" = ")
    if not right or len(set(re.findall("\N{NO-BREAK SPACE}([a-zA-Z]+)", text))) > 1:
        return None
    plain = re.sub("\N{NO-BREAK SPACE}[a-zA-Z]+|°", "", left)
    total = eval(_NUMBER.sub(lambda number: f"Decimal('{number[0]}')", plain), {"Decimal": Decimal})
    return total, Decimal(re.sub("\N{NO-BREAK SPACE}[a-zA-Z]+|°", "", right))


@pytest.mark.parametrize("slug", SAMPLE)
def test_the_sum_shown_equals_the_parts_shown(slug: str) -> None:
    _, sheet = build_and_sheet(slug)
    for figure in sheet.figures:
        if is_sum(figure) and (sides := added_up(figure.working)):
            total, shown = sides
            assert total.quantize(shown, ROUND_HALF_UP) == shown, figure.working


def test_most_sums_of_the_demo_archive_are_added_up() -> None:
    workings = [
        figure.working
        for slug in ("breakdown-truck-v8", "pilot-launch-four")
        for figure in build_and_sheet(slug)[1].figures
        if is_sum(figure) and added_up(figure.working)
    ]
    assert len(workings) >= 20
