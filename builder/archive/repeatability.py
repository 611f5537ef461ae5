"""How far pulls scatter with nothing changed, pooled over all sessions of the archive, for each dyno."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from builder.archive.shop_profile import read_shop_profile
from builder.engine.pull_scatter import pooled_variance
from builder.figures.dyno.comparisons import group_repeats
from builder.figures.dyno.pull_scatter import relative_means
from builder.figures.dyno.session import analyse_session
from builder.record.load import build_folders, read_build
from builder.record.models.shop import MAX_REPEATABILITY, MIN_REPEATABILITY
from builder.record.problem import Problem
from builder.record.wording import count_of

UNNAMED_DYNO = "dyno not named in dyno.yaml"


@dataclass(frozen=True, kw_only=True)
class DynoRepeatability:
    """The pooled standard deviation of the mean torque of repeat pulls over the torque [-], on one dyno.

    ``repeats``: how many pulls it is from, the first of each group not counted; ``builds``: where they were recorded.
    """

    dyno: str
    deviation: float
    repeats: int
    builds: tuple[str, ...]


@dataclass(frozen=True)
class RepeatabilityReport:
    """The repeatability of every dyno with repeat pulls, most repeats first, and the problems of the records."""

    dynos: tuple[DynoRepeatability, ...]
    problems: tuple[Problem, ...]

    @property
    def lines(self) -> tuple[str, ...]:
        """Return what to print: each dyno, and the line for shop.yaml."""
        if not self.dynos:
            return (
                "no repeat pulls in the archive: pull again with nothing changed, and write repeat_of: in dyno.yaml",
            )
        texts = [text for dyno in self.dynos for text in _lines_of(dyno)]
        if len(self.dynos) > 1:
            texts.append("shop.yaml holds one line: take that of the dyno in use")
        return tuple(texts)


def archive_repeatability(archive: Path) -> RepeatabilityReport:
    """Return the repeatability of each dyno from the repeat pulls of every build, whatever its status."""
    shop, problems = read_shop_profile(archive)
    by_dyno: dict[str, dict[str, list[list[float]]]] = {}
    for folder in build_folders(archive):
        build, build_problems = read_build(folder, archive)
        problems += build_problems
        session = analyse_session(build, shop) if build is not None else None
        if build is None or session is None:
            continue
        low, high = session.range or (-np.inf, np.inf)
        groups = [relative_means(group, low, high).value for group in group_repeats(session.pulls)]
        if repeats := [list(group) for group in groups if len(group) > 1]:
            dyno = (build.dyno.dyno if build.dyno else None) or UNNAMED_DYNO
            by_dyno.setdefault(dyno, {})[build.slug] = repeats
    dynos = []
    for dyno, builds in by_dyno.items():
        variance = pooled_variance([group for groups in builds.values() for group in groups])
        dynos.append(
            DynoRepeatability(
                dyno=dyno, deviation=variance.deviation, repeats=round(variance.freedom), builds=tuple(sorted(builds))
            )
        )
    return RepeatabilityReport(tuple(sorted(dynos, key=lambda dyno: (-dyno.repeats, dyno.dyno))), tuple(problems))


def _lines_of(dyno: DynoRepeatability) -> tuple[str, ...]:
    pulls = count_of(dyno.repeats, "repeat pull")
    percent = f"{100 * dyno.deviation:.2g} %"
    summary = f"{dyno.dyno}: {percent} of torque (1 SD), from {pulls} ({', '.join(dyno.builds)})"
    if not MIN_REPEATABILITY <= dyno.deviation <= MAX_REPEATABILITY:
        return (summary, f"  outside {MIN_REPEATABILITY:.2%} to {MAX_REPEATABILITY:.0%}: check these logs first")
    return (summary, f"  repeatability: {{value: {percent}, from: {dyno.repeats}}}")
