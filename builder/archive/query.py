"""The archive opened for a question, and the builds found by ranges, choices and words as lines for the terminal."""

from __future__ import annotations

import difflib
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, TypeAlias

from builder.archive.fields import BY_SLUG, Field, System, choice_of, number_of, weights_from
from builder.archive.index import INDEX_PATH, read_index
from builder.archive.search import WrittenRange, find, read_range
from builder.archive.summary import Summary, newest_first
from builder.record.files import build_folders
from builder.record.wording import count_of, in_sentence
from builder.record.yaml_loader import read_yaml

if TYPE_CHECKING:
    from builder.record.models.shop import Shop

RecordMap: TypeAlias = Callable[
    [Callable[[Path], "Summary | str | None"], Sequence[Path]], Iterable["Summary | str | None"]
]
"""Applies a function to the folder of each build, in order: ``map``, or one that uses every core."""

_SYSTEMS: dict[str, System] = {"inch": "inch", "metric": "metric"}
_COLUMNS = ("displacement", "compression_ratio", "fuel", "peak_torque", "peak_power")


class QueryError(Exception):
    """A question that cannot be answered; the message says why, in a sentence for the user."""


@dataclass(frozen=True)
class QueryContext:
    """The builds of the last publish, and the shop's units and weights.

    ``source`` says where the builds are from, where it is not the last publish.
    """

    summaries: tuple[Summary, ...]
    system: System
    """The system that answers are shown in."""
    system_of_numbers: System | None
    """The system of a number without a unit; None where the shop shows both, so that it is asked for its unit."""
    weights: dict[str, float]
    english: Literal["us", "uk"]
    source: str = ""

    def get(self, slug: str) -> Summary:
        """Return the build of that name. Raises QueryError with the nearest name."""
        for summary in self.summaries:
            if summary.slug == slug:
                return summary
        matches = difflib.get_close_matches(slug, [summary.slug for summary in self.summaries], n=1)
        hint = f"did you mean {matches[0]}?" if matches else "only finished builds can be asked for"
        raise QueryError(f"no published build is called {slug}: {hint}")


def open_index(archive: Path, map_records: RecordMap = map) -> QueryContext:
    """Read the index of an archive; where nothing was published yet, its finished builds, by ``map_records``.

    Raises ArchiveError where the folder of the builds is missing.
    """
    folders = build_folders(archive)
    summaries, source = read_index(archive / INDEX_PATH), ""
    if summaries is None:
        summaries, source = _summaries_of_records(archive, folders, map_records)
    profile = _read_profile(archive / "builds" / "shop.yaml")
    units, weights = profile.get("units"), profile.get("likeness_weights")
    first = profile.get("first_units") if units not in _SYSTEMS else units
    return QueryContext(
        summaries,
        "inch" if first == "inch" else "metric",
        _SYSTEMS.get(str(units)),
        weights_from(weights if isinstance(weights, dict) else None)[0],
        "uk" if profile.get("english") == "uk" else "us",
        source,
    )


def _summaries_of_records(
    archive: Path, folders: Sequence[Path], map_records: RecordMap
) -> tuple[tuple[Summary, ...], str]:
    """Return the summaries of the builds that a publish would show, from their records, and a sentence about that."""
    from builder.record.load import read_shop

    summaries, unread = [], 0
    for summary in map_records(partial(_summary_of_folder, archive, read_shop(archive)[0]), folders):
        if isinstance(summary, Summary):
            summaries.append(summary)
        unread += summary is None
    source = f"nothing published yet: computed from {count_of(len(summaries), 'finished build')}"
    if unread:
        source += f"; {count_of(unread, 'build')} left out, `millbook check` says why"
    return newest_first(summaries), source


def _summary_of_folder(archive: Path, shop: Shop, folder: Path) -> Summary | str | None:
    """Return the summary of a finished build, the status of one that is not, and None where it cannot be read."""
    from builder.archive.build_summary import summary_of_record
    from builder.figures.core.guard import Guard
    from builder.record.load import read_build

    build, _ = read_build(folder, archive)
    if build is None:
        return None
    if build.build.status != "finished":
        return str(build.build.status)
    return Guard(folder.name).run("the build", partial(summary_of_record, build, shop), None)


def _read_profile(path: Path) -> dict[str, Any]:
    """Read shop.yaml without validating it: loading the record's models would take longer than the answer."""
    document, _ = read_yaml(path, path) if path.exists() else (None, [])
    return document.value if document is not None and isinstance(document.value, dict) else {}


