"""Odd text in every field: markup, very long words, emoji, scripts from right to left. It sets, and it stays text."""

from __future__ import annotations

import io
import re
import unicodedata
from pathlib import Path
from typing import Any

import pypdf
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from builder.handover.binder_pdf import _NO_DATE, compile_typst
from builder.handover.glyphs import renderable, renderable_svg
from builder.handover.pack import customer_view, pack_files
from builder.handover.rich_text import parse_blocks
from builder.record.load import errors_in, read_build, read_shop
from builder.record.models.fields import RecordModel
from tests.support.handover_samples import (
    FULL,
    archive_with,
    change_everywhere,
    is_free_text,
    text_of,
    without_blanks,
)

ODD = {
    "markup": '#panic("x") $a^2$ *b* _i_ `c` \\ <img src=x onerror=alert(1)> [l](javascript:1) '
    "@ref <label> = h // c /* d */ \"q\" 's'",
    "long word": "Donaudampfschifffahrtsgesellschaftskapitaen" * 7,
    "part number": "0123456789" * 24,
    "emoji": "good 👍🏽 flag 🇩🇪 family 👩‍👩‍👧 gear ⚙️ unknown 🫨 box \U0001faf7",
    "right to left": "محرك القارب رقم ٤٢ (جديد) מנוע סירה 4 צילינדרים",
    "other scripts": "日本語のエンジン двигатель κινητήρας เครื่องยนต์ इंजन אָלֶף ﷺ ẤẦẪ é\u0301\u0302\u0303",
    "signs": "½ × 2 µm ≤ 3 ‰ № ™ \u200b\u200d\ufeff \ufffd \u2028 soft\u00adhyphen \ue000 \U000f0000 \u0378 ‮",
}  # fmt: skip


def _odd(archive: Path, odd: str) -> dict[str, bytes]:
    def change(path: str, value: Any, model: type[RecordModel], name: str) -> Any:
        if value is None or not is_free_text(model, name):
            return value
        longest = 400 if not name.endswith(("summary", "goals", "note")) else 4000
        return f"{value} {odd}"[:longest]

    change_everywhere(archive, FULL, change)
    shop, _ = read_shop(archive)
    shop = shop.model_copy(
        update={"name": f"Shop {odd}"[:200], "warranty": odd, "cautions": (odd,), "place": odd[:300]}
    )
    build, problems = read_build(archive / "builds" / FULL, archive)
    assert build is not None
    assert not errors_in(problems), problems
    return pack_files(build, customer_view(build, shop), shop, archive)


@pytest.mark.parametrize("name", sorted(ODD))
def test_odd_text_in_every_field_sets(tmp_path: Path, name: str) -> None:
    # The reader refuses characters that turn the writing round, so those never come this far.
    odd = re.sub("[\u202a-\u202e\x00-\x08\ufffe\uffff]", "", ODD[name])
    files = _odd(archive_with(tmp_path), odd)
    text = without_blanks(text_of(files["binder.pdf"]))
    assert text.count("W-0241") > 10
    if name == "markup":
        assert without_blanks('#panic("x") $a^2$') in text
        assert "/*d*/" in text
    if name == "part number":
        assert "0123456789" * 10 in text
    if name == "other scripts":
        assert "двигатель" in text
        assert "[U+65E5U+672CU+8A9E" in text
    if name == "emoji":
        assert without_blanks("[shaking face]").casefold() in text.casefold() or "U+1FAE8" in text
    assert _nothing_runs_off_the_page(files["binder.pdf"])


def _nothing_runs_off_the_page(pdf: bytes) -> bool:
    """Every piece of text begins on the paper."""
    for page in pypdf.PdfReader(io.BytesIO(pdf)).pages:
        width, height = float(page.mediabox.width), float(page.mediabox.height)
        starts: list[tuple[float, float]] = []

        def seen(text: str, cm: Any, tm: Any, font: Any, size: Any, at: list[tuple[float, float]] = starts) -> None:
            if text.strip():
                x, y = tm[4], tm[5]
                at.append((x * cm[0] + y * cm[2] + cm[4], x * cm[1] + y * cm[3] + cm[5]))

        page.extract_text(visitor_text=seen)
        if any(not (0 <= x <= width and 0 <= y <= height) for x, y in starts):
            return False
    return True


