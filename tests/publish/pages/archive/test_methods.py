"""The Methods page comes from the definitions of the figures."""

from __future__ import annotations

import html
import re

import pytest
from markupsafe import Markup

from builder.figures.definitions import REGISTRY
from builder.publish.pages.archive.methods import method_entry, method_pages, symbol_html, symbols_in
from builder.publish.pages.templating import page_environment


def _pages() -> dict[str, bytes]:
    environment = page_environment(None)

    def page(template: str, **values: object) -> bytes:
        return environment.get_template(f"pages/{template}.md.j2").render(**values).encode()

    return method_pages(page)


def test_every_figure_has_its_entry_with_formula_range_and_source() -> None:
    files = _pages()
    text = files["methods.md"].decode()
    ids = re.findall(r'<h3 id="([^"]+)">', text)
    assert [name.replace("&#95;", "_") for name in ids] == list(REGISTRY.figures)
    assert text.count('class="mb-source"') == len(REGISTRY.figures)
    formulas = [name for name in files if name.startswith("assets/formulas/")]
    assert len(formulas) == len(REGISTRY.figures)
    assert all(files[name].startswith((b"<?xml", b"<svg")) for name in formulas)


def test_every_formula_has_a_text_alternative() -> None:
    text = _pages()["methods.md"].decode()
    alts = re.findall(r'<img src="assets/formulas/[^"]+" alt="([^"]*)"', text)
    assert len(alts) == len(REGISTRY.figures)
    assert all(" = " in alt.replace("&#61;", "=") for alt in alts)


def test_an_index_is_a_subscript() -> None:
    assert symbol_html("V_s") == "V<sub>s</sub>"
    assert symbol_html(r"\Delta p_{28}") == "Δp<sub>28</sub>"
    assert symbol_html(r"\dot m_f") == "m<sub>f</sub>"
    assert symbol_html("n_2 - n_1") == "n<sub>2</sub> - n<sub>1</sub>"
    assert symbol_html(r"T_{\mathrm{N\,m}}") == "T<sub>N m</sub>"
    assert symbol_html("<b>_x") == "&lt;b&gt;<sub>x</sub>"


def _plainly(markup: Markup) -> str:
    return html.unescape(str(markup))


_NAMED = "sqrt|d?frac|left|right|pi|cos|sin|max|min|circ|int|overline|quad|geq|dot"
_WORDS = rf"\\max_\{{\\mathrm\{{\w+\}}\}}|(?<!_\{{)\\(?:mathrm|text)\{{[^}}]*\}}|\\(?:{_NAMED})(?![A-Za-z])_?|\\[,;!]"
_SYMBOL = re.compile(r"(?:Δp|[A-Za-zωρθηλφεδ]+)(?:<sub>[\w ,]+</sub>)?'?")


@pytest.mark.parametrize("slug", list(REGISTRY.figures))
def test_every_symbol_of_a_formula_is_explained(slug: str) -> None:
    """Except differential signs; the left side is the figure itself."""
    entry = REGISTRY.figures[slug]
    left, equals, right = entry.description.formula.partition("=")
    formula = re.sub(_WORDS, " ", right if equals and "+" not in left else entry.description.formula)
    symbols = set(_SYMBOL.findall(_plainly(symbol_html(re.sub(r"[<>]", " ", formula)))))
    explained = {part for symbol, _, _ in method_entry(entry).symbols for part in _SYMBOL.findall(_plainly(symbol))}
    itself = {_plainly(symbol_html(left.strip()))} if equals else set()
    assert {name for name in symbols if not re.fullmatch(r"d\w?", name)} <= explained | itself, (
        entry.description.formula
    )


@pytest.mark.parametrize("slug", list(REGISTRY.figures))
def test_only_symbols_of_the_formula_are_explained_and_each_once(slug: str) -> None:
    entry = REGISTRY.figures[slug]
    formula = _plainly(symbol_html(re.sub(_WORDS, " ", re.sub(r"[<>]", " ", entry.description.formula))))
    held = set(_SYMBOL.findall(formula))
    # What a differential sign stands before is a symbol too.
    held |= {name.removeprefix("d") for name in held}
    rows = [_SYMBOL.findall(_plainly(symbol)) for symbol, _, _ in method_entry(entry).symbols]
    explained = [name for row in rows for name in dict.fromkeys(row)]
    if slug in ("mean_torque", "mean_power"):  # indices inside the limits of an integral are set within an index
        held |= {"n<sub>1</sub>", "n<sub>2</sub>"}
    assert set(explained) <= held
    assert all(rows)
    assert sorted(explained) == sorted(set(explained))


def test_a_mean_names_what_is_averaged_and_the_ends_of_the_range() -> None:
    rows = [str(symbol) for symbol, _, _ in method_entry(REGISTRY.figures["mean_torque"]).symbols]
    assert rows == ["T", "n<sub>1</sub>, n<sub>2</sub>"]


def test_signs_of_the_calculus_are_no_symbols() -> None:
    assert symbols_in(r"\frac{d \omega}{dt}") == {"ω", "t"}
    assert symbols_in(r"\int_{n_1}^{n_2} T \, dn") == {"n<sub>1</sub>", "n<sub>2</sub>", "T", "n"}
    assert symbols_in(r"\frac{T}{K d}") == {"T", "K", "d"}
    assert symbols_in(r"\max_{\mathrm{axes}} B_{most}, \quad 2 \pi n") == {"B<sub>most</sub>", "n"}
