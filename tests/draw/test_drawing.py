"""A drawing as a file, inlined and for a PDF; and its two forms in one file, each shown where there is room for it."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest

from builder.draw.charts.deck_stack import StackUp, stack_up
from builder.draw.drawing import NARROW_UP_TO, Drawing, Link, format_number
from builder.draw.style import NARROW
from tests.support.draw_examples import example

STACK = StackUp("mm", 40.0, 140.0, 30.0, 210.2, 86.0)


def both() -> tuple[Drawing, Drawing, Drawing]:
    wide, narrow = stack_up(STACK), stack_up(STACK, name="stack_up_narrow", size=NARROW)
    return wide, narrow, wide.with_narrow(narrow)


def test_the_file_is_well_formed_and_no_id_comes_twice() -> None:
    _, narrow, both_forms = both()
    ids = [element.get("id") for element in ElementTree.fromstring(both_forms.svg).iter() if element.get("id")]
    assert len(ids) == len(set(ids))
    assert both_forms.narrow == (narrow.width, narrow.height)


def test_for_paper_it_is_the_wide_form_alone() -> None:
    wide, _, both_forms = both()
    assert both_forms.for_pdf() == wide.for_pdf()
    assert "@media" not in both_forms.for_pdf()


def test_forms_of_one_name_are_refused() -> None:
    with pytest.raises(ValueError, match="both forms"):
        stack_up(STACK).with_narrow(stack_up(STACK, size=NARROW))


def unlike(one: bytes, other: bytes) -> float:
    """The share of pixels that differ by much; all of them where the sizes differ."""
    from PIL import Image, ImageChops

    first, second = (Image.open(io.BytesIO(png)).convert("L") for png in (one, other))
    if first.size != second.size:
        return 1.0
    apart = ImageChops.difference(first, second)
    return sum(apart.histogram()[128:]) / (first.width * first.height)


@pytest.mark.browser
def test_an_image_shows_the_form_that_its_width_has_room_for(chromium: Any, tmp_path: Path) -> None:
    wide, narrow, both_forms = both()
    for name, svg in (("wide", wide.svg), ("narrow", narrow.svg), ("both", both_forms.svg)):
        (tmp_path / f"{name}.svg").write_text(svg, encoding="utf-8")
    for scheme in ("light", "dark"):
        for form, shown in ((narrow, 328), (narrow, NARROW_UP_TO), (wide, NARROW_UP_TO + 1), (wide, 700)):
            seen = []
            for name in ("both", "narrow" if form is narrow else "wide"):
                page = chromium.new_page(viewport={"width": 800, "height": 900}, color_scheme=scheme)
                image = f'<img src="{name}.svg" width="{form.width}" height="{form.height}">'
                (tmp_path / "page.html").write_text(
                    f"<!doctype html><style>html{{color-scheme:{scheme}}}"
                    f"img{{width:{shown}px;height:{round(shown * form.height / form.width)}px}}</style>{image}"
                )
                page.goto((tmp_path / "page.html").as_uri())
                seen.append(page.locator("img").screenshot())
                page.close()
            # Brought to another size, letters fall a little otherwise on the grid of pixels.
            assert unlike(*seen) < 0.01, (form.name, shown, scheme)


@pytest.mark.parametrize("name", ["power_curves", "overlay", "channels", "valve_timing", "bore_map", "positions"])
def test_any_drawing_can_have_a_narrow_form(name: str) -> None:
    wide, narrow = example(name), replace(example(name, size=NARROW), name="narrow")
    both = wide.with_narrow(narrow)
    assert ElementTree.fromstring(both.svg).get("width") == "100%"
    assert both.for_pdf() == wide.for_pdf()


@pytest.mark.parametrize("name", ["", "Power", "a b", "x" * 90, "1st", 'a"b'])
def test_a_name_that_cannot_be_an_id_is_refused(name: str) -> None:
    with pytest.raises(ValueError, match="name"):
        Drawing(name, "", "", (1.0, 1.0), "")


@pytest.mark.parametrize("href", ["javascript:alert(1)", "JaVaScRiPt:x", "data:text/html,x", "\tjavascript:x", "a b"])
def test_links_that_could_run_are_refused(href: str) -> None:
    with pytest.raises(ValueError, match="a link must"):
        Link(href, "title")


def test_short_numbers() -> None:
    numbers = {0.5: ".5", -0.5: "-.5", 12.0: "12", 1.239: "1.24", -0.001: "0", 100.0: "100", 10.1: "10.1"}
    assert {value: format_number(value) for value in numbers} == numbers
    assert (format_number(100.0, 0), format_number(-0.4, 0)) == ("100", "0")
