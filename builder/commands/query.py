"""Asking the archive from the terminal: find, similar, compare. Answers come from the index of the last publish."""

from __future__ import annotations

import difflib
import html
import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from builder.archive.compare import Comparison, compare
from builder.archive.fields import BY_SLUG, Field, System, choice_of, number_of, weights_from
from builder.archive.index import read_index
from builder.archive.search import Similar, find, parse_range, similar
from builder.archive.similarity import plan_from_values
from builder.archive.summary import Summary
from builder.publish.errors import PublishError
from builder.publish.incremental.change_detection import WORK_DIR

_COLUMNS = ("displacement", "compression_ratio", "fuel", "peak_torque", "peak_power")


@dataclass(frozen=True)
class QueryContext:
    """What the last publish knows of every build, and how this shop reads numbers."""

    summaries: tuple[Summary, ...]
    system: System
    weights: dict[str, float]

    def get(self, slug: str) -> Summary:
        """The build of that name. Raises PublishError with the nearest name."""
        for summary in self.summaries:
            if summary.slug == slug:
                return summary
        near = difflib.get_close_matches(slug, [summary.slug for summary in self.summaries], n=1)
        hint = f"did you mean {near[0]}?" if near else "only published builds can be asked for"
        raise PublishError(f"no published build is called {slug}: {hint}")


def open_index(archive: Path) -> QueryContext:
    """The index of an archive. Raises PublishError where nothing was published yet."""
    summaries = read_index(archive / WORK_DIR / "index.json")
    if summaries is None:
        raise PublishError(f"{archive} has no index of builds yet: run `millbook publish` first")
    profile = _profile(archive)
    units, wanted = profile.get("units"), profile.get("likeness_weights")
    weights, _ = weights_from(wanted if isinstance(wanted, dict) else None)
    return QueryContext(summaries, "inch" if units == "inch" else "metric", weights)


def _profile(archive: Path) -> dict[str, Any]:
    """The shop's profile as it is written: these commands answer at once, without the record's whole model."""
    from builder.record.yaml_loader import read_yaml

    path = archive / "builds" / "shop.yaml"
    document, _ = read_yaml(path, path) if path.exists() else (None, [])
    return document.value if document is not None and isinstance(document.value, dict) else {}


def find_builds(archive: QueryContext, where: Sequence[str], words: str) -> tuple[Summary, ...]:
    """Builds that meet every `field=value` and hold every word. Raises PublishError for what cannot be read."""
    ranges, choices = {}, {}
    for condition in where:
        name, equals, value = (part.strip() for part in condition.partition("="))
        field = _field(name) if equals else None
        if field is None or not value:
            raise PublishError(
                f"{condition!r} is not field=value: write for example displacement=340..360 or fuel=petrol"
            )
        if field.kind == "choice":
            choices[field.slug] = tuple(choice.strip() for choice in value.split(","))
            continue
        found = parse_range(value, field, archive.system)
        if isinstance(found, str):
            raise PublishError(found)
        ranges[field.slug] = found
    return find(archive.summaries, ranges, choices, words)


def _field(name: str) -> Field:
    slug = name.lower().replace(" ", "_").replace("-", "_")
    if slug in BY_SLUG:
        return BY_SLUG[slug]
    near = difflib.get_close_matches(slug, BY_SLUG, n=1)
    hint = f"did you mean {near[0]}?" if near else f"the fields are {', '.join(BY_SLUG)}"
    raise PublishError(f"there is no field {name!r}: {hint}")


def table(archive: QueryContext, summaries: Sequence[Summary]) -> list[str]:
    """Builds as lines of a table."""
    if not summaries:
        return ["no build fits"]
    rows = [["build", "finished", *(BY_SLUG[slug].title.lower() for slug in _COLUMNS)]]
    rows += [
        [s.slug, s.date or "", *(_format_field(s, BY_SLUG[slug], archive.system) for slug in _COLUMNS)]
        for s in summaries
    ]
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    lines = ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows]
    count = len(summaries)
    return [*lines, f"{count} build{'s' if count != 1 else ''}"]


def _format_field(summary: Summary, field: Field, system: System) -> str:
    value = number_of(summary, field) if field.kind == "number" else choice_of(summary, field)
    return "" if value is None else field.show(value, system)


def similar_to(archive: QueryContext, target: str, count: int) -> Similar:
    """Builds like one of the archive, or like a plan in a YAML file. Raises PublishError."""
    plan = _plan(Path(target), archive.system) if target.endswith((".yaml", ".yml")) else archive.get(target)
    return similar(archive.summaries, plan, archive.weights, count, archive.system)


