"""The finder's data: the whole archive in one small script file.

The file assigns one global, ``millbookFinderData``, by parsing one string: browsers read that twice as fast as
the same thing written out as code. A column holds one field of every build, newest build first: whole steps
of the field (``Field.per`` steps in one SI unit) for a number, the position in ``choices`` for a choice, null
where unknown. A curve is a text of whole numbers: first speed and step [rev/min], then torques [0.1 N m].
Only what a Summary holds gets in, and the same builds give the same bytes.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping
from typing import Any

from builder.archive import estimate, similarity
from builder.archive.fields import (
    CHOICES,
    FIELDS,
    NUMBERS,
    Field,
    System,
    choice_of,
    number_of,
    steps_of,
    weights_from,
)
from builder.archive.summary import Curve, Summary, newest_first

GLOBAL = "millbookFinderData"
MOST_WORDS = 420  # bytes of search text a build; the site's own search holds the rest
MOST_TITLE = 120  # characters
_SPLIT = re.compile(r"[^\w.\-/+%]+")


def finder_data(
    summaries: Iterable[Summary],
    weights: Mapping[str, float] | None = None,
    system: System = "metric",
) -> str:
    """The text of ``finder-data.js`` for these builds.

    Parameters
    ----------
    weights : mapping of field slug to weight
        As returned by ``fields.weights_from``; the default weights when None.
    system : "inch" or "metric"
        The units that the page starts with.
    """
    weights = weights_from(None)[0] if weights is None else weights
    rows = newest_first(summaries)
    labels = {f.slug: sorted({c for s in rows if (c := choice_of(s, f)) is not None}) for f in CHOICES}
    columns: dict[str, list[int | None]] = {}
    for field in NUMBERS:
        columns[field.slug] = [_steps(s, field) for s in rows]
    for field in CHOICES:
        at = {label: i for i, label in enumerate(labels[field.slug])}
        columns[field.slug] = [None if (c := choice_of(s, field)) is None else at[c] for s in rows]
    data: dict[str, Any] = {
        "form": 1,
        "system": system,
        "likeness": [similarity.MISSING, similarity.LEAST_SHARED, similarity.LEAST_FIELDS],
        "estimate": {
            "leastRelatives": estimate.LEAST_RELATIVES,
            "mostRelatives": estimate.MOST_RELATIVES,
            "farthest": estimate.FARTHEST,
            "near": estimate.NEAR,
            "floor": estimate.FLOOR,
            "calibration": estimate.CALIBRATION,
            "margin": estimate.MARGIN,
            "level": estimate.LEVEL,
            "mustBeKnown": estimate.MUST_BE_KNOWN,
        },
        "fields": [_field(f, weights.get(f.slug, 0.0)) for f in FIELDS],
        "choices": labels,
        "slugs": [s.slug for s in rows],
        "titles": [_short(" ".join(s.title.split()), MOST_TITLE) for s in rows],
        "numbers": [s.number or "" for s in rows],
        "dates": [s.date or "" for s in rows],
        "columns": {slug: c for slug, c in columns.items() if any(v is not None for v in c)},
        "curves": [_curve(s.curve) for s in rows],
        "words": [_words(s) for s in rows],
    }
    text = json.dumps(data, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    return f"globalThis.{GLOBAL}=JSON.parse('{_in_script(text)}');\n"


def _field(field: Field, weight: float) -> dict[str, Any]:
    out: dict[str, Any] = {
        "slug": field.slug,
        "title": field.title,
        "kind": field.kind,
        "group": field.group,
        "weight": weight,
    }
    if field.kind == "number":
        out |= {"span": field.scale, "ratio": field.ratio, "per": field.quantum}
        for name, unit in (("inch", field.inch), ("metric", field.metric)):
            out[name] = [unit.label, unit.factor, unit.decimals]
    return out


def _steps(summary: Summary, field: Field) -> int | None:
    value = number_of(summary, field)
    return None if value is None else steps_of(value, field)


def _curve(curve: Curve | None) -> str:
    if curve is None:
        return ""
    try:
        whole = [round(curve.start * 60), round(curve.step * 60), *(round(t * 10) for t in curve.torque)]
    except (ValueError, OverflowError):  # not a number somewhere: no curve
        return ""
    return " ".join(map(str, whole)) if whole[1] > 0 and len(whole) > 3 else ""


def _words(summary: Summary) -> str:
    """Words to search in, each once, without those that the page has anyway; cut at MOST_WORDS bytes."""
    parts = " ".join(f"{p.maker} {p.number} {p.kind}" for p in summary.parts)
    had = set(_SPLIT.split(summary.title.casefold()))
    kept: list[str] = []
    room = MOST_WORDS
    for word in _SPLIT.split(f"{parts} {summary.words}".casefold()):
        word = word.strip(".-/")
        if word in had or len(word) < 2 or len(word) > 40:
            continue
        had.add(word)
        room -= len(word.encode("utf-8", "replace")) + 1
        if room < 0:
            break
        kept.append(word)
    return " ".join(kept)


def _short(text: str, most: int) -> str:
    return text if len(text) <= most else text[: most - 1] + "…"


def _in_script(text: str) -> str:
    """Write text between single quotes of a script, so that nothing in it can end the string or the script."""
    text = text.encode("utf-8", "replace").decode("utf-8").replace("\\", "\\\\").replace("'", "\\'")
    for character in "<>&\u2028\u2029\ufeff":
        text = text.replace(character, f"\\u{ord(character):04x}")
    return text
