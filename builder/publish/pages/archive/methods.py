"""The Methods page: an entry for each figure, from the definition that computes it."""

from __future__ import annotations

import html
import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

from markupsafe import Markup

from builder.archive import estimate
from builder.draw.drawing import Drawing
from builder.figures.core.registry import SECTIONS
from builder.figures.core.types import FigureDefinition, FigureDescription
from builder.figures.definitions import REGISTRY
from builder.figures.review.cross_checks import CHECKS
from builder.record.quantities.unit_table import printed_unit
from builder.record.wording import in_sentence


@dataclass(frozen=True)
class MethodEntry:
    """The entry of a figure on the Methods page; `symbols` are symbol, meaning and unit."""

    description: FigureDescription
    formula: Drawing
    symbols: tuple[tuple[Markup, str, str], ...]
    unit: str


def method_pages(page: Callable[..., bytes]) -> dict[str, bytes]:
    """Return the Methods page and the SVGs of its formulas, by path below the pages folder."""
    entries = [method_entry(definition) for definition in REGISTRY.figures.values()]
    sections = [(title, [entry for entry in entries if entry.description.section == title]) for title in SECTIONS]
    filled = [(title, items) for title, items in sections if items]
    checks = ", ".join(in_sentence(check.title) for check in CHECKS)
    files = {"methods.md": page("methods", sections=filled, checks=checks, estimate=estimate)}
    return files | {f"assets/formulas/{entry.formula.name}.svg": entry.formula.svg.encode() for entry in entries}


def method_entry(definition: FigureDefinition) -> MethodEntry:
    """Return the entry of a figure."""
    description = definition.description
    scales = (description.display_unit.inch, description.display_unit.metric)
    units = dict.fromkeys(printed_unit(scale.unit) or "plain numbers" for scale in scales)
    symbols = (
        (symbol_html(symbol), meaning, unit.translate(_POWERS).replace("^", ""))
        for symbol, meaning, unit in _symbols(definition)
    )
    return MethodEntry(
        description,
        _formula(description.slug, description.formula, _formula_text(definition)),
        tuple(symbols),
        " or ".join(unit if unit != ":1" else "plain numbers to one" for unit in units),
    )


def _symbols(definition: FigureDefinition) -> tuple[tuple[str, str, str], ...]:
    """Return every symbol of the formula once, with its meaning and SI unit.

    The definition's own explanations come first, then the labels of its inputs. Inputs that only another method
    of the same figure takes, and the figure itself, are left out.
    """
    formula = definition.description.formula
    left, equals, _ = formula.partition("=")
    explained = {part for symbol, _, _ in definition.description.symbols for part in symbols_in(symbol)}
    if equals and len(symbols_in(left)) == 1:
        explained |= symbols_in(left)
    names = dict.fromkeys(name for method in definition.methods for name in method.inputs)
    rows = []
    for row in map(_symbol, sorted(names, key=lambda name: name not in REGISTRY.inputs)):
        parts = symbols_in(row[0])
        if parts and parts <= symbols_in(formula) and not parts & explained:
            rows.append(row)
            explained |= parts
    return (*rows, *definition.description.symbols)


def _symbol(name: str) -> tuple[str, str, str]:
    """Return symbol, meaning and SI unit of an input, or of a figure: its symbol is the left side of its formula."""
    if name in REGISTRY.inputs:
        item = REGISTRY.inputs[name]
        return item.symbol, item.label, item.display_unit.si
    description = REGISTRY.figures[name].description
    left, equals, _ = description.formula.partition("=")
    return left.strip() if equals else "", in_sentence(description.title), description.display_unit.si


def _formula_text(definition: FigureDefinition) -> str:
    """Return the formula in words, as the text alternative of its picture."""
    labels = {name: REGISTRY.label(name) for name in definition.methods[0].inputs}
    return f"{definition.description.title} = {definition.methods[0].working.format_map(labels)}"


@cache
def _formula(slug: str, tex: str, plain: str) -> Drawing:
    from builder.draw.formula import formula

    # Fractions in display size: the formula has a line to itself.
    return formula(tex.replace(r"\frac", r"\dfrac"), plain, name=f"formula-{slug.replace('_', '-')}")


_CALCULUS = (
    (re.compile(r"\\frac\{d ?([^{}]*)\}\{d ?([^{}]*)\}"), r" \1 \2 "),
    (re.compile(r"\\int_\{([^{}]*)\}\^\{([^{}]*)\}(.*)\\, d(\w)"), r" \1 \2 \3 \4 "),
    (re.compile(r"\\max_\{\\mathrm\{\w+\}\}|\\max_\\theta"), " "),
)
_WORDS = re.compile(r"(?<!_\{)\\mathrm\{[^}]*\}|\\(?!mathrm|dot)[A-Za-z]+|\\[,;!]")
_SYMBOL = re.compile(r"Δ?[A-Za-zα-ω]+(?:<sub>[\w ,]+</sub>)?'?")


def symbols_in(tex: str) -> set[str]:
    """Return the symbols in a piece of mathtext as HTML; signs of differentials and integrals are not symbols."""
    for pattern, operands in _CALCULUS:
        tex = pattern.sub(operands, tex)
    for name, character in _GREEK.items():
        tex = re.sub(rf"\\{name}(?![A-Za-z]) ?", character if character.isupper() else f"{character} ", tex)
    return set(_SYMBOL.findall(html.unescape(str(symbol_html(_WORDS.sub(" ", tex)))))) - {"π"}


_POWERS = str.maketrans({"2": "²", "3": "³"})
_GREEK = {"omega": "ω", "rho": "ρ", "theta": "θ", "pi": "π", "eta": "η", "lambda": "λ", "Delta": "Δ",
          "varphi": "φ", "varepsilon": "ε", "delta": "δ"}  # fmt: skip


def symbol_html(symbol: str) -> Markup:
    """Return a mathtext symbol as HTML, its index as a subscript."""
    for name, character in _GREEK.items():
        symbol = re.sub(rf"\\{name}(?![A-Za-z]) ?", character, symbol)
    text = re.sub(r"\\mathrm\{([^}]*)\}|\\dot ", r"\1", symbol)
    text = re.sub(r"\\[,;!]", " ", text)
    parts = re.split(r"_(?:\{([^}]*)\}|(\w))", text)
    # The split gives three parts for each index: the text before it, an index in braces, an index of one character.
    return Markup("").join(
        part if index % 3 == 0 else Markup("<sub>{}</sub>").format(part) for index, part in enumerate(parts) if part
    )