def _plan(path: Path, system: System) -> Summary:
    from builder.record.yaml_loader import read_yaml

    document, problems = read_yaml(path, path)
    if document is None:
        raise PublishError(str(problems[0]))
    if not isinstance(document.value, dict):
        raise PublishError(f"{path}:1: a plan holds entries such as displacement: 350 cu in")
    values: dict[str, float | str] = {}
    for name, given in document.value.items():
        line = document.line((name,))
        try:
            field = _field(str(name))
        except PublishError as problem:
            raise PublishError(f"{path}:{line}: {problem}") from None
        text = str(getattr(given, "text", given))
        if field.kind == "choice":
            values[field.slug] = text
            continue
        found = parse_range(text, field, system)
        if isinstance(found, str):
            raise PublishError(f"{path}:{line}: {found}")
        low, high = found
        middle = [end for end in (low, high) if end is not None]
        values[field.slug] = sum(middle) / len(middle)
    for whole in ("cylinders", "year"):
        if whole in values:
            values[whole] = round(float(values[whole]))
    return plan_from_values(**values)  # type: ignore[arg-type]


def similar_lines(found: Similar, system: System) -> list[str]:
    """The answer for the terminal: nearest first, how each differs, and what might be expected."""
    lines = []
    for relative in found.relatives:
        differs = (
            "; ".join(difference.text(system) for difference in relative.differences[:3]) or "nothing recorded differs"
        )
        lines.append(f"{relative.similarity:4.0%}  {relative.summary.slug}: {relative.summary.title}")
        lines.append(f"      {differs}")
    lines = lines or ["no build shares enough with it to be compared"]
    lines += [expected.text(system) for expected in found.estimate.expected]
    lines += [f"no estimate: {reason}" for reason in found.estimate.reasons]
    return lines


def similar_json(found: Similar, system: System) -> str:
    """The answer for other programs; values SI."""
    answer = {
        "relatives": [
            {
                "build": relative.summary.slug,
                "title": relative.summary.title,
                "likeness": round(relative.similarity, 6),
                "differences": [
                    {"field": d.field.slug, "asked": d.query, "has": d.candidate, "share": round(d.share, 6)}
                    for d in relative.differences
                ],
            }
            for relative in found.relatives
        ],
        "estimate": [
            {"field": e.field.slug, "value": e.value, "least": e.least, "most": e.most, "level": e.level,
             "held": e.covered, "tried": e.evaluated}
            for e in found.estimate.expected
        ],
        "no_estimate": list(found.estimate.reasons),
    }  # fmt: skip
    return json.dumps(answer, indent=2, ensure_ascii=False)


def write_comparison(archive: QueryContext, slugs: Sequence[str], out: Path) -> Path:
    """Write a page of its own that lays builds side by side; returns where it is. Raises PublishError."""
    from builder.publish.pages.build.similar_builds import overlay_request

    if not 2 <= len(set(slugs)) == len(slugs):
        raise PublishError("name two or more different builds to compare")
    summaries = [archive.get(slug) for slug in slugs]
    request = overlay_request(summaries[:4], archive.system)
    page = _comparison_page(compare(summaries, archive.system), None if request is None else request.draw().svg)
    path = out / f"{'-and-'.join(slugs)[:120]}.html"
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(page, encoding="utf-8", newline="\n")
    return path


_STYLE = """
body { font: 1rem/1.5 system-ui, sans-serif; margin: 2rem auto; max-width: 60rem; padding: 0 1rem;
  color: #1d2327; background: #fbfaf7; color-scheme: light dark; }
table { border-collapse: collapse; font-variant-numeric: tabular-nums; }
th, td { border-bottom: 1px solid #d5d2c9; padding: 0.35rem 1rem 0.35rem 0; text-align: left; vertical-align: top; }
svg { max-width: 100%; height: auto; }
@media (prefers-color-scheme: dark) { body { color: #e9e6df; background: #15191c; } th, td { border-color: #3a4247; } }
"""


def _comparison_page(found: Comparison, svg: str | None) -> str:
    said = html.escape
    titles = [said(summary.title) for summary in found.summaries]
    rows = "".join(
        f"<tr><th scope='row'>{said(row.title)}</th>{''.join(f'<td>{said(value)}</td>' for value in row.values)}</tr>\n"
        for row in found.rows
    )
    head = "".join(f"<th scope='col'>{title}</th>" for title in titles)
    alike = f"<p>Alike: {said(', '.join(found.alike).lower())}.</p>" if found.alike else ""
    return (
        "<!doctype html>\n<html lang='en'><head><meta charset='utf-8'>"
        "<meta name='viewport' content='width=device-width'>"
        f"<title>{' and '.join(titles)}</title><style>{_STYLE}</style></head>\n<body><h1>{' and '.join(titles)}</h1>\n"
        f"{svg or ''}\n<h2>What differs</h2>\n"
        f"<table><thead><tr><td></td>{head}</tr></thead><tbody>\n{rows}</tbody></table>\n"
        f"{alike}</body></html>\n"
    )
