"""The Methods page: one entry a figure, from the very objects that compute it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

from builder.draw.drawing import Drawing
from builder.figures.catalogue import SECTIONS, Entry, catalogue
from builder.figures.figure import Method
from builder.figures.inputs import INPUTS
from builder.figures.shown import UNIT_TEXT


@dataclass(frozen=True)
class MethodEntry:
    """A figure of the catalogue as the Methods page shows it."""

    method: Method
    formula: Drawing
    symbols: tuple[tuple[str, str, str], ...]
    unit: str


def method_pages(page: Callable[..., bytes]) -> dict[str, bytes]:
    """The Methods page and the drawings of its formulas."""
    entries = [_entry(entry) for entry in catalogue().values()]
    sections = [(section, [e for e in entries if e.method.section == section]) for section in SECTIONS]
    files = {"methods.md": page("methods", sections=[(title, found) for title, found in sections if found])}
    return files | {f"assets/formulas/{e.formula.name}.svg": e.formula.svg.encode() for e in entries}


def _entry(entry: Entry) -> MethodEntry:
    names = dict.fromkeys(name for route in entry.routes for name in route.takes)
    symbols = [
        (INPUTS[name].symbol, INPUTS[name].label, INPUTS[name].shown.si)
        for name in names
        if name in INPUTS and INPUTS[name].symbol
    ]
    given = {symbol for symbol, _, _ in entry.method.symbols}
    shown = tuple(dict.fromkeys((*(s for s in symbols if s[0] not in given), *entry.method.symbols)))
    method = entry.method
    units = dict.fromkeys(
        UNIT_TEXT.get(scale.unit, scale.unit) or "plain numbers" for scale in (method.shown.inch, method.shown.metric)
    )
    return MethodEntry(
        method,
        _formula(method.slug, method.formula, _in_words(entry)),
        tuple((_plain(symbol), meaning, unit) for symbol, meaning, unit in shown),
        " or ".join(unit if unit != ":1" else "plain numbers to one" for unit in units),
    )


def _in_words(entry: Entry) -> str:
    """The formula as text, for who cannot see it drawn."""
    labels = {}
    for route in entry.routes:
        for name in route.takes:
            labels[name] = INPUTS[name].label if name in INPUTS else catalogue()[name].method.title.lower()
    return f"{entry.method.title} = {entry.routes[0].working.format_map(labels)}"


@cache
def _formula(slug: str, tex: str, plain: str) -> Drawing:
    from builder.draw.formula import formula

    return formula(tex, plain, name=f"formula-{slug.replace('_', '-')}")


def _plain(symbol: str) -> str:
    """A mathtext symbol as plain characters."""
    greek = {"\\omega": "ω", "\\rho": "ρ", "\\theta": "θ", "\\pi": "π", "\\eta": "η", "\\lambda": "λ", "\\Delta": "Δ"}
    for tex, character in greek.items():
        symbol = symbol.replace(tex, character)
    return symbol.replace("{", "").replace("}", "").replace("\\,", " ").replace("_", "")
