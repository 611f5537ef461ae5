"""A whole archive in each English: no page, drawing or PDF has a word of the other, but for the shop's own."""

from __future__ import annotations

import html
import io
import re
from collections.abc import Iterator
from pathlib import Path

import pypdf
import pytest

from builder.handover.packs import handover
from builder.publish.english import English, english_of
from builder.publish.pipeline import publish
from builder.record.load import build_folders, read_build
from tests.support.demo_builds import copy_builds

BUILDS = ("hydroplane-two-stroke", "pilot-launch-four", "breakdown-truck-v8")
TERMS = english_of("uk", None).terms
FOREIGN = {"uk": set(TERMS) - set(TERMS.values()), "us": set(TERMS.values()) - set(TERMS)}
"""By language: the words of the other one."""
# A cell or a label ends a text: words in two of them are no term.
_TEXT = re.compile(r"<(script|style|code|pre)\b.*?</\1>|<[^>]*>", re.DOTALL)
_ATTRIBUTE = re.compile(r'\s(?:alt|title|aria-label|content)="([^"]*)"')
_NAMES = re.compile(r"[\w./-]+\.(?:yaml|csv|svg|html|json|pdf)\b|https?://\S+")


def _texts(path: Path) -> Iterator[str]:
    if path.suffix == ".pdf":
        for page in pypdf.PdfReader(io.BytesIO(path.read_bytes())).pages:
            yield page.extract_text()
        return
    content = path.read_text(encoding="utf-8")
    yield from (html.unescape(text) for text in _ATTRIBUTE.findall(content))
    yield from (html.unescape(text) for text in _TEXT.sub("\0", content).split("\0"))


def _foreign_words(archive: Path, language: str) -> dict[str, set[str]]:
    """Return the words of the other English by file, without those that the shop wrote."""
    other = English(dict.fromkeys(FOREIGN[language], "-"))
    records = [read_build(folder, archive)[0] for folder in build_folders(archive)]
    other = other.keeping([records, (archive / "builds" / "shop.yaml").read_text(encoding="utf-8")])
    # In a PDF words are broken at the ends of lines.
    broken = (r"[\s-]*".join(map(re.escape, re.sub(r"[\s-]", "", words))) for words in other.own_words)
    own = re.compile("|".join(sorted(broken, key=len, reverse=True)))
    found: dict[str, set[str]] = {}
    for path in [*(archive / "site").rglob("*"), *(archive / "handover").rglob("*")]:
        if path.suffix not in (".html", ".svg", ".pdf") or "site_templates" in path.parts:
            continue
        for text in _texts(path):
            plain = " ".join(_NAMES.sub(" ", text).lower().split())
            if words := set(other.words_in(own.sub(" ", plain))):
                found.setdefault(str(path.relative_to(archive)), set()).update(words)
    return found


@pytest.mark.parametrize("language", ["us", "uk"])
def test_an_archive_has_no_word_of_the_other_english(tmp_path: Path, language: str) -> None:
    shop = copy_builds(tmp_path, *BUILDS) / "builds" / "shop.yaml"
    shop.write_text(
        re.sub("^english: .*\n", "", shop.read_text("utf-8"), flags=re.M) + f"english: {language}\n", "utf-8"
    )
    assert publish(tmp_path, tmp_path / "site").ok
    report = handover(tmp_path, BUILDS[1:2], draft=True)
    assert report.ok, report.lines
    assert _foreign_words(tmp_path, language) == {}
    page = (tmp_path / "site" / "builds" / BUILDS[1] / "index.html").read_text(encoding="utf-8")
    assert ("Measured vs. catalogue" in page) == (language == "uk")
    script = (tmp_path / "site" / "assets" / "finder-data.js").read_text(encoding="utf-8")
    assert ("petrol" in script.split('"words"')[0]) == (language == "uk")
