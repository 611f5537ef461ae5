"""What the archive answers about a plan: the closest builds with what they made, what to expect, and what they cost.

The plan is a build of the archive, finished or not, or a YAML file with some of the finder's fields.
"""

from __future__ import annotations

import json
import textwrap
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from builder.archive.fields import BY_SLUG, TEXTS, System, choice_of, number_of
from builder.archive.job_costs import JobCosts, cost_ranges, job_costs
from builder.archive.query import QueryContext, QueryError, RecordMap, field_named, normal_choice, open_index
from builder.archive.search import Similar, read_range, similar
from builder.archive.similarity import plan_from_values
from builder.archive.summary import Summary
from builder.record.wording import in_sentence
from builder.record.yaml_loader import read_yaml

_WIDTH = 100
_INDENT = " " * 7
_SPEEDS = {"peak_power": "peak_power_speed", "peak_torque": "peak_torque_speed"}
_RESULTS = ("peak_power", "peak_torque", "bmep")
_DETAILS = {
    "cam": ("valve_lift", "lobe_separation", "cam_advance"),
    "heads": ("head_flow", "valve_diameter"),
    "carburetor": ("rated_flow", "manifold"),
}
"""The fields that describe the parts that a field of the summary names."""
_DURATIONS = {"at 0.050 in": ("intake_duration_050", "exhaust_duration_050"),
              "at 1 mm": ("intake_duration_1mm", "exhaust_duration_1mm")}  # fmt: skip


def similar_lines(
    archive: Path,
    target: str,
    count: int = 8,
    *,
    as_json: bool = False,
    with_costs: bool = False,
    with_own_engine: bool = False,
    map_records: RecordMap = map,
) -> list[str]:
    """Return the builds most like a build of the archive, or like a plan in a YAML file, as lines or as JSON.

    ``with_costs`` adds hours and prices from the records, which are for the shop alone; ``with_own_engine`` estimates
    from other builds of the same engine too. Raises QueryError where there
    is no such build, or the plan cannot be read.
    """
    context = open_index(archive, map_records)
    is_file = target.endswith((".yaml", ".yml"))
    plan = _read_plan(Path(target), context.system_of_numbers) if is_file else _build_as_plan(context, archive, target)
    system = context.system_of_numbers or plan.system or context.system
    answer = similar(context.summaries, plan, context.weights, count, system, with_own_engine=with_own_engine)
    costs = _costs(archive, answer) if with_costs else {}
    if as_json:
        return [_as_json(answer, context.source, costs)]
    return [
        *([context.source] if context.source else []),
        *([f"planned: {planned}"] if (planned := _planned_text(plan, system)) and is_file else []),
        *_as_lines(answer, system, costs),
        *_cost_lines(list(costs.values())),
    ]


def _build_as_plan(context: QueryContext, archive: Path, slug: str) -> Summary:
    """Return a build of the archive as a plan; one that is not published is computed from its record."""
    from builder.archive.build_summary import summary_of_plan
    from builder.record.load import read_build, read_shop, slug_problem

    folder = archive / "builds" / slug
    is_published = any(summary.slug == slug for summary in context.summaries)
    if is_published or slug_problem(slug) or not (folder / "build.yaml").is_file():
        return context.get(slug)
    build, problems = read_build(folder, archive)
    if build is None:
        raise QueryError("\n".join(map(str, problems)))
    return summary_of_plan(build, read_shop(archive)[0])


