"""The page of a build: everything its template shows, each from the module that knows how."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from markupsafe import Markup

from builder.figures.catalogue import AIR, CYLINDER, FITS, POWER, VALVE_TRAIN
from builder.figures.figure import FigureSheet, Finding
from builder.figures.judge import judge_fits
from builder.figures.ready import Readiness
from builder.publish.dyno_view import dyno_view
from builder.publish.fits_view import fit_rows
from builder.publish.glossary import words_for
from builder.publish.headline import facts, headline, thousands, what_it_made
from builder.publish.joints_view import bore_table, degreeing_remarks, degreeing_tables, fasteners_table, stretch_tables
from builder.publish.parts_view import part_rows
from builder.publish.photo_view import PlacedPhoto
from builder.publish.placed import Placed
from builder.publish.publish import RELATIVES
from builder.publish.record_view import Chapter, Group, chapters
from builder.publish.second_look import second_look
from builder.record.build import Build
from builder.record.shop import Shop

if TYPE_CHECKING:
    import jinja2

PHOTO_SECTIONS = {"bottom_end": "bottom end", "top_end": "top end"}
"""Names of chapters that the photos' sections spell otherwise."""

_OF_ITS_OWN = ("parts", "assembly", "cam.degreeing", "work.bore_gauging.cylinders", "photos")
"""What the page shows in a form of its own, not as the record's plain listing."""


def write_page(
    build: Build,
    sheet: FigureSheet,
    shop: Shop,
    jinja: jinja2.Environment,
    *,
    placed: tuple[Placed, ...],
    photos: tuple[PlacedPhoto, ...],
    data: tuple[str, ...],
    ready: Readiness | None,
) -> str:
    """The Markdown of a build's page. `data` names the files in its data folder; `ready` is for the shop alone."""
    both = shop.units == "both"
    every = chapters(build, both_systems=both)
    fits = judge_fits(build, shop, sheet)
    return jinja.get_template("pages/build.md.j2").render(
        build=build,
        sheet=sheet,
        shop=shop,
        headline=headline(build, sheet),
        made=what_it_made(sheet),
        facts=facts(build, sheet),
        sections=[
            (section, [f for f in sheet.figures if f.method.section == section])
            for section in (CYLINDER, VALVE_TRAIN, AIR, POWER)
        ],
        fit_figures=[f for f in sheet.figures if f.method.section == FITS],
        placed=placed,
        photos=photos,
        photo_section=PHOTO_SECTIONS,
        dyno=dyno_view(sheet.session, sheet.system) if sheet.session else None,
        second_look=second_look(build, sheet),
        telling=sorted((f for f in sheet.findings if _tells(f)), key=lambda f: f.kind != "as received"),
        findings=[finding for finding in sheet.findings if not _tells(finding)],
        fits=fit_rows(fits, "fit", "bore", "joint"),
        checks=fit_rows(fits, "check"),
        readings=[group for chapter in every if chapter.name == "assembly" for group in _readings(chapter)],
        plain_checks=_plain_checks(build),
        stretches=stretch_tables(build),
        joints=fasteners_table(build, sheet),
        degreeing=degreeing_tables(build),
        degreeing_remarks=" ".join(degreeing_remarks(build)),
        bores=bore_table(build),
        parts=part_rows(build),
        words=words_for([*(item.slug for item in headline(build, sheet)), *(f.slug for f in sheet.figures)]),
        chapters=[shown for chapter in every if (shown := _without_own(chapter)).recorded],
        unrecorded=[chapter.title for chapter in every if not chapter.recorded],
        relatives=Markup(RELATIVES),
        data=data,
        ready=ready,
        thousands=thousands,
    )


def _tells(finding: Finding) -> bool:
    """Whether the compression ratio, or the engine, would be another one for it."""
    return finding.cost is not None and "either way" not in finding.cost


def _without_own(chapter: Chapter) -> Chapter:
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