@settings(max_examples=25)
@given(st.lists(st.text(st.characters(exclude_categories=["Cs"]), max_size=60), min_size=1, max_size=8))
def test_any_text_at_all_can_be_set(texts: list[str]) -> None:
    """Every text goes through the type of the binder, in each of its looks, into an archivable PDF."""
    template = (Path(__file__).parents[1] / "support" / "looks.typ").read_text(encoding="utf-8")
    from builder.handover import binder_pdf

    assert binder_pdf.STANDARDS == ("a-2a", "ua-1")
    data = {"texts": [renderable(each) for each in texts]}
    made = _set(template, data)
    assert made.startswith(b"%PDF-")


def _set(template: str, data: dict[str, Any]) -> bytes:
    import tempfile

    with tempfile.TemporaryDirectory() as made:
        archive = Path(made)
        (archive / "site_templates" / "handover").mkdir(parents=True)
        (archive / "site_templates" / "handover" / "looks.typ").write_text(template, encoding="utf-8")
        return compile_typst("handover/looks.typ", data, {}, archive=archive, date=_NO_DATE)


def test_every_character_of_the_first_planes_is_set_or_told() -> None:
    """One document with every character that is left as it is: none lacks a glyph."""
    template = (Path(__file__).parents[1] / "support" / "looks.typ").read_text(encoding="utf-8")
    kept = [
        chr(code)
        for code in range(0x20, 0x20000)
        if not 0xD800 <= code <= 0xDFFF and chr(code) in renderable(chr(code))
    ]
    assert 5000 < len(kept) < 8000
    lines = ["".join(kept[i : i + 50]) for i in range(0, len(kept), 50)]
    assert _set(template, {"texts": [renderable(line) for line in lines]}).startswith(b"%PDF-")


@given(st.text())
def test_what_is_settable_stays_so(text: str) -> None:
    once = renderable(text)
    assert renderable(once.replace("\u200b", "")) == once
    assert not any(unicodedata.category(char) in ("Cs", "Co", "Cn") for char in once)


@given(st.text(st.characters(max_codepoint=126, min_codepoint=32), max_size=200))
def test_plain_text_is_left_as_it_is_but_for_places_to_break(text: str) -> None:
    assert renderable(text).replace("\u200b", "") == text


def test_no_word_is_longer_than_a_column() -> None:
    for odd in (ODD["long word"], ODD["part number"], "محرك" * 60):
        assert max(map(len, re.split("[\\s\u200b]", renderable(odd)))) <= 25


def test_pictures_are_named_and_letters_numbered() -> None:
    assert renderable("\U0001fae8") == "[shaking face]" or renderable("\U0001fae8") == "[U+1FAE8]"
    assert renderable("日本") == "[U+65E5 U+672C]"
    assert renderable("a\u200db\ufe0fc") == "abc"


def test_a_drawing_keeps_its_markup() -> None:
    assert renderable_svg("<text>日 &amp; µ</text>") == "<text>□ &amp; µ</text>"


def test_prose_is_read_as_the_page_reads_it() -> None:
    found = parse_blocks("One *two* **three** `four` [five](https://x.example/a).\n\n- six\n- <b>seven</b>")
    assert [(run.text, run.style) for run in found[0].runs] == [
        ("One ", ""), ("two", "em"), (" ", ""), ("three", "strong"), (" ", ""), ("four", "code"), (" ", ""),
        ("five", ""), (".", ""),
    ]  # fmt: skip
    assert [run.url for run in found[0].runs if run.url] == ["https://x.example/a"]
    assert [block.is_list_item for block in found] == [False, True, True]
    assert "".join(run.text for run in found[2].runs) == "<b>seven</b>"


def test_italics_are_left_where_a_script_has_none() -> None:
    (block,) = parse_blocks("*محرك*")
    assert [run.style for run in block.runs] == [""]
