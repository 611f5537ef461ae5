"""The least a build needs, and a log of one pull."""

from __future__ import annotations

from collections.abc import Callable

from builder.record.models.build import Build
from builder.record.problem import Problem
from builder.record.scaffold import scaffold

SHEET = "title: Test engine\nstatus: finished\nengine:\n  cylinders: 4\n"
CSV = "RPM,Torque (lb-ft)\n" + "".join(
    f"{speed},{200 - (speed - 4000) ** 2 / 1e5:.1f}\n" for speed in range(2500, 6500, 100)
)

ReadWith = Callable[..., tuple[Build | None, list[Problem]]]


def full_scaffold(slug: str) -> dict[str, str]:
    """Return every file that a scaffold can have, by name, whether of a four-stroke or a two-stroke."""
    return {**scaffold(slug, two_stroke=True), **scaffold(slug)}
