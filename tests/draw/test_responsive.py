"""Two forms of a drawing in one file: each shown where there is room for it, and the wide one where nothing chooses."""

from __future__ import annotations

import io
import re
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest

from builder.draw.canvas import Drawing
from builder.draw.charts.deck_stack import StackUp, stack_up
from builder.draw.responsive import NARROW_UP_TO, wide_and_narrow
from builder.draw.style import NARROW
from tests.support.draw_examples import example

STACK = StackUp("mm", 40.0, 140.0, 30.0, 210.2, 86.0)


def both() -> tuple[Drawing, Drawing, Drawing]:
    wide, narrow = stack_up(STACK), stack_up(STACK, name="stack_up_narrow", size=NARROW)
    return wide, narrow, wide_and_narrow(wide, narrow)


def test_the_file_is_well_formed_and_no_id_comes_twice() -> None:
    _, narrow, made = both()
    ids = [element.get("id") for element in ElementTree.fromstring(made.svg).iter() if element.get("id")]
    assert len(ids) == len(set(ids))
    assert made.narrow == (narrow.width, narrow.height)


def test_for_paper_it_is_the_wide_form_alone() -> None:
    wide, _, made = both()
    assert made.for_pdf() == wide.for_pdf()
    assert "@media" not in made.for_pdf()


def test_forms_of_one_name_are_refused() -> None:
    with pytest.raises(ValueError, match="both forms"):
        wide_and_narrow(stack_up(STACK), stack_up(STACK, size=NARROW))


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
    wide, narrow, made = both()
    for name, svg in (("wide", wide.svg), ("narrow", narrow.svg), ("both", made.svg)):
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


def test_every_drawing_can_be_given_a_narrow_form() -> None:
    for name in ("power_curves", "overlay", "channels", "valve_timing", "bore_map", "positions"):
        wide, narrow = example(name), example(name, size=NARROW)
        made = wide_and_narrow(wide, Drawing("other", narrow.svg, "", "", narrow.width, narrow.height))
        assert re.match(r"<svg [^>]*width=\"100%\"", made.svg)
        assert made.for_pdf() == wide.for_pdf()
