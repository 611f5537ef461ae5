"""The figures of one build for the terminal, and as JSON for other programs."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

from builder.engine.comparison import CONFIDENCE
from builder.figures.core.types import Contradiction, FigureSheet
from builder.figures.dyno.before_after import BeforeAfter, Difference
from builder.figures.dyno.comparisons import ComparisonResult, Repeats, SettingTrials, scatter_text
from builder.figures.dyno.engine_state import EngineState, StatePeak
from builder.figures.dyno.pull_scatter import PullScatter
from builder.figures.dyno.session import DynoSession
from builder.figures.review.goals import GoalResult
from builder.record.wording import plain_spaces


def figures_as_json(slug: str, sheet: FigureSheet) -> dict[str, Any]:
    """Return the sheet in the form other programs read; values and units SI."""
    session = sheet.session
    return {
        "build": slug,
        "delivered": state_as_json(session.delivered) if session else None,
        "best_during_testing": state_as_json(session.best) if session else None,
        "before_after": before_after_as_json(session.before_after) if session and session.before_after else None,
        "goals": [goal_as_json(goal) for goal in sheet.goals],
        "scatter": scatter_as_json(session.scatter) if session else None,
        "repeats": [repeats_as_json(repeats) for repeats in session.repeats] if session else [],
        "changes": [change_as_json(change, session.scatter) for change in session.changes] if session else [],
        "settings": [setting_as_json(setting) for setting in session.settings] if session else [],
        "figures": [
            {
                "slug": figure.slug,
                "title": figure.title,
                "value": figure.value,
                "unit": figure.description.display_unit.si,
                "display": plain_spaces(figure.display_with_range),
                "basis": figure.basis,
                "calculated_from": [{"what": item.label, "known": item.provenance} for item in figure.readings],
                "working": plain_spaces(figure.working),
                "source": figure.description.source,
                "positions": [
                    {
                        figure.axis or "position": plain_spaces(position.label),
                        "value": position.value,
                        "display": plain_spaces(position.display),
                    }
                    for position in figure.positions
                ],
                "note": plain_spaces(figure.note) if figure.note else None,
                "caution": " ".join(figure.cautions) or None,
            }
            for figure in sheet.figures
        ],
        "needs": [
            {"slug": need.slug, "needs": list(need.needs), "instead": [list(hints) for hints in need.instead]}
            for need in sheet.needs
        ],
        "contradictions": [_contradiction(contradiction) for contradiction in sheet.contradictions],
    }


def _contradiction(contradiction: Contradiction) -> dict[str, Any]:
    return {
        "check": contradiction.check,
        "title": contradiction.title,
        "text": plain_spaces(contradiction.sentence),
        "axis": contradiction.axis,
        "positions": list(contradiction.positions),
        "suspect": contradiction.suspect.path if contradiction.suspect else None,
        "values": [
            {
                "field": value.path,
                "label": value.label,
                "text": plain_spaces(value.text),
                "file": value.where[0].name,
                "line": value.where[1],
                "meant": plain_spaces(dict(contradiction.meant).get(value.path, "")) or None,
            }
            for value in contradiction.values
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


def before_after_as_json(results: BeforeAfter) -> dict[str, Any]:
    """Return the results before the work and as delivered with their differences and 95 % intervals; values SI."""

    def difference(item: Difference | None) -> dict[str, Any] | None:
        if item is None:
            return None
        return {
            "before": _number(item.before),
            "delivered": _number(item.delivered),
            "difference": _number(item.value),
            "half_width": _number(item.half_width),
        }

    return {
        "before": results.before.name,
        "peak_power": difference(results.power),
        "peak_torque": difference(results.torque),
        "mean_torque": difference(results.mean_torque),
        "range": [_number(end) for end in results.range or ()],
        "confidence": CONFIDENCE,
    }


def goal_as_json(goal: GoalResult) -> dict[str, Any]:
    """Return a goal with a number: what is enough, what the engine has, and the result; values SI."""
    target, finding = goal.target, goal.finding
    return {
        "goal": target.name,
        "quantity": target.quantity,
        "speed": None if target.speed is None else _number(target.speed.si),
        "minimum": None if target.minimum is None else _number(target.minimum),
        "maximum": None if target.maximum is None else _number(target.maximum),
        "value": None if finding is None else _number(finding.value),
        "half_width": None if finding is None or finding.half_width is None else _number(finding.half_width),
        "lowest": None if finding is None else _number(finding.lowest),
        "highest": None if finding is None else _number(finding.highest),
        "basis": None if finding is None else finding.basis,
        "unit": goal.display_unit.si,
        "result": goal.outcome,
    }


def scatter_as_json(scatter: PullScatter) -> dict[str, Any]:
    """Return how far pulls scatter with nothing changed, over their torque, and what that is from."""
    return {
        "relative": _number(scatter.relative),
        "degrees_of_freedom": _number(scatter.freedom),
        "from": scatter.source,
    }


def repeats_as_json(repeats: Repeats) -> dict[str, Any]:
    """Return how far some repeats differ and whether they drift; torque [N m]."""
    return {
        "pulls": list(repeats.names),
        "deviation": _number(repeats.repeatability.overall),
        "deviation_of_means": _number(repeats.repeatability.of_means),
        "drift_per_pull": _number(repeats.drift.per_pull),
        "drift_half_width": _number(repeats.drift.half_width),
        "drift": repeats.drift.verdict,
        "text": plain_spaces(repeats.text),
    }


def change_as_json(change: ComparisonResult, scatter: PullScatter) -> dict[str, Any]:
    """Return what a change was worth in mean torque [N m], with its interval; null where it cannot be compared."""
    gain = change.gain
    return {
        "pull": change.name,
        "since": change.since,
        "changed": change.changed,
        "changes_at_once": change.changes,
        "before": list(change.before),
        "after": list(change.after),
        "value": None if gain is None else _number(gain.mean),
        "half_width": None if gain is None else _number(gain.half_width),
        "confidence": CONFIDENCE,
        "scatter": scatter.source,
        "drift": change.drift,
        "verdict": "not comparable" if gain is None else gain.verdict,
        "text": plain_spaces(change.text),
    }


def setting_as_json(setting: SettingTrials) -> dict[str, Any]:
    """Return a swept setting with the optimum of each result, in the unit of the setting; null where none is named."""
    return {
        "name": setting.name,
        "unit": setting.unit,
        "caution": setting.caution or None,
        "fits": [
            {
                "result": fit.quantity,
                "levels": [_number(level) for level in fit.levels],
                "values": [_number(value) for value in fit.values],
                "optimum": _number(fit.best.optimum) if fit.best and fit.best.optimum is not None else None,
                "interval": [_number(end) for end in (fit.best.interval or ())] if fit.best else [],
                "confidence": CONFIDENCE,
                "verdict": fit.best.verdict if fit.best else "two settings only",
                "text": plain_spaces(fit.text),
            }
            for fit in setting.fits
        ],
    }


def _number(value: float) -> float | None:
    """Return a number rounded so that every machine writes the same digits; None for what is not finite."""
    return float(f"{value:.9g}") if math.isfinite(value) else None


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
        yield f"  {figure.title:<32} {plain_spaces(figure.display_with_range)}{plain_spaces(alternate)}"
        yield f"      {plain_spaces(figure.working)}"
        yield f"      {figure.calculated_from or figure.provenance_text}"
        if figure.note:
            yield f"      {plain_spaces(figure.note)}"
        for caution in figure.cautions:
            yield f"      caution: {caution}"
    if sheet.session is not None:
        yield from _session_lines(sheet.session)
    if sheet.needs:
        yield "\nNot available"
        for need in sheet.needs:
            yield f"  {need.title:<32} needs {need.text}"


def _session_lines(session: DynoSession) -> Iterator[str]:
    """Yield what each change was worth, swept settings and repeats."""
    if not (session.changes or session.settings or session.repeats):
        return
    yield "\nBack-to-back tests"
    for change in session.changes:
        yield f"  {change.changed} (vs {change.since}): {plain_spaces(change.text)}"
        for text in filter(None, (change.mean_text, change.drift_text)):
            yield f"      {plain_spaces(text)}"
    for setting in session.settings:
        for fit in setting.fits:
            yield f"  {setting.name}: {plain_spaces(fit.text)}"
    for repeats in session.repeats:
        yield f"  {repeats.names[0]}: {plain_spaces(repeats.text)}"
    yield f"  {plain_spaces(scatter_text(session.scatter))}"
