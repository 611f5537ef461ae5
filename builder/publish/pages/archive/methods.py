"""The Methods page: one entry a figure, from the very objects that compute it."""

from __future__ import annotations

import html
import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

from markupsafe import Markup

from builder.draw.drawing import Drawing
from builder.figures.core.registry import SECTIONS
from builder.figures.core.types import FigureDefinition, MethodDescription
from builder.figures.definitions import REGISTRY
from builder.record.quantities.unit_table import printed_unit


@dataclass(frozen=True)
class MethodEntry:
    """A figure of the catalogue as the Methods page shows it."""

    method: MethodDescription
    formula: Drawing
    symbols: tuple[tuple[Markup, str, str], ...]
    unit: str


def method_pages(page: Callable[..., bytes]) -> dict[str, bytes]:
    """The Methods page and the drawings of its formulas."""
    entries = [method_entry(entry) for entry in REGISTRY.figures.values()]
    sections = [(section, [e for e in entries if e.method.section == section]) for section in SECTIONS]
    files = {"methods.md": page("methods", sections=[(title, found) for title, found in sections if found])}
    return files | {f"assets/formulas/{e.formula.name}.svg": e.formula.svg.encode() for e in entries}


def method_entry(entry: FigureDefinition) -> MethodEntry:
    """A figure of the catalogue as the page shows it."""
    method = entry.description
    shown = _symbols(entry)
    units = dict.fromkeys(
        printed_unit(scale.unit) or "plain numbers" for scale in (method.display_unit.inch, method.display_unit.metric)
    )
    return MethodEntry(
        method,
        _formula(method.slug, method.formula, _in_words(entry)),
        tuple(
            (set_symbol(symbol), meaning, unit.translate(_POWERS).replace("^", "")) for symbol, meaning, unit in shown
        ),
        " or ".join(unit if unit != ":1" else "plain numbers to one" for unit in units),
    )


def _symbols(entry: FigureDefinition) -> tuple[tuple[str, str, str], ...]:
    """Every symbol of the formula once: as the figure explains it, else as the input or figure it takes is called.

    What the formula does not name has no row (another way to the same figure may take it), nor has the figure
    itself.
    """
    formula = entry.description.formula
    left, equals, _ = formula.partition("=")
    explained = {part for symbol, _, _ in entry.description.symbols for part in symbols_in(symbol)}
    if equals and len(symbols_in(left)) == 1:
        explained |= symbols_in(left)
    names = dict.fromkeys(name for method in entry.methods for name in method.inputs)
    rows = []
    for row in map(_symbol, sorted(names, key=lambda name: name not in REGISTRY.inputs)):
        parts = symbols_in(row[0])
        if parts and parts <= symbols_in(formula) and not parts & explained:
            rows.append(row)
            explained |= parts
    return (*rows, *entry.description.symbols)


def _symbol(name: str) -> tuple[str, str, str]:
    """The symbol of an input, or of a figure (what stands left in its formula), with its meaning and SI unit."""
    if name in REGISTRY.inputs:
        item = REGISTRY.inputs[name]
        return item.symbol, item.label, item.display_unit.si
    method = REGISTRY.figures[name].description
    left, equals, _ = method.formula.partition("=")
    return left.strip() if equals else "", method.title.lower(), method.display_unit.si


def _in_words(entry: FigureDefinition) -> str:
    """The formula as text, for who cannot see it drawn."""
    labels = {name: REGISTRY.label(name) for name in entry.methods[0].inputs}
    return f"{entry.description.title} = {entry.methods[0].working.format_map(labels)}"


@cache
def _formula(slug: str, tex: str, plain: str) -> Drawing:
    from builder.draw.formula import formula

    # Fractions of full size: the formula stands alone, not in a line of text.
    return formula(tex.replace(r"\frac", r"\dfrac"), plain, name=f"formula-{slug.replace('_', '-')}")


_CALCULUS = (
    (re.compile(r"\\frac\{d ?([^{}]*)\}\{d ?([^{}]*)\}"), r" \1 \2 "),
    (re.compile(r"\\int_\{([^{}]*)\}\^\{([^{}]*)\}(.*)\\, d(\w)"), r" \1 \2 \3 \4 "),
    (re.compile(r"\\max_\{\\mathrm\{\w+\}\}|\\max_\\theta"), " "),
)
_WORDS = re.compile(r"(?<!_\{)\\mathrm\{[^}]*\}|\\(?!mathrm|dot)[A-Za-z]+|\\[,;!]")
_SYMBOL = re.compile(r"Δ?[A-Za-zα-ω]+(?:<sub>[\w ,]+</sub>)?'?")


def symbols_in(tex: str) -> set[str]:
    """The symbols that a piece of mathtext names, as they are set in HTML; signs of the calculus are none."""
    for sign, inside in _CALCULUS:
        tex = sign.sub(inside, tex)
    for name, character in _GREEK.items():
        tex = re.sub(rf"\\{name}(?![A-Za-z]) ?", character if character.isupper() else f"{character} ", tex)
    return set(_SYMBOL.findall(html.unescape(str(set_symbol(_WORDS.sub(" ", tex)))))) - {"π"}


_POWERS = str.maketrans({"2": "²", "3": "³"})
_GREEK = {"omega": "ω", "rho": "ρ", "theta": "θ", "pi": "π", "eta": "η", "lambda": "λ", "Delta": "Δ",
          "varphi": "φ", "varepsilon": "ε", "delta": "δ"}  # fmt: skip


def set_symbol(symbol: str) -> Markup:
    """A mathtext symbol set in HTML, its index below the line."""
    for name, character in _GREEK.items():
        symbol = re.sub(rf"\\{name}(?![A-Za-z]) ?", character, symbol)
    text = re.sub(r"\\mathrm\{([^}]*)\}|\\dot ", r"\1", symbol)
    text = re.sub(r"\\[,;!]", " ", text)
    parts = re.split(r"_(?:\{([^}]*)\}|(\w))", text)
    # Three pieces for each index: what stands before it, the index between braces, or its one character.
    return Markup("").join(
        piece if at % 3 == 0 else Markup("<sub>{}</sub>").format(piece) for at, piece in enumerate(parts) if piece
    )