def find_lines(archive: Path, conditions: Sequence[str], words: str, map_records: RecordMap = map) -> list[str]:
    """Return the builds that meet the conditions and hold every word, as lines of a table below what was searched.

    Conditions on one field are alternatives, those on different fields all have to be met. Raises QueryError for a
    condition that cannot be read, and for a value that no build has.
    """
    context = open_index(archive, map_records)
    ranges: dict[str, list[WrittenRange]] = {}
    choices: dict[str, list[str]] = {}
    for condition in conditions:
        name, equals, value = (part.strip() for part in condition.partition("="))
        field = field_named(name) if equals else None
        if field is None or not value:
            example = f"displacement=340..360 {BY_SLUG['displacement'].unit(context.system).label}"
            raise QueryError(f"{condition!r} is not field=value: write for example '{example}' or fuel=gasoline")
        if field.kind == "choice":
            for choice in value.split(","):
                choices.setdefault(field.slug, []).append(_known_choice(context, field, choice.strip()))
            continue
        asked = read_range(value, field, context.system_of_numbers)
        if isinstance(asked, str):
            raise QueryError(asked)
        ranges.setdefault(field.slug, []).append(asked)
    limits = {slug: [asked.limits for asked in several] for slug, several in ranges.items()}
    matches = find(context.summaries, limits, choices, words)
    if not matches:
        for several in ranges.values():
            _require_some(context, several)
    asked_in = next((asked.system for several in ranges.values() for asked in several if asked.system), None)
    searched = [" or ".join(asked.text for asked in several) for several in ranges.values()]
    searched += [f"{slug} {' or '.join(values)}" for slug, values in choices.items()]
    return [
        *([context.source] if context.source else []),
        *([f"searched: {', '.join(searched)}"] if searched else []),
        *_table(matches, context.system_of_numbers or asked_in or context.system),
    ]


def _known_choice(context: QueryContext, field: Field, text: str) -> str:
    """Return a choice as the builds have it. Raises QueryError, with the nearest, where no build has it."""
    normal = normal_choice(field, text)
    known = sorted({value for summary in context.summaries if (value := choice_of(summary, field)) is not None})
    for value in known:
        if " ".join(value.split()).casefold() == " ".join(normal.split()).casefold():
            return value
    folded = {value.casefold(): value for value in known}
    matches = difflib.get_close_matches(normal.casefold(), folded, n=1, cutoff=0.6)
    nearest = f"did you mean {folded[matches[0]]}? " if matches else ""
    listed = f"builds have {', '.join(known[:12])}" if known else "no build records it"
    raise QueryError(f"{field.slug}: no build has {text!r}; {nearest}{listed}")


def _require_some(context: QueryContext, several: Sequence[WrittenRange]) -> None:
    """Raise QueryError, with the nearest build, where single values were asked for and no build has any of them."""
    field = several[0].field
    if any(asked.value is None for asked in several) or find(
        context.summaries, {field.slug: [asked.limits for asked in several]}
    ):
        return
    values = [(value, summary) for summary in context.summaries if (value := number_of(summary, field)) is not None]
    if not values:
        raise QueryError(f"{field.slug}: no build records it")
    wanted = several[0]
    assert wanted.value is not None
    value, summary = min(values, key=lambda pair: abs(pair[0] - (wanted.value or 0.0)))
    unit = f" {wanted.unit.label}" if wanted.unit.label not in ("", "°") else wanted.unit.label
    raise QueryError(
        f"no build has {wanted.text}: the nearest has {wanted.unit.show(value)}{unit} ({summary.slug}); "
        f"write a range, such as '{field.slug}={_around(wanted)}'"
    )


def _around(asked: WrittenRange) -> str:
    """Return a range of a tenth either way of the single value that was asked for."""
    value = (asked.value or 0.0) * asked.unit.factor
    unit = f" {asked.unit.label}" if asked.unit.label not in ("", "°") else ""
    return f"{value * 0.9:.4g}..{value * 1.1:.4g}{unit}"


def normal_choice(field: Field, text: str) -> str:
    """Return the normal form of a choice that may be written in any of the trade's words for it."""
    from builder.record.models.build_yaml import Cycle, FuelFamily, FuelKind, FuelSystem, Ignition, Induction
    from builder.record.models.choices import Synonyms
    from builder.record.models.top_end import IgnitionKind, ManifoldKind

    choices: dict[str, Any] = {
        "cycle": Cycle, "fuel": FuelKind, "fuel_system": FuelSystem, "ignition": Ignition, "induction": Induction,
        "manifold": ManifoldKind, "ignition_system": IgnitionKind, "fuel_family": FuelFamily,
    }  # fmt: skip
    if field.slug not in choices:
        return text
    return Synonyms.of(choices[field.slug]).normal(text) or text


def field_named(name: str) -> Field:
    """Return the field of that name. Raises QueryError with the nearest name."""
    slug = name.lower().replace(" ", "_").replace("-", "_")
    if slug in BY_SLUG:
        return BY_SLUG[slug]
    matches = difflib.get_close_matches(slug, BY_SLUG, n=1)
    hint = f"did you mean {matches[0]}?" if matches else f"the fields are {', '.join(BY_SLUG)}"
    raise QueryError(f"there is no field {name!r}: {hint}")


def _table(summaries: Sequence[Summary], system: System) -> list[str]:
    if not summaries:
        return ["no builds match"]
    rows = [["build", "finished", *(in_sentence(BY_SLUG[slug].title) for slug in _COLUMNS)]]
    rows += [[s.slug, s.date or "", *(_format_field(s, BY_SLUG[slug], system) for slug in _COLUMNS)] for s in summaries]
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    lines = ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows]
    return [*lines, count_of(len(summaries), "build")]


def _format_field(summary: Summary, field: Field, system: System) -> str:
    value = number_of(summary, field) if field.kind == "number" else choice_of(summary, field)
    return "" if value is None else field.show(value, system)
