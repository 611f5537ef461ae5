"""Text that the fonts of the binder can print: missing glyphs, long words, and any text at all."""

from __future__ import annotations

import re
import unicodedata
from pathlib import Path
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from builder.publish.english import US
from builder.publish.sheets.glyphs import COMMON, _covered, font_folder, renderable, renderable_svg
from builder.publish.sheets.typst_pdf import NO_DATE, STANDARDS, compile_typst


def test_the_fonts_have_the_common_characters() -> None:
    import matplotlib

    assert font_folder() == f"{matplotlib.get_data_path()}/fonts/ttf"
    assert {char for char in COMMON if ord(char) not in _covered()} == set()


HOSTILE = {
    "markup": '#panic("x") $a^2$ *b* _i_ `c` \\ <img src=x onerror=alert(1)> [l](javascript:1) '
    "@ref <label> = h // c /* d */ \"q\" 's'",
    "long word": "Donaudampfschifffahrtsgesellschaftskapitaen" * 7,
    "part number": "0123456789" * 24,
    "emoji": "good 👍🏽 flag 🇩🇪 family 👩‍👩‍👧 gear ⚙️ unknown 🫨 box \U0001faf7",
    "right to left": "محرك القارب رقم ٤٢ (جديد) מנוע סירה 4 צילינדרים",
    "other scripts": "日本語のエンジン двигатель κινητήρας เครื่องยนต์ इंजन אָלֶף ﷺ ẤẦẪ é\u0301\u0302\u0303",
    "signs": "½ × 2 µm ≤ 3 ‰ № ™ \u200b\u200d\ufeff \ufffd \u2028 soft\u00adhyphen \ue000 \U000f0000 \u0378 ‮",
}  # fmt: skip


@settings(max_examples=25)
@given(st.lists(st.text(st.characters(exclude_categories=["Cs"]), max_size=60), min_size=1, max_size=8))
def test_any_text_compiles(texts: list[str]) -> None:
    """Every text goes through the type of the binder, in each of its looks, into an archivable PDF."""
    template = (Path(__file__).parents[2] / "support" / "looks.typ").read_text(encoding="utf-8")
    assert STANDARDS == ("a-2a", "ua-1")
    data = {"texts": [renderable(each) for each in texts]}
    made = _compile(template, data)
    assert made.startswith(b"%PDF-")


def _compile(template: str, data: dict[str, Any]) -> bytes:
    import tempfile

    with tempfile.TemporaryDirectory() as made:
        archive = Path(made)
        (archive / "site_templates" / "handover").mkdir(parents=True)
        (archive / "site_templates" / "handover" / "looks.typ").write_text(template, encoding="utf-8")
        return compile_typst("handover/looks.typ", data, {}, archive=archive, date=NO_DATE, english=US)


def test_every_character_of_the_first_planes_is_printed_or_named() -> None:
    """One document with every character that is left as it is: none lacks a glyph."""
    template = (Path(__file__).parents[2] / "support" / "looks.typ").read_text(encoding="utf-8")
    kept = [
        chr(code)
        for code in range(0x20, 0x20000)
        if not 0xD800 <= code <= 0xDFFF and chr(code) in renderable(chr(code))
    ]
    assert 5000 < len(kept) < 8000
    lines = ["".join(kept[i : i + 50]) for i in range(0, len(kept), 50)]
    assert _compile(template, {"texts": [renderable(line) for line in lines]}).startswith(b"%PDF-")


@given(st.text())
def test_renderable_text_stays_as_it_is(text: str) -> None:
    once = renderable(text)
    assert renderable(once.replace("\u200b", "")) == once
    assert not any(unicodedata.category(char) in ("Cs", "Co", "Cn") for char in once)


@given(st.text(st.characters(max_codepoint=126, min_codepoint=32), max_size=200))
def test_ascii_text_only_gets_places_to_break(text: str) -> None:
    assert renderable(text).replace("\u200b", "") == text


def test_no_word_is_longer_than_a_column() -> None:
    for text in (HOSTILE["long word"], HOSTILE["part number"], "محرك" * 60):
        assert max(map(len, re.split("[\\s\u200b]", renderable(text)))) <= 25


def test_pictures_are_named_and_letters_numbered() -> None:
    assert renderable("\U0001fae8") == "[shaking face]" or renderable("\U0001fae8") == "[U+1FAE8]"
    assert renderable("日本") == "[U+65E5 U+672C]"
    assert renderable("a\u200db\ufe0fc") == "abc"


def test_a_drawing_keeps_its_markup() -> None:
    assert renderable_svg("<text>日 &amp; µ</text>") == "<text>□ &amp; µ</text>"
