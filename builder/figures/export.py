"""The figures of one build for the terminal, and as JSON for other programs."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from builder.figures.core.types import Contradiction, FigureSheet
from builder.figures.dyno.engine_state import EngineState, StatePeak


def figures_as_json(slug: str, sheet: FigureSheet) -> dict[str, Any]:
    """Return the sheet in the form other programs read; values and units SI."""
    session = sheet.session
    return {
        "build": slug,
        "delivered": state_as_json(session.delivered) if session else None,
        "best_during_testing": state_as_json(session.best) if session else None,
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
        "needs": [
            {"slug": need.slug, "needs": list(need.needs), "instead": [list(hints) for hints in need.instead]}
            for need in sheet.needs
        ],
        "contradictions": [_contradiction(found) for found in sheet.contradictions],
    }


def _contradiction(found: Contradiction) -> dict[str, Any]:
    return {
        "check": found.check,
        "title": found.title,
        "says": _plain(found.sentence),
        "axis": found.axis,
        "positions": list(found.positions),
        "suspect": found.suspect.path if found.suspect else None,
        "values": [
            {
                "field": value.path,
                "label": value.label,
                "text": _plain(value.text),
                "file": value.where[0].name,
                "line": value.where[1],
            }
            for value in found.values
        ],
    }


def state_as_json(state: EngineState | None) -> dict[str, Any] | None:
    """Return the peaks of a state of the engine with the half widths of their 95 % intervals; values SI."""
    if state is None:
        return None
    return {
        "name": state.name,
        "assumed": state.assumed,
        "pulls": [pull.name for pull in state.pulls],
        "peak_torque": _peak(state.peak_torque),
        "peak_power": _peak(state.peak_power),
    }


def _peak(peak: StatePeak) -> dict[str, Any]:
    return {
        "value": float(f"{peak.value:.9g}"),
        "half_width": float(f"{peak.half_width:.9g}"),
        "confidence": 0.95,
        "speed": float(f"{peak.speed:.9g}"),
        "at_end": peak.at_end,
    }


def figures_as_lines(sheet: FigureSheet) -> Iterator[str]:
    """Yield the sheet for the terminal: a figure a line, with its working below."""
    section = None
    for figure in sheet.listed:
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
            yield f"  {need.title:<32} needs {need.text}"


def _plain(text: str) -> str:
    return text.replace("\N{NO-BREAK SPACE}", " ")
