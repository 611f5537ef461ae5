"""Texts for sentences, lists and terminals."""

from __future__ import annotations

import pytest

from builder.record.wording import count_of, cut, first_of, in_sentence, join_and, plain_spaces, printable


@pytest.mark.parametrize(
    ("title", "within"), [("Peak power", "peak power"), ("BMEP", "BMEP"), ("V8", "V8"), ("A part", "a part"), ("", "")]
)
def test_a_title_in_a_sentence_keeps_its_abbreviations(title: str, within: str) -> None:
    assert in_sentence(title) == within


def test_a_count_has_its_plural_and_separators() -> None:
    assert [count_of(number, "build") for number in (0, 1, 2, 1200)] == [
        "0 builds",
        "1 build",
        "2 builds",
        "1,200 builds",
    ]


@pytest.mark.parametrize(
    ("items", "text"),
    [([], ""), (["bore"], "bore"), (["bore", "stroke"], "bore and stroke"), (["a", "b", "c"], "a, b and c")],
)
def test_a_list_in_words(items: list[str], text: str) -> None:
    assert join_and(items) == text
    assert join_and(iter(items)) == text


def test_the_first_of_many_and_how_many_more() -> None:
    assert first_of(["a", "b"], 2) == "a, b"
    assert first_of(["a", "b", "c", "d"], 2, "; ") == "a; b and 2 more"


def test_a_cut_text_is_as_long_as_allowed_and_says_that_it_was_cut() -> None:
    assert cut("deck clearance", 14) == "deck clearance"
    assert cut("deck clearance", 6) == "deck…"  # no space before the ellipsis


def test_a_printable_text_is_one_line_without_control_characters() -> None:
    assert printable("gone\n\x1b[2Kagain") == "gone\\n\\x1b[2Kagain"
    assert plain_spaces("412\N{NO-BREAK SPACE}hp") == "412 hp"
