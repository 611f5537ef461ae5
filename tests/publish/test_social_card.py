"""The preview picture of a build."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from PIL import Image

from builder.publish.social_card import render_card
from tests.support import view_samples as samples


@pytest.mark.parametrize("slug", ["pilot-launch-four", "irrigation-single"])
def test_the_same_build_gives_the_same_small_picture(slug: str) -> None:
    build, sheet = samples.build_and_sheet(slug)
    card = render_card(build, sheet)
    with Image.open(io.BytesIO(card)) as picture:
        assert picture.size == (1200, 630)
        assert picture.format == "PNG"
    assert len(card) < 60_000
    assert card == render_card(build, sheet)


def test_without_a_curve_the_card_shows_the_cover() -> None:
    build, sheet = samples.build_and_sheet("irrigation-single")
    cover = io.BytesIO()
    Image.new("RGB", (640, 480), (200, 30, 30)).save(cover, "JPEG")
    with Image.open(io.BytesIO(render_card(build, sheet, cover.getvalue()))) as picture:
        red, green, _ = picture.convert("RGB").getpixel((1000, 400))  # type: ignore[misc]
    assert red > 150
    assert green < 80


def test_a_long_title_does_not_leave_the_card(tmp_path: Path) -> None:
    build, sheet = samples.write_and_read(
        tmp_path, build=f"title: {'W' * 300} {'longer ' * 10}\nengine: {{cylinders: 4}}\n"
    )
    with Image.open(io.BytesIO(render_card(build, sheet))) as picture:
        right = picture.convert("L").crop((1150, 60, 1200, 630))
    assert right.getextrema()[0] > 200
