"""Hostile text in every field (markup, long words, emoji, right-to-left scripts): it is printed as text."""

from __future__ import annotations

import datetime
import io
import re
from pathlib import Path
from typing import Any

import pypdf
import pytest

from builder.handover.pack import customer_view, make_pack
from builder.record.load import errors_in, read_build, read_shop
from builder.record.models.fields import RecordModel
from tests.support.handover_samples import (
    FULL,
    archive_with,
    change_everywhere,
    is_free_text,
    without_blanks,
)

pytestmark = pytest.mark.slow
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


def _pack_with(archive: Path, text_added: str) -> dict[str, bytes]:
    def change(path: str, value: Any, model: type[RecordModel], name: str) -> Any:
        if value is None or not is_free_text(model, name):
            return value
        longest = 400 if not name.endswith(("summary", "goals", "note")) else 4000
        return f"{value} {text_added}"[:longest]

    change_everywhere(archive, FULL, change)
    shop, _ = read_shop(archive)
    shop = shop.model_copy(
        update={
            "name": f"Shop {text_added}"[:200],
            "warranty": text_added,
            "cautions": (text_added,),
            "place": text_added[:300],
        }
    )
    build, problems = read_build(archive / "builds" / FULL, archive)
    assert build is not None
    assert not errors_in(problems), problems
    return make_pack(build, customer_view(build, shop), shop, archive, today=datetime.date(2026, 3, 1)).files


@pytest.mark.parametrize("name", sorted(HOSTILE))
def test_hostile_text_in_every_field_is_printed(tmp_path: Path, name: str) -> None:
    # The reader refuses characters that turn the writing round, so those never come this far.
    text_added = re.sub("[\u202a-\u202e\x00-\x08\ufffe\uffff]", "", HOSTILE[name])
    files = _pack_with(archive_with(tmp_path), text_added)
    text = without_blanks(_text_on_paper(files["binder.pdf"]))
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


def _text_on_paper(pdf: bytes) -> str:
    """Return all text of a PDF, every piece of which begins on the paper."""
    texts = []
    for page in pypdf.PdfReader(io.BytesIO(pdf)).pages:
        width, height = float(page.mediabox.width), float(page.mediabox.height)
        starts: list[tuple[float, float]] = []

        def seen(text: str, cm: Any, tm: Any, font: Any, size: Any, at: list[tuple[float, float]] = starts) -> None:
            if text.strip():
                x, y = tm[4], tm[5]
                at.append((x * cm[0] + y * cm[2] + cm[4], x * cm[1] + y * cm[3] + cm[5]))

        texts.append(page.extract_text(visitor_text=seen))
        assert starts
        assert all(0 <= x <= width and 0 <= y <= height for x, y in starts)
    return "\n".join(texts)
