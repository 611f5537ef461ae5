"""The words of the trade: one sentence each, in order, and leading to figures that exist."""

from __future__ import annotations

import pytest

from builder.figures.definitions import REGISTRY
from builder.publish.pages.archive.glossary import GLOSSARY, Term, terms_for


@pytest.mark.parametrize("word", GLOSSARY, ids=lambda word: word.word)
def test_every_word_has_one_short_sentence(word: Term) -> None:
    assert word.definition.endswith(".")
    assert word.definition[0].isupper() or word.definition[0].isdigit()
    assert ". " not in word.definition
    assert len(word.definition) < 160


def test_words_and_addresses_are_told_apart_and_in_order() -> None:
    names = [word.word.lower() for word in GLOSSARY]
    assert names == sorted(names)
    assert len({word.anchor for word in GLOSSARY}) == len(GLOSSARY)


def test_every_figure_it_explains_is_one_and_is_explained_once() -> None:
    figures = [slug for word in GLOSSARY for slug in word.figures]
    assert set(figures) <= set(REGISTRY.figures)
    assert len(figures) == len(set(figures))


def test_a_word_is_explained_where_it_first_comes_up_and_not_again() -> None:
    found = terms_for(["no_such", "exhaust_centreline", "installed_centreline", "quench"])
    assert {slug: word.word for slug, word in found.items()} == {"exhaust_centreline": "Centreline", "quench": "Quench"}
