"""The offline record: the build's page as files that open by double click, without a server."""

from __future__ import annotations

import contextlib
import re
import tempfile
from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache, partial
from pathlib import Path
from typing import TYPE_CHECKING

from markupsafe import Markup

from builder.figures.core.registry import SECTIONS
from builder.figures.core.types import FigureDefinition, FigureDescription, FigureSheet
from builder.figures.definitions import REGISTRY
from builder.publish.english import English
from builder.publish.errors import PublishError
from builder.publish.pages.build.context import ENGINE_SLOT, SIMILAR_BUILDS_SLOT, render_build_page
from builder.publish.pages.build.page_chart import PageDrawing, chart_files
from builder.publish.pages.build.sheet_link import SheetLink
from builder.publish.pages.templating import page_environment, resolve_all
from builder.publish.site.mkdocs_site import build_site
from builder.publish.workers import INLINE, WorkerPool
from builder.record.models.build import Build
from builder.record.models.shop import Shop

if TYPE_CHECKING:
    import jinja2

    from builder.publish.photos import BuildPhoto

METHODS = "handover/methods.md.j2"
_NAV = (("This engine", "index.md"), ("How we calculate", "methods.md"))
_OMITTED = ("404.html", "sitemap.xml", "sitemap.xml.gz", "search/search_index.json", "search/search_index.js",
               "made-by-millbook.txt")  # fmt: skip
_OMITTED_ASSETS = ("assets/finder", "assets/compare", "assets/javascripts/workers/")
_LINK = re.compile(
    r'<a (?P<before>[^>]*?)href="(?:\.\./)+(?P<target>[^"]*)"(?P<after>[^>]*)>(?P<text>.*?)</a>', re.DOTALL
)
_TITLE = re.compile(r'title="[^"]*"')


def compile_templates(archive: Path) -> None:
    """Compile the templates of the offline record ahead of their use, which reports what is wrong with one."""
    import jinja2

    with contextlib.suppress(jinja2.TemplateError):
        for name in (METHODS, "pages/build.md.j2", "pages/macros.md.j2", *resolve_all(archive, "pages/build")):
            _environment(archive).get_template(name)


def offline_record(
    build: Build,
    sheet: FigureSheet,
    shop: Shop,
    drawings: tuple[PageDrawing, ...],
    photos: tuple[BuildPhoto, ...],
    pictures: Mapping[str, bytes],
    *,
    archive: Path,
    english: English,
    data: Iterable[str],
    sheets: Sequence[SheetLink],
    workers: WorkerPool = INLINE,
) -> dict[str, bytes]:
    """Return every file of the offline record, by path; `index.html` is the one to open.

    ``data`` names the files in the pack's data folder that the page offers, ``sheets`` the one-page PDFs in the pack.
    A process of ``workers`` builds the HTML. Raises PublishError where a template has an error.
    """
    import jinja2

    try:
        environment = _environment(archive)
        page = render_build_page(
            build,
            sheet,
            shop,
            environment,
            charts=drawings,
            photos=photos,
            data_files=tuple(data),
            readiness=None,
            sheets=sheets,
        )
        methods = _methods(sheet, environment)
    except jinja2.TemplateError as error:
        name = getattr(error, "filename", None) or getattr(error, "name", None) or "a template of the pages"
        raise PublishError(f"{name}: {error.message or 'the template cannot be used'}") from error
    page = page.replace(SIMILAR_BUILDS_SLOT, "").replace(ENGINE_SLOT, "")
    pages: dict[str, bytes] = {
        "index.md": english.markup(_standalone(page, [sheet.file for sheet in sheets])).encode(),
        "methods.md": english.markup(methods).encode(),
        **chart_files(drawings, english),
        **{f"photos/{name}": content for name, content in pictures.items()},
    }
    with tempfile.TemporaryDirectory(prefix="millbook-") as temporary:
        folder, out = Path(temporary) / "pages", Path(temporary) / "site"
        for name, content in pages.items():
            target = folder / name
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_bytes(content)
        html = partial(build_site, folder, out, archive=archive, site_name=shop.name, nav=_NAV, search=False)
        workers.submit(html, retry=True).result()
        return {
            name: path.read_bytes()
            for path in sorted(out.rglob("*"))
            if path.is_file()
            and (name := path.relative_to(out).as_posix()) not in _OMITTED
            and not name.startswith(_OMITTED_ASSETS)
        }


@lru_cache(maxsize=1)
def _environment(archive: Path) -> jinja2.Environment:
    return page_environment(archive)


def _standalone(page: str, files: Sequence[str]) -> str:
    """Return the page without links into the site: those to the methods lead to the offline record's own page.

    A term with an explanation in its link's title keeps it as an abbreviation.
    """

    def replacement(link: re.Match[str]) -> str:
        if link["target"].startswith("methods.html"):
            return f'<a {link["before"]}href="{link["target"]}"{link["after"]}>{link["text"]}</a>'
        title = _TITLE.search(f"{link['before']} {link['after']}")
        return f"<abbr {title[0]}>{link['text']}</abbr>" if title else link["text"]

    page = _LINK.sub(replacement, page)
    for target in ("data/", *(f'{file}"' for file in files)):  # these are next to the folder of the page
        page = page.replace(f'href="{target}', f'href="../{target}')
    return page


def _methods(sheet: FigureSheet, environment: jinja2.Environment) -> str:
    """Return the page on how each figure of this build, and each that lacks inputs, is computed."""
    slugs = {figure.slug for figure in sheet.figures} | {need.slug for need in sheet.needs}
    by_section: dict[str, list[tuple[FigureDescription, Sequence[str]]]] = {section: [] for section in SECTIONS}
    for slug, definition in REGISTRY.figures.items():
        if slug in slugs:
            by_section[definition.description.section].append((definition.description, _formulas(definition)))
    sections = [(section, entries) for section, entries in by_section.items() if entries]
    return environment.get_template(METHODS).render(sections=sections, up=Markup(""))


def _formulas(definition: FigureDefinition) -> Sequence[str]:
    """Return the formula in words, once for each method."""
    return [
        method.working.format_map({name: REGISTRY.label(name) for name in method.inputs})
        for method in definition.methods
    ]
