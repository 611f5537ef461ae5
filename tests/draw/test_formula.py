"""Formulas as outlines in the colour of their text."""

from __future__ import annotations

import pytest

from builder.draw.formula import formula
from tests.support.svg import SVG, parse_svg


def test_a_formula_is_outlines_in_the_colour_of_its_text() -> None:
    drawing = formula(r"\frac{\pi}{4} B^2 S", "pi/4 times bore squared times stroke")
    tree = parse_svg(drawing)
    assert not list(tree.iter(f"{SVG}text"))
    assert tree.get("fill") == "currentColor"
    assert drawing.description == "pi/4 times bore squared times stroke"
    assert drawing.height < 60


@pytest.mark.parametrize("tex", ["", "  ", r"\frac{1", r"\nosuchcommand{x}"])
def test_a_formula_that_cannot_be_set_is_refused(tex: str) -> None:
    with pytest.raises(ValueError, match="formula"):
        formula(tex, "plain")
