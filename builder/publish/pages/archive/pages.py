"""The pages about the archive as a whole: home, lists, finder, parts, methods, glossary."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING

from markupsafe import Markup

from builder.archive.due_item import due_text, in_order_of_day
from builder.archive.engine_history import EngineHistory, engine_histories
from builder.archive.fields import BY_SLUG, FIELDS, Field, System, choice_of, number_of, weights_from
from builder.archive.finder_json import finder_data
from builder.archive.groupings import group_builds
from builder.archive.part_usage import index_parts
from builder.archive.record_json import RECORD_SCRIPT
from builder.archive.shop_notes import jobs_by_stage, lessons_by
from builder.archive.summary import NOT_CORRECTED, Summary, newest_first
from builder.publish.pages.archive.glossary import GLOSSARY
from builder.publish.pages.archive.methods import method_pages
from builder.publish.pages.archive.overview import overview_pairs, overview_table
from builder.publish.pages.build.headline import Headline
from builder.publish.photos import PhotoSize
from builder.record.models.shop import Shop
from builder.record.reference import field_reference, unit_reference

if TYPE_CHECKING:
    import jinja2


Files = dict[str, bytes]
LIST_TITLES = {
    "family": "Family",
    "year": "Year",
    "fuel": "Fuel",
    "purpose": "Purpose",
    "manifold": "Intake manifold",
    "ignition_system": "Ignition system",
}
FINDER_DATA = "assets/finder-data.js"
_NEWEST, _FAMILY_CARDS, _PICTURES = 9, 6, 4
"""How many builds the home page shows: the newest as cards, of its largest family as cards, and as pictures on top."""
_SMALLEST_FAMILY = 3
_ASKED = ("cylinders", "displacement", "induction", "fuel")
"""The fields of a plan that the home page asks for; the finder has them all."""
_LINKS = {"link": "builds/{slug}/index.html", "all_builds": "builds.html"}
_TABLE_FIELDS = ("family", "displacement", "cylinders", "compression_ratio", "fuel", "peak_torque", "peak_power")
_PART_COLUMNS = ("Part", "Manufacturer", "Number", "Inspection", "Used in")
_MAKER_COLUMNS = ("Manufacturer", "Builds", "Part numbers", "Inspected", "Results")
_CARD_FIELDS = (
    ("peak_power", "Power"),
    ("peak_torque", "Torque"),
    ("displacement", "Displacement"),
    ("compression_ratio", "CR"),
)


@dataclass(frozen=True)
class Card:
    """A build in a list of cards."""

    slug: str
    title: str
    facts: tuple[str, ...]
    numbers: tuple[tuple[str, str], ...]
    photo: PhotoSize | None


@dataclass(frozen=True)
class PlanField:
    """A field of a plan to fill in, by the name that the finder has for it; with options it is a choice."""

    name: str
    title: str
    unit: str
    options: tuple[str, ...] = ()


@dataclass(frozen=True)
class FamilyOverview:
    """The family of engines that the shop built most often."""

    name: str
    count: int
    years: str
    ranges: tuple[Headline, ...]
    cards: tuple[Card, ...]


def display_units(shop: Shop) -> System:
    """Return the system of units of the lists and the finder."""
    return shop.first_units if shop.units == "both" else shop.units


def fixed_pages(shop: Shop, environment: jinja2.Environment) -> Files:
    """Return the pages that depend on no build, by path below the pages folder."""
    page = page_renderer(shop, environment)
    return {
        "compare.md": page("compare", finder="finder.html", record=f"builds/{{slug}}/{RECORD_SCRIPT}", **_LINKS),
        "glossary.md": page("glossary", glossary=GLOSSARY),
        "fields.md": page("fields", documents=field_reference(), units=unit_reference()),
        **method_pages(page),
    }


def page_renderer(shop: Shop, environment: jinja2.Environment) -> Callable[..., bytes]:
    """Return a function that renders a page by the name of its template, with the variables common to all pages."""
    common = {"shop": shop, "system": display_units(shop), "site_root": "", "assets": "assets"}

    def page(template: str, **values: object) -> bytes:
        return environment.get_template(f"pages/{template}.md.j2").render(**common, **values).encode()

    return page


def archive_pages(
    summaries: Sequence[Summary],
    shop: Shop,
    environment: jinja2.Environment,
    overviews: Callable[[], Sequence[tuple[str, Markup]]],
    translate: Callable[[str], str] = str,
    photos: Mapping[str, PhotoSize] = MappingProxyType({}),
    engines: Sequence[EngineHistory] = (),
) -> Files:
    """Return the pages about several builds, by path below the pages folder.

    `overviews` returns the titles and SVGs of the overview page; it is called last. `translate` returns a label of
    the finder's data in the archive's English; the pages themselves are translated when they are written.
    `photos` are the pictures of the cards, by the slug of the build, `engines` those that have a page.
    """
    rows = newest_first(summaries)
    system = display_units(shop)
    weights, _ = weights_from(shop.likeness_weights)
    cards = [card(summary, system, photos.get(summary.slug)) for summary in rows[:_NEWEST]]
    page = page_renderer(shop, environment)
    units = {field.slug: field.unit(system) for field in FIELDS}
    finished = sum(row.status is None for row in rows)
    return {
        "index.md": page(
            "home",
            cards=cards,
            count=len(rows),
            finished=finished,
            ranges=tuple(_ranges(rows, system)),
            entry_links=_entry_links(rows),
            pictures=[card for card in cards if card.photo is not None][:_PICTURES],
            question=tuple(_question(rows, system)),
            family=_largest_family(rows, system, photos),
        ),
        "builds.md": page("builds", **_builds_table(rows, system)),
        "finder.md": page("finder", rows=rows, units=units, compare="compare.html", **_LINKS),
        "lists.md": page(
            "lists",
            engines=engines,
            lists=[
                (title, slug, groups)
                for slug, title in LIST_TITLES.items()
                if len(groups := group_builds(rows, slug)) > 1 or not BY_SLUG[slug].optional
            ],
        ),
        "parts.md": page("part_usage", makers=index_parts(rows), columns=_PART_COLUMNS, maker_columns=_MAKER_COLUMNS),
        FINDER_DATA: finder_data(rows, weights, system, translate).encode(),
        "overview.md": page(
            "overview",
            charts=overviews(),
            pairs=overview_pairs(rows),
            table=overview_table(rows, system),
            finder="finder.html",
            **_LINKS,
        ),
    }


def shop_pages(summaries: Sequence[Summary], page: Callable[..., bytes]) -> Files:
    """Return the pages that only the shop's own edition has: jobs, lessons, and services that are due."""
    rows = newest_first(summaries)
    return {
        "jobs.md": page("jobs", groups=jobs_by_stage(rows)),
        "lessons.md": page("lessons", families=lessons_by(rows, "family"), parts=lessons_by(rows, "part")),
        "due.md": _due_page(rows, page),
    }


