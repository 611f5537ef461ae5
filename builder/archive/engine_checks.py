"""Check the builds of each engine against each other: their order, days, hours, and readings as returned."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from builder.archive.engine_build import EngineBuild, EngineReading
from builder.archive.engine_history import reading_title, wear_direction
from builder.engine.uncertainty import COVERAGE
from builder.record.field_names import with_field_names
from builder.record.models.build import DOCUMENTS
from builder.record.problem import Problem, Severity, did_you_mean
from builder.record.quantities.unit_table import printed_unit
from builder.record.quantities.units import to_unit
from builder.record.wording import in_sentence
from builder.record.yaml_loader import read_yaml

_PART_SIZE = 5e-3
"""From this size on [m] a reading is that of a part, below it that of a clearance (common practice, no source)."""
_MOST_PART_WEAR = 0.03
"""A part that wore more than this share of its size was another part, or its reading a slip (common practice)."""
_MOST_CLEARANCE_RATIO = 10.0
_REGAUGED = 0.02e-3
"""What two gaugings of a part years apart may differ by without wear [m]: temperature, setting (common practice)."""


@dataclass(frozen=True)
class EngineEntry:
    """One build of an engine that has a number, and what an engine cannot change."""

    slug: str
    engine: EngineBuild
    cylinders: int | None = None
    cycle: str | None = None


@dataclass(frozen=True)
class _Finding:
    slug: str
    path: str
    message: str
    severity: Severity = "error"


def engine_problems(
    archive: Path, entries: Iterable[EngineEntry], folders: Collection[str], unnumbered: Collection[str] = ()
) -> list[Problem]:
    """Return what cannot be true of the builds of one engine together, each with file, line and fix.

    ``folders`` are the names of all build folders, ``unnumbered`` the builds known to have no engine number.
    """
    by_engine: dict[str, dict[str, EngineEntry]] = defaultdict(dict)
    for entry in entries:
        by_engine[entry.engine.key][entry.slug] = entry
    every = {slug: entry for engine in by_engine.values() for slug, entry in engine.items()}
    findings: list[_Finding] = []
    for builds in by_engine.values():
        findings += _previous_builds(builds, every, folders, unnumbered)
        findings += _circles(builds)
        ordered = sorted(builds.values(), key=lambda entry: (entry.engine.day, entry.slug))
        findings += _same_engine(ordered)
        findings += _at_once(ordered)
        findings += [item for before, after in _pairs(ordered, builds) for item in _interval(before, after)]
    return sorted(_located(archive, finding) for finding in findings)


def _located(archive: Path, finding: _Finding) -> Problem:
    """Return a finding with the line of the field it is about."""
    name, *steps = finding.path.split(".")
    shown = Path("builds") / finding.slug / f"{name}.yaml"
    document, _ = read_yaml(archive / shown, shown)
    line = 1
    if document is not None:
        document, _ = with_field_names(document, DOCUMENTS[name])
        line = document.line(tuple(steps))
    return Problem(shown, line, finding.message, finding.severity, (finding.path,))


def _previous_builds(
    builds: Mapping[str, EngineEntry],
    every: Mapping[str, EngineEntry],
    folders: Collection[str],
    unnumbered: Collection[str],
) -> Iterator[_Finding]:
    path = "build.previous_build"
    followers: dict[str, str] = {}
    for slug, entry in sorted(builds.items()):
        previous = entry.engine.previous
        if previous is None:
            continue
        if previous == slug:
            message = "previous_build is this build itself: name the one before it, or remove the line"
            yield _Finding(slug, path, message)
        elif previous not in folders:
            hint = did_you_mean(previous, sorted(folders), "write the name of its folder, or remove the line")
            yield _Finding(slug, path, f"previous_build: there is no build {previous[:60]!r}: {hint}")
        elif previous in unnumbered or (previous in every and previous not in builds):
            number = every[previous].engine.number if previous in every else None
            other = f"is of engine {number}" if number else "has no engine number"
            message = f"previous_build: {previous} {other}: write engine_number: {entry.engine.number} there too"
            yield _Finding(slug, path, f"{message}, or name another build")
        elif previous in followers:
            message = f"previous_build: {previous} is also the build before {followers[previous]}: correct one of them"
            yield _Finding(slug, path, message)
        elif previous in builds and _is_before(entry.engine.started, builds[previous].engine.started):
            message = (
                f"previous_build: {previous} was started on {builds[previous].engine.started}, after this one "
                f"({entry.engine.started}): correct the days, or name the build before this one"
            )
            yield _Finding(slug, path, message)
        followers.setdefault(previous, slug)


def _is_before(day: str | None, other: str | None) -> bool:
    return day is not None and other is not None and day < other


def _circles(builds: Mapping[str, EngineEntry]) -> Iterator[_Finding]:
    """Yield each circle of builds that name each other, once, at the first of them by name."""
    seen: set[str] = set()
    for start in sorted(builds):
        chain: list[str] = []
        slug: str | None = start
        while slug is not None and slug in builds and slug not in seen and slug not in chain:
            chain.append(slug)
            slug = builds[slug].engine.previous
        circle = chain[chain.index(slug) :] if slug in chain else []
        seen.update(chain)
        if len(circle) > 1:
            names = " before ".join((*reversed(circle), circle[-1]))
            message = f"previous_build goes in a circle: {names}: correct one of them"
            yield _Finding(min(circle), "build.previous_build", message)


def _same_engine(ordered: Sequence[EngineEntry]) -> Iterator[_Finding]:
    for before, after in pairwise(ordered):
        for name, what in (("cylinders", "cylinders"), ("cycle", "cycle")):
            was, now = getattr(before, name), getattr(after, name)
            if was is not None and now is not None and was != now:
                message = (
                    f"engine {after.engine.number} has {what} {now} here and {was} in {before.slug}: "
                    "it is another engine; give it another engine_number"
                )
                yield _Finding(after.slug, "build.engine_number", message)


def _at_once(ordered: Sequence[EngineEntry]) -> Iterator[_Finding]:
    """Yield builds of one engine that were started before the one before them was finished."""
    for before, after in pairwise(ordered):
        started, finished = after.engine.started, before.engine.finished
        if before.engine.started is None or started is None:
            continue
        if _is_before(started, finished) or (finished is None and before.engine.is_open):
            until = f"to {finished}" if finished else "and is not finished"
            message = (
                f"engine {after.engine.number} is in two builds at once: here from {started}, and in {before.slug} "
                f"from {before.engine.started} {until}: correct the days, or give one another engine_number"
            )
            yield _Finding(after.slug, "build.engine_number", message)


def _pairs(
    ordered: Sequence[EngineEntry], builds: Mapping[str, EngineEntry]
) -> Iterator[tuple[EngineEntry, EngineEntry]]:
    """Yield each build with the one before it: the one that it names, else the one before by its days."""
    for index, entry in enumerate(ordered):
        named = entry.engine.previous
        before = builds.get(named) if named else ordered[index - 1] if index else None
        if before is not None and before.slug != entry.slug:
            yield before, entry


def _interval(before: EngineEntry, after: EngineEntry) -> Iterator[_Finding]:
    """Yield what the later of two builds says of the time between them that cannot be."""
    done = [*before.engine.services, *before.engine.events]
    for name, unit, scale in (("hours", "hours", 1.0), ("distance", "km", 1000.0)):
        since, most = getattr(after.engine, name), max((getattr(item, name) or 0.0 for item in done), default=0.0)
        if since is not None and since * (1 + 1e-9) < most:
            message = (
                f"{since / scale:,.6g} {unit} since the last build, and {before.slug} was serviced or had an event "
                f"at {most / scale:,.6g}: both count from its delivery; correct one of them"
            )
            yield _Finding(after.slug, f"build.since_last.{name}", message)
    readings = {reading.path: reading for reading in before.engine.readings}
    for reading in after.engine.readings:
        built = readings.get(reading.path)
        if built is not None and built.built and reading.returned and reading.dimension == "length":
            yield from _impossible(before.slug, after.slug, built, reading)


def _impossible(previous: str, slug: str, before: EngineReading, after: EngineReading) -> Iterator[_Finding]:
    """Yield the first position of a reading that cannot be as it is recorded to have returned."""
    if len(before.built) not in (1, len(after.returned)):
        return
    direction = wear_direction(after.path)
    for index, returned in enumerate(after.returned):
        built = before.built[index if len(before.built) > 1 else 0]
        label = f"{in_sentence(reading_title(after.path))}, {after.axis or 'position'} {index + 1}"
        values = f"{label}: {_written(returned, after)} as returned, {_written(built, before)} as built in {previous}"
        path = f"{after.path}.returned.{index}"
        is_part = abs(built) >= _PART_SIZE
        change = abs(returned - built)
        if (is_part and change > _MOST_PART_WEAR * abs(built)) or (
            not is_part and built > 0 and returned > _MOST_CLEARANCE_RATIO * max(built, 10 * before.step)
        ):
            yield _Finding(slug, path, f"{values}: no engine wears so far; look for a slipped digit or a wrong unit")
            return
        allowed = COVERAGE * (before.built_uncertainty + after.returned_uncertainty) + _REGAUGED
        if direction and direction * (returned - built) < -allowed:
            word = "grow" if direction < 0 else "shrink"
            message = f"{values}: it does not {word} in use; compare both gaugings, the gauge's setting and temperature"
            yield _Finding(slug, path, message, "warning")
            return


def _written(si: float, reading: EngineReading) -> str:
    return f"{to_unit(si, reading.unit, reading.dimension):.8g} {printed_unit(reading.unit)}"
