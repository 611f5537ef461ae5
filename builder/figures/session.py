"""The dyno session of one build, corrected and judged."""

from __future__ import annotations

from dataclasses import dataclass

from builder.engine.curves import Peak
from builder.record.build import Build
from builder.record.shop import Shop


@dataclass(frozen=True)
class DynoSession:
    """What the pulls of one build came to."""

    peak_power: Peak | None = None


def study(build: Build, shop: Shop) -> DynoSession | None:
    """Correct and judge every pull."""
    return None