def _due_page(summaries: Sequence[Summary], page: Callable[..., bytes]) -> bytes:
    """Return the page of services due, next first, and of warranties, of the last build of every engine."""
    superseded = {s.slug for history in engine_histories(summaries).values() for s in history.builds[:-1]}
    current = {summary.slug: summary for summary in summaries if summary.slug not in superseded}
    items = in_order_of_day((slug, item) for slug, summary in current.items() for item in summary.due)
    services = [
        (current[slug], f"{item.name}: {item.what}", due_text(item)) for slug, item in items if not item.is_warranty
    ]
    warranties = [(current[slug], item.day) for slug, item in reversed(items) if item.is_warranty]
    return page("due", services=services, warranties=warranties)


def card(summary: Summary, system: System, photo: PhotoSize | None) -> Card:
    """Return a build as a card, its numbers in the units that its own page leads with."""
    facts = tuple(filter(None, (summary.family, summary.purpose, summary.date, summary.status)))
    numbers = tuple(
        (title, BY_SLUG[slug].show(value, summary.system or system))
        for slug, title in _CARD_FIELDS
        if (value := number_of(summary, BY_SLUG[slug])) is not None
    )
    return Card(summary.slug, summary.title, facts, numbers, photo)


def _ranges(rows: Sequence[Summary], system: System) -> Iterator[Headline]:
    """Yield the range of displacement and of power in the archive, where it has two builds or more."""
    for slug, title in (("displacement", "Displacement"), ("peak_power", "Peak power")):
        field = BY_SLUG[slug]
        values = [value for row in rows if (value := number_of(row, field)) is not None]
        if len(values) > 1:
            unit = field.unit(system)
            text = f"{unit.show(min(values))} to {unit.show(max(values))}"
            yield Headline(title, text, unit.label, (), slug)


