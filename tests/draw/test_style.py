"""The palette against WCAG 2.2, and the swap of colours that goes by the light values."""

from __future__ import annotations

import pytest

from builder.draw.style import LINE_COLOURS, PALETTE, series_style, style_sheet

TOKENS = {t.name: t for t in PALETTE}


def luminance(colour: str) -> float:
    """Relative luminance. Source: WCAG 2.2, definition of relative luminance (W3C)."""

    def linear(channel: float) -> float:
        return channel / 12.92 if channel <= 0.04045 else ((channel + 0.055) / 1.055) ** 2.4

    r, g, b = (linear(int(colour[i : i + 2], 16) / 255) for i in (1, 3, 5))
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(one: str, other: str) -> float:
    """Contrast ratio. Source: WCAG 2.2, definition of contrast ratio (W3C)."""
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_the_formula_gives_the_published_extremes() -> None:
    # WCAG 2.2: contrast ratios range from 1 to 21; 4.54:1 for #767676 on white is the widely printed limit
    # (from memory).
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("name", ["ink", "quiet", "accent", "second", "third", "fourth", "caution"])
@pytest.mark.parametrize("ground", ["paper", "band", "metal"])
def test_every_colour_of_text_and_lines_can_be_read(name: str, ground: str, scheme: str) -> None:
    """WCAG 2.2 success criteria 1.4.3 (text, 4.5:1) and 1.4.11 (lines, 3:1)."""
    ratio = contrast(getattr(TOKENS[name], scheme), getattr(TOKENS[ground], scheme))
    assert ratio >= (4.5 if (ground == "paper" or name in ("ink", "caution")) else 3.0)


def test_text_can_be_read_on_white_paper() -> None:
    for token in PALETTE:
        if token.name not in ("paper", "rule", "band", "metal"):
            assert contrast(token.light, "#ffffff") >= 4.5


def test_light_values_differ_because_the_swap_goes_by_them() -> None:
    assert len({t.light for t in PALETTE}) == len(PALETTE)
    sheet = style_sheet("".join(f'<path fill="{t.light}" stroke="{t.light}"/>' for t in PALETTE))
    for token in PALETTE:
        assert f'[fill="{token.light}"]' in sheet
        assert f'[stroke="{token.light}"]' in sheet
        assert f"--{token.name}:{token.dark}" in sheet


def test_seventy_pulls_have_seventy_marks() -> None:
    assert len({series_style(i) for i in range(70)}) == 70
    assert series_style(0) == series_style(70)


def test_no_two_of_four_builds_share_a_colour_a_marker_or_a_line() -> None:
    assert len(set(LINE_COLOURS)) == 4
    assert len({series_style(i).marker for i in range(4)}) == len({series_style(i).dashes for i in range(4)}) == 4


def test_a_style_sheet_holds_only_the_colours_of_its_drawing() -> None:
    sheet = style_sheet(f'<path fill="{TOKENS["accent"].light}"/>')
    for token in PALETTE:
        assert (token.light in sheet) == (token.name in ("accent", "ink"))
    assert ":root{" not in style_sheet("", is_root=False)
