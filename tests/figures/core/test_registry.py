"""The registry: every figure and input once, in page order."""

from __future__ import annotations

from itertools import groupby

import pytest

from builder.figures.core.display_units import RATIO
from builder.figures.core.inputs import Input
from builder.figures.core.registry import CYLINDER, SECTIONS, Definitions, combine
from builder.figures.definitions import REGISTRY


def definitions_with(*slugs: str) -> Definitions:
    define = Definitions(CYLINDER)
    for slug in slugs:
        define.figure(slug, slug, RATIO, means="", formula="", working="", source="", validity="")(lambda bore: bore)
    return define


def test_sections_follow_each_other_in_page_order() -> None:
    sections = [definition.description.section for definition in REGISTRY.figures.values()]
    assert [section for section, _ in groupby(sections)] == list(SECTIONS)


def test_figures_have_the_order_of_the_modules() -> None:
    registry = combine((definitions_with("first", "second"), definitions_with("third")))
    assert list(registry.figures) == ["first", "second", "third"]


def test_a_name_is_used_once() -> None:
    with pytest.raises(ValueError, match="called first"):
        definitions_with("first", "first")
    with pytest.raises(ValueError, match="called first"):
        combine((definitions_with("first"), definitions_with("first")))
    inputs = Definitions(CYLINDER)
    inputs.add_inputs(Input("first", "first", "", RATIO, "bottom_end.block.bores"))
    with pytest.raises(ValueError, match="called first"):
        combine((definitions_with("first"), inputs))


def test_an_alternative_comes_after_the_preferred_method() -> None:
    define = definitions_with("ratio")
    define.alternative("ratio", working="{stroke}")(lambda stroke, rod=0.0: stroke)
    preferred, other = define.figures["ratio"].methods
    assert (preferred.inputs, other.inputs, other.required) == (("bore",), ("stroke", "rod"), ("stroke",))