def _question(rows: Sequence[Summary], system: System) -> Iterator[PlanField]:
    """Yield the fields of a plan that the home page asks for, with what the archive has of each."""
    for field in (BY_SLUG[slug] for slug in _ASKED):
        known = {choice_of(row, field) if field.kind == "choice" else number_of(row, field) for row in rows} - {None}
        if not known:
            continue
        if field.slug == "displacement":
            yield PlanField(f"plan.{field.slug}", field.title, field.unit(system).label)
        else:
            options = [value if isinstance(value, str) else f"{value:g}" for value in known if value is not None]
            yield PlanField(f"plan.{field.slug}", field.title, "", tuple(sorted(options, key=lambda o: (len(o), o))))


def _largest_family(rows: Sequence[Summary], system: System, photos: Mapping[str, PhotoSize]) -> FamilyOverview | None:
    """Return the family with most builds, or None where none has enough of them to be one."""
    counts = Counter(row.family for row in rows if row.family)
    name, count = max(counts.items(), key=lambda item: item[1], default=("", 0))
    if count < _SMALLEST_FAMILY:
        return None
    members = [row for row in rows if row.family == name]
    years = sorted(row.date[:4] for row in members if row.date)
    span = "" if not years else years[0] if years[0] == years[-1] else f"{years[0]} to {years[-1]}"
    cards = tuple(card(row, system, photos.get(row.slug)) for row in members[:_FAMILY_CARDS])
    return FamilyOverview(name, count, span, tuple(_ranges(members, system)), cards)


def _entry_links(rows: Sequence[Summary]) -> list[tuple[str, str]]:
    links = [
        ("Find a build like yours", "finder.html"),
        ("All builds", "builds.html"),
        ("How we calculate", "methods.html"),
    ]
    if any(summary.due for summary in rows):  # in the shop's edition
        links.append(("Services due", "due.html"))
    return links if rows else links[1:]


def _builds_table(rows: Sequence[Summary], system: System) -> dict[str, object]:
    columns = [BY_SLUG[slug] for slug in _TABLE_FIELDS]
    head = ["Build", "Finished"]
    for field in columns:
        unit = field.unit(system).label if field.kind == "number" else ""
        head.append(f"{field.title}, {unit}" if unit else field.title)
    numeric_columns = {index + 2 for index, field in enumerate(columns) if field.kind == "number"}
    cells = [
        (row.slug, [row.title, row.date or "", *(_field_text(row, field, system) for field in columns)]) for row in rows
    ]
    corrections = {row.slug: _correction_text(row.correction) for row in rows if row.correction}
    usual = Counter(corrections.values()).most_common(1)[0][0] if corrections else ""
    return {
        "head": head,
        "rows": cells,
        "numeric_columns": numeric_columns,
        "usual_correction": usual,
        "other_corrections": {slug: text for slug, text in corrections.items() if text != usual},
    }


def _correction_text(correction: str) -> str:
    return correction if correction == NOT_CORRECTED else f"corrected to {correction}"


def _field_text(row: Summary, field: Field, system: System) -> str:
    if field.kind == "choice":
        return choice_of(row, field) or ""
    value = number_of(row, field)
    return "" if value is None else field.unit(system).show(value)
