"""Pages and charts have the same palette."""

from __future__ import annotations

import re
from pathlib import Path

from builder.draw.style import PALETTE

CSS = (Path(__file__).resolve().parents[2] / "site_templates" / "assets" / "millbook.css").read_text(encoding="utf-8")


def _tokens(scheme: str) -> dict[str, str]:
    block = re.search(re.escape(scheme) + r" \{(.*?)\}", CSS, re.DOTALL)
    assert block
    return dict(re.findall(r"--mb-([a-z]+): (#[0-9a-f]{6});", block[1]))


def test_the_style_sheet_has_the_palette_of_the_charts_light_and_dark() -> None:
    light, dark = _tokens("[data-md-color-scheme]"), _tokens('[data-md-color-scheme="slate"]')
    for token in PALETTE:
        assert light[token.name] == token.light
        assert dark[token.name] == token.dark


def test_an_inline_chart_takes_every_colour_from_the_style_sheet() -> None:
    for token in PALETTE:
        for attribute in ("fill", "stroke"):
            assert f'.drawing [{attribute}="{token.light}"] {{ {attribute}: var(--mb-{token.name}); }}' in CSS
