"""The offline record: the build's page as plain files that open by double click, without server or other host."""

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
from builder.figures.core.types import FigureDefinition, FigureSheet
from builder.figures.definitions import REGISTRY
from builder.publish.errors import PublishError
from builder.publish.pages.build.context import SIMILAR_BUILDS_SLOT, render_build_page
from builder.publish.pages.build.placed_chart import PlacedDrawing
from builder.publish.pages.templating import page_environment, resolve_all
from builder.publish.site.mkdocs_site import build_site
from builder.publish.workers import INLINE, WorkerPool
from builder.record.models.build import Build
from builder.record.models.shop import Shop

if TYPE_CHECKING:
    import jinja2

    from builder.publish.photos import BuildPhoto

METHODS = "handover/methods.md.j2"
_NAV = (("This engine", "index.md"), ("Methods", "methods.md"))
_NOT_NEEDED = ("404.html", "sitemap.xml", "sitemap.xml.gz", "search/search_index.json", "search/search_index.js",
               "made-by-millbook.txt")  # fmt: skip
_ASSETS_NOT_NEEDED = ("assets/finder", "assets/compare", "assets/javascripts/workers/")
_LINK = re.compile(
    r'<a (?P<before>[^>]*?)href="(?:\.\./)+(?P<target>[^"]*)"(?P<after>[^>]*)>(?P<text>.*?)</a>', re.DOTALL
)


def prepare(archive: Path) -> None:
    """Compile the templates of the offline record, while there is something to wait for.

    What is wrong with one is told where it is used.
    """
    import jinja2

    with contextlib.suppress(jinja2.TemplateError):
        for name in (METHODS, "pages/build.md.j2", "pages/macros.md.j2", *resolve_all(archive, "pages/build")):
            _environment(archive).get_template(name)


def offline_record(
    build: Build,
    sheet: FigureSheet,
    shop: Shop,
    placed: tuple[PlacedDrawing, ...],
    photos: tuple[BuildPhoto, ...],
    pictures: Mapping[str, bytes],
    *,
    archive: Path,
    data: Iterable[str],
    workers: WorkerPool = INLINE,
) -> dict[str, bytes]:
    """Every file of the offline record, by path; `index.html` is the one to open.

    ``data`` names the files that the page offers, which lie in the pack's data folder beside it. A process of
    ``workers`` makes the HTML. Raises PublishError where a template is at fault.
    """
    import jinja2

    try:
        environment = _environment(archive)
        page = render_build_page(
            build, sheet, shop, environment, charts=placed, photos=photos, data_files=tuple(data), readiness=None
        )
        methods = _methods(sheet, environment)
    except jinja2.TemplateError as error:
        where = getattr(error, "filename", None) or getattr(error, "name", None) or "a template of the pages"
        raise PublishError(f"{where}: {error.message or 'the template cannot be used'}") from error
    page = page.replace(SIMILAR_BUILDS_SLOT, "")
    pages: dict[str, bytes] = {
        "index.md": _standalone(page).encode(),
        "methods.md": methods.encode(),
        **{f"{item.drawing.name}.svg": item.drawing.svg.encode() for item in placed},
        **{f"photos/{name}": content for name, content in pictures.items()},
    }
    with tempfile.TemporaryDirectory(prefix="millbook-") as made:
        folder, out = Path(made) / "pages", Path(made) / "site"
        for name, content in pages.items():
            target = folder / name
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_bytes(content)
        html = partial(build_site, folder, out, archive=archive, site_name=shop.name, nav=_NAV, search=False)
        workers.submit(html, retry=True).result()
        return {
            name: path.read_bytes()
            for path in sorted(out.rglob("*"))
            if path.is_file() and _needed(name := path.relative_to(out).as_posix())
        }


_TITLE = re.compile(r'title="[^"]*"')


def _needed(name: str) -> bool:
    return name not in _NOT_NEEDED and not name.startswith(_ASSETS_NOT_NEEDED)


@lru_cache(maxsize=1)
def _environment(archive: Path) -> jinja2.Environment:
    return page_environment(archive)


def _standalone(page: str) -> str:
    """The page without the site around it: links to the methods lead to the page beside it, others are words.

    A word of the trade keeps what it means, to be read where the reader points at it.
    """

    def link(found: re.Match[str]) -> str:
        if found["target"].startswith("methods.html"):
            return f'<a {found["before"]}href="{found["target"]}"{found["after"]}>{found["text"]}</a>'
        title = _TITLE.search(f"{found['before']} {found['after']}")
        return f"<abbr {title[0]}>{found['text']}</abbr>" if title else found["text"]

    return _LINK.sub(link, page).replace('href="data/', 'href="../data/')


def _methods(sheet: FigureSheet, environment: jinja2.Environment) -> str:
    """How each figure of this build, and each that it waits for, is computed: in words."""
    wanted = {figure.slug for figure in sheet.figures} | {need.slug for need in sheet.needs}
    found = [entry for slug, entry in REGISTRY.figures.items() if slug in wanted]
    sections = [
        (section, [(entry.description, _in_words(entry)) for entry in found if entry.description.section == section])
        for section in SECTIONS
    ]
    return environment.get_template(METHODS).render(sections=[each for each in sections if each[1]], up=Markup(""))


def _in_words(definition: FigureDefinition) -> Sequence[str]:
    """Return the formula in words, once for each method."""
    return [
        method.working.format_map({name: REGISTRY.label(name) for name in method.inputs})
        for method in definition.methods
    ]
