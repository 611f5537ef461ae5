"""The glossary: one sentence a term, in order, and only figures that exist."""

from __future__ import annotations

import pytest

from builder.figures.definitions import REGISTRY
from builder.publish.pages.archive.glossary import GLOSSARY, Term, terms_for


@pytest.mark.parametrize("term", GLOSSARY, ids=lambda term: term.word)
def test_every_term_has_one_short_sentence(term: Term) -> None:
    assert term.definition.endswith(".")
    assert term.definition[0].isupper() or term.definition[0].isdigit()
    assert ". " not in term.definition
    assert len(term.definition) < 160


def test_terms_are_in_order_and_their_anchors_differ() -> None:
    names = [term.word.lower() for term in GLOSSARY]
    assert names == sorted(names)
    assert len({term.anchor for term in GLOSSARY}) == len(GLOSSARY)


def test_every_figure_exists_and_has_one_term() -> None:
    figures = [slug for term in GLOSSARY for slug in term.figures]
    assert set(figures) <= set(REGISTRY.figures)
    assert len(figures) == len(set(figures))


def test_a_term_is_explained_at_its_first_figure_only() -> None:
    terms = terms_for(["no_such", "exhaust_centerline", "installed_centerline", "quench"])
    assert {slug: term.word for slug, term in terms.items()} == {
        "exhaust_centerline": "Centerline",
        "quench": "Quench",
    }
