"""The finder's data: the archive in one small script file.

The file assigns one global, ``millbookFinderData``, by parsing one string: browsers read that twice as fast as
an object literal. A column holds one field of every build, newest build first: multiples of the field's
quantum (``Field.quantum`` of them in one SI unit) for a number, the position in ``choices`` for a choice, null
where unknown. A curve is a text of integers: first speed and step [rev/min], then torques [0.1 N m].
Only what a Summary holds gets in, and the same builds give the same bytes.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

from builder.archive import adjusted_mean, estimate, similarity
from builder.archive.fields import (
    BY_SLUG,
    CHOICES,
    FIELDS,
    NUMBERS,
    TEXTS,
    Field,
    System,
    choice_of,
    number_of,
    steps_of,
    weights_from,
)
from builder.archive.ready_ranges import ready_ranges
from builder.archive.search import RATIO_TOLERANCE, SEARCHED_CHOICES
from builder.archive.summary import NOTED_RESULT, CoarseCurve, Summary, newest_first

GLOBAL = "millbookFinderData"
READY_FIELDS = ("displacement", "compression_ratio")
"""The fields that the finder has ready choices for; fuels are chosen by family."""
MAX_WORDS_BYTES = 420  # bytes of search text a build; the site's own search covers the rest
MAX_TITLE_LENGTH = 120  # characters
_SPLIT = re.compile(r"[^\w.\-/+%]+")


def finder_data(
    summaries: Iterable[Summary],
    weights: Mapping[str, float] | None = None,
    system: System = "metric",
    translate: Callable[[str], str] = str,
) -> str:
    """Return the text of ``finder-data.js`` for these builds.

    Parameters
    ----------
    weights : mapping of field slug to weight
        As returned by ``fields.weights_from``; the default weights when None.
    system : "inch" or "metric"
        Units in which the page opens.
    translate : callable
        Returns a title or a choice in the English of the archive.
    """
    weights = weights_from(None)[0] if weights is None else weights
    rows = newest_first(summaries)
    labels = {f.slug: sorted({c for s in rows if (c := choice_of(s, f)) is not None}) for f in CHOICES}
    columns: dict[str, list[int | None]] = {}
    for field in NUMBERS:
        columns[field.slug] = [_steps(s, field) for s in rows]
    for field in CHOICES:
        index = {label: i for i, label in enumerate(labels[field.slug])}
        columns[field.slug] = [None if (c := choice_of(s, field)) is None else index[c] for s in rows]
    data: dict[str, Any] = {
        "form": 1,
        "system": system,
        "likeness": [similarity.MISSING_DIFFERENCE, similarity.MIN_SHARED_WEIGHT, similarity.MIN_SHARED_FIELDS],
        "estimate": {
            "leastRelatives": estimate.MIN_MATCHES,
            "mostRelatives": estimate.MAX_MATCHES,
            "farthest": estimate.MAX_DISTANCE,
            "near": estimate.DISTANCE_OFFSET,
            "penalties": [penalty for penalty in adjusted_mean.PENALTIES if math.isfinite(penalty)],
            "floor": adjusted_mean.MIN_SIGMA,
            "shown": [estimate.MIN_SHOWN_ADJUSTMENT, estimate.MAX_SHOWN_ADJUSTMENTS],
            "noted": translate(NOTED_RESULT),
            "calibration": estimate.CALIBRATION_SIZE,
            "familyCalibration": estimate.MIN_FAMILY_CALIBRATION,
            "margin": estimate.RANGE_MARGIN,
            "level": estimate.CONFIDENCE_LEVEL,
            "mustBeKnown": estimate.REQUIRED_CHOICES,
            "shouldBeKnown": estimate.KNOWN_CHOICES,
        },
        "fields": [_field(f, weights.get(f.slug, 0.0), translate) for f in FIELDS],
        "choices": {slug: [translate(label) for label in choices] for slug, choices in labels.items()},
        "search": {"choices": SEARCHED_CHOICES, "ratioTolerance": RATIO_TOLERANCE},
        "slugs": [s.slug for s in rows],
        "engines": _engines(rows),
        "titles": [_truncate(" ".join(s.title.split()), MAX_TITLE_LENGTH) for s in rows],
        "numbers": [s.number or "" for s in rows],
        "dates": [s.date or "" for s in rows],
        "columns": {slug: c for slug, c in columns.items() if any(v is not None for v in c)},
        "curves": [_curve(s.curve) for s in rows],
        "words": [_words(s) for s in rows],
        "texts": _texts(rows, translate),
        "ready": {slug: _ready(rows, BY_SLUG[slug]) for slug in READY_FIELDS},
    }
    text = json.dumps(data, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    return f"globalThis.{GLOBAL}=JSON.parse('{escape_script(text)}');\n"


def _engines(rows: Sequence[Summary]) -> list[int]:
    """Return for each build the index of the first build of its engine."""
    first: dict[str, int] = {}
    return [first.setdefault(summary.engine_key, index) for index, summary in enumerate(rows)]


def _texts(rows: Sequence[Summary], translate: Callable[[str], str]) -> dict[str, dict[str, Any]]:
    """Return the names of parts, each name once with the numbers of the builds that have it; None where unknown."""
    texts = {}
    for slug, title in TEXTS.items():
        names = sorted({name for s in rows if (name := getattr(s, slug))})
        index = {name: number for number, name in enumerate(names)}
        texts[slug] = {
            "title": translate(title),
            "names": names,
            "rows": [index.get(getattr(s, slug)) for s in rows] if names else [],
        }
    return texts


def _ready(rows: Sequence[Summary], field: Field) -> dict[str, list[list[float]]]:
    """Return the ready ranges of a field in the units of both systems."""
    values = [value for s in rows if (value := number_of(s, field)) is not None]
    systems: tuple[System, ...] = ("inch", "metric")
    return {system: ready_ranges(values, field, system) for system in systems}


def _field(field: Field, weight: float, translate: Callable[[str], str]) -> dict[str, Any]:
    content: dict[str, Any] = {
        "slug": field.slug,
        "title": translate(field.title),
        "kind": field.kind,
        "group": field.group,
        "weight": weight,
        "optional": field.optional,
    }
    if field.kind == "number":
        content |= {"span": field.scale, "ratio": field.ratio, "per": field.quantum}
        for name, unit in (("inch", field.inch), ("metric", field.metric)):
            content[name] = [unit.label, unit.factor, unit.decimals]
    return content


def _steps(summary: Summary, field: Field) -> int | None:
    value = number_of(summary, field)
    return None if value is None else steps_of(value, field)


def _curve(curve: CoarseCurve | None) -> str:
    if curve is None:
        return ""
    try:
        integers = [round(curve.start * 60), round(curve.step * 60), *(round(t * 10) for t in curve.torque)]
    except (ValueError, OverflowError):  # NaN or infinity: no curve
        return ""
    return " ".join(map(str, integers)) if integers[1] > 0 and len(integers) > 3 else ""


def _words(summary: Summary) -> str:
    """Return the words to search in, each once, without those of the title; cut at MAX_WORDS_BYTES bytes."""
    parts = " ".join(f"{p.maker} {p.number} {p.kind}" for p in summary.parts)
    seen = set(_SPLIT.split(summary.title.casefold()))
    words: list[str] = []
    bytes_left = MAX_WORDS_BYTES
    for word in _SPLIT.split(f"{parts} {summary.words}".casefold()):
        word = word.strip(".-/")
        if word in seen or len(word) < 2 or len(word) > 40:
            continue
        seen.add(word)
        bytes_left -= len(word.encode("utf-8", "replace")) + 1
        if bytes_left < 0:
            break
        words.append(word)
    return " ".join(words)


def _truncate(text: str, length: int) -> str:
    return text if len(text) <= length else text[: length - 1] + "…"


def escape_script(text: str) -> str:
    """Return text for between single quotes of a script, so that nothing in it can end the string or the script."""
    text = text.encode("utf-8", "replace").decode("utf-8").replace("\\", "\\\\").replace("'", "\\'")
    for character in "<>&\u2028\u2029\ufeff":
        text = text.replace(character, f"\\u{ord(character):04x}")
    return text
