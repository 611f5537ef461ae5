"""The page of a build: everything its template shows, each from the module that knows how."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from markupsafe import Markup

from builder.figures.core.registry import AIR, CYLINDER, FITS, POWER, VALVE_TRAIN
from builder.figures.core.types import FigureSheet
from builder.figures.review.delivery_readiness import Readiness
from builder.publish.pages.archive.glossary import terms_for
from builder.publish.pages.build.cautions_section import caution_lines
from builder.publish.pages.build.clearances_section import clearance_rows
from builder.publish.pages.build.dyno_section import dyno_section
from builder.publish.pages.build.fasteners_section import (
    bore_table,
    degreeing_remarks,
    degreeing_tables,
    fasteners_table,
    stretch_tables,
)
from builder.publish.pages.build.headline import facts, headline, performance_sentence
from builder.publish.pages.build.parts_section import part_rows
from builder.publish.pages.build.placed_chart import PlacedDrawing
from builder.publish.pages.build.record_tables import Chapter, Group, chapters
from builder.publish.photos import BuildPhoto
from builder.record.models.build import Build
from builder.record.models.shop import Shop

if TYPE_CHECKING:
    import jinja2

SIMILAR_BUILDS_SLOT = "<!-- millbook: relatives -->"
"""Marks the place of the similar builds in a page: they depend on every other build, the page does not."""
PHOTO_SECTIONS = {"bottom_end": "bottom end", "top_end": "top end"}
"""Names of chapters that the photos' sections spell otherwise."""

_OF_ITS_OWN = ("parts", "assembly", "cam.degreeing", "work.bore_gauging.cylinders", "photos")
"""What the page shows in a form of its own, not as the record's plain listing."""


def render_build_page(
    build: Build,
    sheet: FigureSheet,
    shop: Shop,
    jinja: jinja2.Environment,
    *,
    placed: tuple[PlacedDrawing, ...],
    photos: tuple[BuildPhoto, ...],
    data: tuple[str, ...],
    ready: Readiness | None,
) -> str:
    """The Markdown of a build's page. `data` names the files in its data folder; `ready` is for the shop alone."""
    both = shop.units == "both"
    every = chapters(build, both_systems=both)
    fits = sheet.clearances
    return jinja.get_template("pages/build.md.j2").render(
        build=build,
        sheet=sheet,
        shop=shop,
        headline=headline(build, sheet),
        performance=performance_sentence(sheet),
        facts=facts(build, sheet),
        figure_sections=[
            (section, [f for f in sheet.figures if f.method.section == section])
            for section in (CYLINDER, VALVE_TRAIN, AIR, POWER)
        ],
        clearance_figures=[f for f in sheet.figures if f.method.section == FITS],
        charts=placed,
        photos=photos,
        photo_sections=PHOTO_SECTIONS,
        dyno=dyno_section(sheet.session, sheet.system) if sheet.session else None,
        cautions=caution_lines(build, sheet),
        significant_discrepancies=sorted(
            (f for f in sheet.discrepancies if f.matters), key=lambda f: f.kind != "as received"
        ),
        other_discrepancies=[f for f in sheet.discrepancies if not f.matters],
        clearances=clearance_rows(fits, "fit", "bore", "joint"),
        checks=clearance_rows(fits, "check"),
        reading_groups=[group for chapter in every if chapter.name == "assembly" for group in _readings(chapter)],
        checks_without_values=_plain_checks(build),
        stretch_tables=stretch_tables(build),
        fasteners=fasteners_table(build, sheet),
        degreeing_tables=degreeing_tables(build),
        degreeing_remarks=" ".join(degreeing_remarks(build)),
        bore_table=bore_table(build),
        parts=part_rows(build),
        terms=terms_for([*(item.slug for item in headline(build, sheet)), *(f.slug for f in sheet.figures)]),
        chapters=[shown for chapter in every if (shown := _drop_custom_sections(chapter)).recorded],
        unrecorded=[chapter.title for chapter in every if not chapter.recorded],
        similar_builds=Markup(SIMILAR_BUILDS_SLOT),
        data_files=data,
        readiness=ready,
    )


def _drop_custom_sections(chapter: Chapter) -> Chapter:
    return replace(chapter, groups=tuple(group for group in chapter.groups if not _own(group.path)))


def _own(path: str) -> bool:
    return any(path == own or path.startswith(f"{own}.") for own in _OF_ITS_OWN)


def _readings(chapter: Chapter) -> tuple[Group, ...]:
    """Fits and checks with every reading as it was written; the fasteners have a table of their own."""
    return tuple(group for group in chapter.groups if not group.path.startswith("assembly.fasteners"))


def _plain_checks(build: Build) -> list[tuple[str, str]]:
    """What was checked and is not a number."""
    checks = build.get("assembly.checks")
    if checks is None:
        return []
    said = [("Oil reached every rocker", checks.oil_reached_every_rocker), ("Lash was set", checks.lash_when)]
    for other in checks.other:
        words = "; ".join(filter(None, (other.found, other.verdict)))
        said.append((other.name[:1].upper() + other.name[1:], words))
    return [(title, words) for title, words in said if words]
