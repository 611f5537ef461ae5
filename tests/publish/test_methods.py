"""The Methods page is made of the figures themselves."""

from __future__ import annotations

import re

from builder.figures.catalogue import catalogue
from builder.publish.methods import method_pages
from builder.publish.templates import page_environment


def _pages() -> dict[str, bytes]:
    environment = page_environment(None)

    def page(template: str, **values: object) -> bytes:
        return environment.get_template(f"pages/{template}.md.j2").render(**values).encode()

    return method_pages(page)


def test_every_figure_has_its_entry_with_formula_range_and_source() -> None:
    files = _pages()
    text = files["methods.md"].decode()
    ids = re.findall(r'<h3 id="([^"]+)">', text)
    assert [name.replace("&#95;", "_") for name in ids] == list(catalogue())
    assert text.count('class="mb-source"') == len(catalogue())
    formulas = [name for name in files if name.startswith("assets/formulas/")]
    assert len(formulas) == len(catalogue())
    assert all(files[name].startswith((b"<?xml", b"<svg")) for name in formulas)


def test_every_formula_is_there_in_words_for_who_cannot_see_it() -> None:
    text = _pages()["methods.md"].decode()
    alts = re.findall(r'<img src="assets/formulas/[^"]+" alt="([^"]*)"', text)
    assert len(alts) == len(catalogue())
    assert all(" = " in alt.replace("&#61;", "=") for alt in alts)