def _read_plan(path: Path, system: System | None) -> Summary:
    """Return the plan in a YAML file, with the system of units of its first field that has two."""
    document, problems = read_yaml(path, path)
    if document is None:
        raise QueryError(str(problems[0]))
    if not isinstance(document.value, dict):
        raise QueryError(f"{path}:1: a plan holds entries such as displacement: 350 cu in")
    values: dict[str, float | str] = {}
    written_in: System | None = None
    for name, entry in document.value.items():
        line = document.line((name,))
        try:
            field = field_named(str(name))
        except QueryError as error:
            raise QueryError(f"{path}:{line}: {error}") from None
        text = str(getattr(entry, "text", entry))
        if field.kind == "choice":
            values[field.slug] = normal_choice(field, text)
            continue
        asked = read_range(text, field, system)
        if isinstance(asked, str):
            raise QueryError(f"{path}:{line}: {asked}")
        written_in = written_in or asked.system
        ends = [end for end in asked.limits if end is not None]
        values[field.slug] = sum(ends) / len(ends)
    for name in ("cylinders", "year"):
        if name in values:
            values[name] = round(float(values[name]))
    return replace(plan_from_values(**values), system=written_in)  # type: ignore[arg-type]


def _costs(archive: Path, answer: Similar) -> dict[str, JobCosts]:
    """Return hours and prices of the matches from their records, by slug, for those that can be read."""
    from builder.record.load import read_build

    builds = (read_build(archive / "builds" / match.summary.slug, archive)[0] for match in answer.matches)
    return {build.slug: job_costs(build) for build in builds if build is not None}


def _as_lines(answer: Similar, system: System, costs: Mapping[str, JobCosts]) -> Iterator[str]:
    """Yield the matches, nearest first, each with what it is and what it made, then what might be expected."""
    for match in answer.matches:
        same = " (the same engine)" if match.is_same_engine else ""
        yield f"{match.similarity:4.0%}  {match.summary.slug}: {match.summary.title}{same}"
        differences = "; ".join(difference.text(system) for difference in match.differences[:3])
        facts = [*relative_facts(match.summary, system), ("Differences", differences or "none recorded")]
        if (cost := costs.get(match.summary.slug)) is not None:
            price = f"; charged {cost.price}" if cost.price else ""
            facts.append(("Shop only", f"{cost.hours_text}; {cost.parts_text}{price}"))
        for title, text in facts:
            yield from _wrapped(f"{in_sentence(title)}: {text}" if title else text)
    if not answer.matches:
        yield "no comparable builds"
    yield from answer.estimate.notes
    for expected in answer.estimate.expected:
        yield expected.text(system)
        yield from _wrapped(expected.working(system))
    if any(expected.adjustments for expected in answer.estimate.expected):
        yield "An adjustment is how builds with more or less of it differed, with all that goes with it:"
        yield "not what changing that alone would give."
    for reason in answer.estimate.reasons:
        yield f"no estimate: {reason}"


def _wrapped(text: str) -> list[str]:
    """Return a text as indented lines of the page's width."""
    return textwrap.wrap(
        text,
        _WIDTH,
        initial_indent=_INDENT,
        subsequent_indent=f"{_INDENT}  ",
        break_long_words=False,
        break_on_hyphens=False,
    )


def relative_facts(summary: Summary, system: System) -> Iterator[tuple[str, str]]:
    """Yield what a build made and what it was made of, each with its title; a title is empty where none is needed."""
    results = []
    for slug in _RESULTS:
        if (text := _shown(summary, slug, system)) is None:
            continue
        speed = _shown(summary, _SPEEDS[slug], system) if slug in _SPEEDS else None
        results.append(f"BMEP {text}" if slug == "bmep" else f"{text} at {speed}" if speed else text)
    yield "", ", ".join(results) or "no dyno result"
    fuel = " ".join(filter(None, (choice_of(summary, BY_SLUG["fuel"]), summary.octane)))
    ratio = _shown(summary, "compression_ratio", system)
    general = (
        _shown(summary, "displacement", system),
        f"CR {ratio}" if ratio else None,
        fuel or None,
        f"finished {summary.date}" if summary.date else None,
    )
    yield "", ", ".join(filter(None, general))
    for name, title in TEXTS.items():
        durations = _durations_text(summary) if name == "cam" else None
        details = [
            f"{in_sentence(BY_SLUG[slug].title)} {text}"
            for slug in _DETAILS[name]
            if (text := _shown(summary, slug, system))
        ]
        if text := ", ".join(filter(None, (getattr(summary, name), durations, *details))):
            yield title, text


