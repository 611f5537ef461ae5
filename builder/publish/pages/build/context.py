"""The page of a build: the context of its template, and the rendered Markdown."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from markupsafe import Markup

from builder.figures.core.registry import FITS, SECTIONS
from builder.figures.core.types import Figure, FigureSheet
from builder.figures.review.delivery_readiness import Readiness
from builder.publish.pages.archive.glossary import terms_for
from builder.publish.pages.build.before_after_section import before_after_table
from builder.publish.pages.build.cautions_section import caution_lines
from builder.publish.pages.build.clearances_section import checks_without_values, clearance_rows
from builder.publish.pages.build.dyno_section import dyno_section
from builder.publish.pages.build.fasteners_section import fasteners_table, stretch_tables
from builder.publish.pages.build.gauging_tables import bore_tables, degreeing_remarks, degreeing_tables
from builder.publish.pages.build.goals_section import goal_rows
from builder.publish.pages.build.headline import (
    assumption_sentence,
    best_sentence,
    facts,
    headline,
    noted_sentence,
    performance_sentence,
)
from builder.publish.pages.build.page_chart import PageDrawing
from builder.publish.pages.build.parts_section import part_rows
from builder.publish.pages.build.plan_section import PlanSection
from builder.publish.pages.build.record_tables import RARE_CHAPTERS, Chapter, Group, chapters
from builder.publish.pages.build.safety_subjects import safety_subjects
from builder.publish.pages.build.sheet_link import SheetLink
from builder.publish.pages.build.uncertainty_section import uncertainty_section
from builder.publish.photos import BuildPhoto
from builder.publish.sheets.dyno_sheet import power_table
from builder.publish.sheets.specification import short_specification
from builder.record.models.build import Build
from builder.record.models.build_yaml import Lesson
from builder.record.models.shop import Shop

if TYPE_CHECKING:
    import jinja2

SIMILAR_BUILDS_SLOT = "<!-- millbook: similar builds -->"
"""Placeholder for the section of the page that depends on every other build."""

ENGINE_SLOT = "<!-- millbook: engine -->"
"""Placeholder for the links to the engine's page and its other builds."""

PHOTO_SECTIONS = {"bottom_end": "bottom end", "top_end": "top end"}
"""The photo section of each chapter whose name is spelled differently."""

_OWN_SECTIONS = (
    "parts",
    "assembly",
    "cam.degreeing",
    "work.bore_gauging.cylinders",
    "work.returned_bore_gauging.cylinders",
    "photos",
    "delivery.accepted",
)
"""Paths of the record that have a section or a table of their own on the page."""


def render_build_page(
    build: Build,
    sheet: FigureSheet,
    shop: Shop,
    environment: jinja2.Environment,
    *,
    charts: Sequence[PageDrawing],
    photos: Sequence[BuildPhoto],
    data_files: Sequence[str],
    readiness: Readiness | None,
    lessons: Sequence[Lesson] = (),
    plan: PlanSection | None = None,
    sheets: Sequence[SheetLink] = (),
) -> str:
    """Return the Markdown of a build's page.

    `data_files` are the names of the files in its data folder, `sheets` the one-page PDFs next to the page. Only
    the shop's own edition has the `readiness`, the `plan` of a planned build, and `lessons` that are not public.
    """
    both = shop.units == "both"
    all_chapters = chapters(build, both_systems=both)
    shown_chapters = [chapter for item in all_chapters if (chapter := _without_own_sections(item)).groups]
    delivered = sheet.session.delivered if sheet.session else None
    headlines = headline(sheet)
    significant = [item for item in sheet.discrepancies if item.matters]
    return environment.get_template("pages/build.md.j2").render(
        build=build,
        sheet=sheet,
        shop=shop,
        facts=facts(build),
        headline=headlines,
        specification=short_specification(build, sheet, both),
        power_table=power_table(delivered.corrected, sheet.system, both=both) if delivered else None,
        performance=performance_sentence(sheet) or noted_sentence(build, sheet),
        best_during_testing=best_sentence(sheet),
        delivered_assumption=assumption_sentence(sheet),
        readiness=readiness,
        lessons=lessons,
        plan=plan,
        for_shop=readiness is not None,
        sheets=sheets,
        dyno=dyno_section(sheet.session, sheet.system) if sheet.session else None,
        uncertainty=uncertainty_section(build, shop, sheet),
        data_files=data_files,
        cautions=caution_lines(build, sheet),
        significant_discrepancies=sorted(significant, key=lambda item: item.kind != "as received"),
        other_discrepancies=[item for item in sheet.discrepancies if not item.matters],
        contradictions=sheet.contradictions,
        similar_builds=Markup(SIMILAR_BUILDS_SLOT),
        engine_links=Markup(ENGINE_SLOT),
        safety_subjects=safety_subjects,
        figure_sections=[(section, _figures_in(sheet, section)) for section in SECTIONS if section != FITS],
        clearances=clearance_rows(sheet.clearances, "fit", "bore", "joint"),
        checks=clearance_rows(sheet.clearances, "check"),
        finishes=clearance_rows(sheet.clearances, "finish"),
        checks_without_values=checks_without_values(build),
        clearance_figures=_figures_in(sheet, FITS),
        reading_groups=_reading_groups(all_chapters),
        stretch_tables=stretch_tables(build),
        fasteners=fasteners_table(build, sheet),
        parts=part_rows(build),
        chapters=[chapter for chapter in shown_chapters if chapter.name != "delivery"],
        goals=goal_rows(sheet),
        before_after=(
            before_after_table(sheet.session.before_after, sheet.system)
            if sheet.session and sheet.session.before_after
            else None
        ),
        delivery=next((chapter for chapter in shown_chapters if chapter.name == "delivery"), None),
        bore_tables=bore_tables(build),
        degreeing_tables=degreeing_tables(build),
        degreeing_remarks=degreeing_remarks(build),
        unrecorded=[
            chapter.title for chapter in all_chapters if not chapter.groups and chapter.name not in RARE_CHAPTERS
        ],
        charts=charts,
        photos=photos,
        photo_sections=PHOTO_SECTIONS,
        terms=terms_for([*(item.slug for item in headlines), *(figure.slug for figure in sheet.figures)]),
    )


def _figures_in(sheet: FigureSheet, section: str) -> list[Figure]:
    return [figure for figure in sheet.listed if figure.description.section == section]


def _without_own_sections(chapter: Chapter) -> Chapter:
    groups = tuple(group for group in chapter.groups if not _has_own_section(group.path))
    parts = {path: title for path, title in chapter.parts.items() if not _has_own_section(path)}
    return replace(chapter, groups=groups, parts=parts)


def _has_own_section(part: str) -> bool:
    return any(part == path or part.startswith(f"{path}.") for path in _OWN_SECTIONS)


def _reading_groups(all_chapters: Sequence[Chapter]) -> list[Group]:
    """Return clearances and checks with every reading as written; the fasteners have a table of their own."""
    groups = (group for chapter in all_chapters if chapter.name == "assembly" for group in chapter.groups)
    return [group for group in groups if not group.path.startswith("assembly.fasteners")]
