"""Read thread sizes as a machinist writes them: diameter and pitch."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

from builder.engine.constants import INCH

_INCH = (
    r"(?:(?P<whole>[0-9]+)[ -])?(?P<over>[0-9]+)/(?P<under>[0-9]+)"
    r"|(?P<decimal>[0-9]*\.[0-9]+|[0-9]+)"
    r"|(?:#|No\.? ?)(?P<gauge>[0-9]{1,2})"
)
_UNIFIED = re.compile(
    rf"(?:{_INCH})\s*(?:\"|in\.?)?\s*[-–x×]\s*(?P<per_inch>[0-9]+(?:\.[0-9]+)?)(?![0-9./])", re.IGNORECASE
)
_METRIC = re.compile(
    r"M\s*(?P<diameter>[0-9]+(?:\.[0-9]+)?)(?:\s*[x×*]\s*(?P<pitch>[0-9]+(?:\.[0-9]+)?))?(?![0-9.])", re.IGNORECASE
)

# Coarse pitches [mm] by nominal diameter [mm], taken where only the diameter is written. Source: ISO 261.
_COARSE = {
    3: 0.5, 4: 0.7, 5: 0.8, 6: 1.0, 7: 1.0, 8: 1.25, 10: 1.5, 12: 1.75, 14: 2.0, 16: 2.0,
    18: 2.5, 20: 2.5, 22: 2.5, 24: 3.0, 27: 3.0, 30: 3.5,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Thread:
    """A thread: nominal diameter [m], pitch [m], and its profile."""

    diameter: float
    pitch: float
    kind: Literal["metric", "unified"]


def parse_thread(text: str) -> Thread | None:
    """Read a thread size such as `7/16-20`, `#10-32`, `1 1/8-12 UNF`, `M10x1.25` or `M10`.

    What follows the size (the series, a length) is ignored. Returns None for text that is no thread size, and
    for a size that no engine has: a diameter outside 1 to 80 mm, or a pitch outside 0.2 to 8 mm or of more
    than half the diameter. A metric size without pitch is taken as coarse.
    """
    tidy = text.strip()[:80]
    thread = _metric(tidy) if tidy[:1] in ("M", "m") else _inch(tidy)
    if thread is None or not 1e-3 <= thread.diameter <= 80e-3:
        return None
    return thread if 0.2e-3 <= thread.pitch <= min(8e-3, thread.diameter / 2) else None


def _metric(text: str) -> Thread | None:
    match = _METRIC.match(text)
    if not match:
        return None
    diameter = float(match["diameter"])
    pitch = float(match["pitch"]) if match["pitch"] else _COARSE.get(diameter)  # type: ignore[call-overload]
    return Thread(diameter * 1e-3, pitch * 1e-3, "metric") if pitch else None


def _inch(text: str) -> Thread | None:
    match = _UNIFIED.match(text)
    if not match or float(match["per_inch"]) == 0:
        return None
    if match["gauge"] is not None:
        # Numbered sizes grow by 0.013 in from 0.060 in at number 0. Source: ASME B1.1.
        inches = 0.060 + 0.013 * int(match["gauge"])
    elif match["decimal"] is not None:
        inches = float(match["decimal"])
    elif int(match["under"]):
        inches = int(match["whole"] or 0) + int(match["over"]) / int(match["under"])
    else:
        return None
    return Thread(inches * INCH, INCH / float(match["per_inch"]), "unified")