def _durations_text(summary: Summary) -> str | None:
    """Return intake and exhaust duration at one lift, as the trade writes them: `218/228° at 0.050 in`."""
    for at, slugs in _DURATIONS.items():
        texts = [BY_SLUG[slug].metric.show(value) for slug in slugs if (value := number_of(summary, BY_SLUG[slug]))]
        if texts:
            return f"{'/'.join(texts)}° {at}"
    return None


def _shown(summary: Summary, slug: str, system: System) -> str | None:
    field = BY_SLUG[slug]
    value = number_of(summary, field) if field.kind == "number" else choice_of(summary, field)
    return None if value is None else field.show(value, system)


def _planned_text(plan: Summary, system: System) -> str:
    """Return what a plan states, as it was read."""
    texts = []
    for field in BY_SLUG.values():
        value = number_of(plan, field) if field.kind == "number" else choice_of(plan, field)
        if value is not None:
            texts.append(f"{in_sentence(field.title)} {field.show(value, system)}")
    return ", ".join(texts)


def _cost_lines(costs: Sequence[JobCosts]) -> Iterator[str]:
    """Yield the ranges for quoting, marked as the shop's own."""
    if not costs:
        return
    ranges = cost_ranges(costs)
    yield "for quoting, shop only:"
    for item in ranges:
        yield f"  {item.text}"
    if not ranges:
        yield "  no hours or prices recorded: write hours in work.yaml and price in parts.yaml"


def _as_json(answer: Similar, source: str, costs: Mapping[str, JobCosts]) -> str:
    """Return the answer for other programs; values SI, hours in hours."""
    content: dict[str, Any] = {
        "relatives": [
            {
                "build": match.summary.slug,
                "title": match.summary.title,
                "likeness": round(match.similarity, 6),
                **({"same_engine": True} if match.is_same_engine else {}),
                **_values(match.summary),
                "differences": [
                    {"field": d.field.slug, "asked": d.query, "has": d.candidate, "share": round(d.share, 6)}
                    for d in match.differences
                ],
                **({"shop": _cost_values(costs[match.summary.slug])} if match.summary.slug in costs else {}),
            }
            for match in answer.matches
        ],
        "estimate": [
            {"field": e.field.slug, "value": e.value, "least": e.minimum, "most": e.maximum, "level": e.level,
             "held": e.covered, "tried": e.evaluated, "average": e.average, "relatives": len(e.matches),
             "noted": e.noted, "other_adjustments": e.other_adjustments,
             "adjustments": [{"field": a.field.slug, "share": a.share, "beyond": a.is_beyond} for a in e.adjustments]}
            for e in answer.estimate.expected
        ],
        "no_estimate": list(answer.estimate.reasons),
        "left_out": list(answer.estimate.notes),
    }  # fmt: skip
    if source:
        content["source"] = source
    if costs:
        content["quoting"] = [
            {"what": item.title, "currency": item.currency, "least": item.lowest, "most": item.highest,
             "median": item.median, "builds": item.count, "in_part": item.partial}
            for item in cost_ranges(list(costs.values()))
        ]  # fmt: skip
    return json.dumps(content, indent=2, ensure_ascii=False)


def _values(summary: Summary) -> dict[str, Any]:
    slugs = ("displacement", "compression_ratio", *(s for slug in _RESULTS for s in (slug, _SPEEDS.get(slug)) if s))
    parts = ("cam", "heads", "carburetor", "fuel", "octane", "date")
    return {name: getattr(summary, name) for name in (*slugs, *parts)}


def _cost_values(costs: JobCosts) -> dict[str, Any]:
    return {
        "hours": costs.hours,
        "operations_timed": [costs.timed, costs.operations],
        "parts": {price.currency: price.amount for price in costs.parts},
        "entries_priced": [costs.priced, costs.entries],
        "price": costs.price,
    }
