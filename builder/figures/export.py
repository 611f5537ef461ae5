"""The figures of one build for the terminal, and as JSON for other programs."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from builder.figures.core.types import FigureSheet


def figures_as_json(slug: str, sheet: FigureSheet) -> dict[str, Any]:
    """Return the sheet in the form other programs read; values and units SI."""
    return {
        "build": slug,
        "figures": [
            {
                "slug": figure.slug,
                "title": figure.title,
                "value": figure.value,
                "unit": figure.description.display_unit.si,
                "display": _plain(figure.display_with_range),
                "basis": figure.basis,
                "calculated_from": [{"what": item.label, "known": item.provenance} for item in figure.readings],
                "working": _plain(figure.working),
                "source": figure.description.source,
                "positions": [
                    {
                        figure.axis or "position": _plain(position.label),
                        "value": position.value,
                        "display": _plain(position.display),
                    }
                    for position in figure.positions
                ],
                "caution": " ".join(figure.cautions) or None,
            }
            for figure in sheet.figures
        ],
        "needs": [{"slug": need.slug, "needs": list(need.needs)} for need in sheet.needs],
    }


def figures_as_lines(sheet: FigureSheet) -> Iterator[str]:
    """Yield the sheet for the terminal: a figure a line, with its working below."""
    section = None
    for figure in sheet.figures:
        if figure.description.section != section:
            section = figure.description.section
            yield f"\n{section}"
        alternate = f"  ({figure.alternate_text})" if figure.alternate_text else ""
        yield f"  {figure.title:<32} {_plain(figure.display_with_range)}{_plain(alternate)}"
        yield f"      {_plain(figure.working)}"
        yield f"      {figure.calculated_from or figure.provenance_text}"
        for caution in figure.cautions:
            yield f"      caution: {caution}"
    if sheet.needs:
        yield "\nNot to be had"
        for need in sheet.needs:
            yield f"  {need.title:<32} needs {'; '.join(need.needs)}"


def _plain(text: str) -> str:
    return text.replace("\N{NO-BREAK SPACE}", " ")
