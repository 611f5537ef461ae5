"""One palette for pages and drawings."""

from __future__ import annotations

import re
from pathlib import Path

from builder.draw.style import PALETTE

CSS = (Path(__file__).resolve().parents[2] / "site_templates" / "assets" / "millbook.css").read_text(encoding="utf-8")


def _tokens(scheme: str) -> dict[str, str]:
    block = re.search(re.escape(scheme) + r" \{(.*?)\}", CSS, re.DOTALL)
    assert block
    return dict(re.findall(r"--mb-([a-z]+): (#[0-9a-f]{6});", block[1]))


def test_the_pages_have_the_colours_of_the_drawings_light_and_dark() -> None:
    light, dark = _tokens("[data-md-color-scheme]"), _tokens('[data-md-color-scheme="slate"]')
    for token in PALETTE:
        assert light[token.name] == token.light
        assert dark[token.name] == token.dark


def test_a_drawing_set_into_a_page_takes_every_colour_from_it() -> None:
    for token in PALETTE:
        for what in ("fill", "stroke"):
            assert f'.drawing [{what}="{token.light}"] {{ {what}: var(--mb-{token.name}); }}' in CSS
