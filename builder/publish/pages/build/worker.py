"""From one build folder to all that the archive needs of it: page, drawings, files, and the short form for lists."""

from __future__ import annotations

import contextlib
import traceback
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from builder.archive.build_summary import summarize_build
from builder.archive.compare import compared_record
from builder.archive.record_json import RECORD_SCRIPT, record_script
from builder.archive.service_due import due_items
from builder.archive.shop_notes import shop_notes
from builder.archive.summary import Summary
from builder.draw.chart_cache import ChartCache
from builder.figures.evaluate import compute
from builder.figures.review.delivery_readiness import readiness
from builder.publish.data_export import export_data
from builder.publish.edition import Edition
from builder.publish.english import english_of
from builder.publish.errors import PublishError
from builder.publish.pages.build.charts import charts_for
from builder.publish.pages.build.context import render_build_page
from builder.publish.pages.build.page_chart import chart_files, chart_guard, draw_page_charts
from builder.publish.pages.build.plan_section import plan_section
from builder.publish.pages.templating import error_location, error_text, page_environment
from builder.publish.photos import Sizes, build_photos, cover_image, photo_sizes
from builder.publish.sheets.sheet_pdf import sheet_pdfs, sheet_requests
from builder.publish.social_card import render_card
from builder.record.build_profile import profile_of
from builder.record.load import errors_in, read_build
from builder.record.models.shop import Shop
from builder.record.problem import Problem
from builder.record.redaction import without_private
from builder.record.wording import count_of

if TYPE_CHECKING:
    import jinja2


@dataclass(frozen=True)
class BuildOutput:
    """Everything the archive needs of one build, with nothing private in it."""

    slug: str
    skip_reason: str | None = None
    summary: Summary | None = None
    """None for a build that is not to be published."""
    page: str = ""
    files: Mapping[str, bytes] = field(default_factory=dict)
    """Drawings, data and photos, by their path below the build's page."""
    problems: tuple[Problem, ...] = ()
    photos: Sizes = field(default_factory=dict)
    """The sizes of its photos, by the hash of each photo's file."""
    charts: tuple[str, ...] = ()
    """The keys of its charts in the chart cache."""


@lru_cache(maxsize=1)
def template_env(archive: Path, templates: Path) -> jinja2.Environment:
    """Return Jinja2 with the archive's page templates, which it compiles into the folder `templates`.

    The folder's name changes with the templates, the program and its libraries.
    """
    import jinja2

    class BytecodeCache(jinja2.FileSystemBytecodeCache):
        def dump_bytecode(self, bucket: jinja2.bccache.Bucket) -> None:
            with contextlib.suppress(OSError):  # the template is compiled again next time
                templates.mkdir(parents=True, exist_ok=True)
                super().dump_bytecode(bucket)

    return page_environment(archive, BytecodeCache(str(templates)))


@dataclass(frozen=True)
class PreviousOutput:
    """What the last publish wrote for a build: what comes out of the same values is not drawn again."""

    folder: Path
    """The folder of the build's page."""
    photos: Sizes
    """The sizes of its photos, by the hash of each photo's file."""


@dataclass(frozen=True)
class BuildTask:
    """One build to build."""

    folder: Path
    previous: PreviousOutput | None = None


def build_safely(task: BuildTask, archive: Path, **options: Any) -> BuildOutput:
    """Return the output of `build_one`; an error of the program or of a template becomes a problem of this build.

    Raises PublishError for a template that no build could be made with.
    """
    import jinja2

    folder = task.folder
    try:
        return build_one(folder, archive, previous=task.previous, **options)
    except PublishError:
        raise
    except Exception as error:
        where = error_location(error)
        if isinstance(error, jinja2.TemplateSyntaxError | jinja2.TemplateNotFound):
            raise PublishError(f"{where}: {error_text(error)}") from error
        words = f"{folder.name} cannot be built: {error_text(error)}"
        at = where or f"{type(error).__name__} in {traceback.extract_tb(error.__traceback__)[-1].name}"
        problem = Problem(Path("builds") / folder.name, 1, f"{words} ({at})")
        return BuildOutput(folder.name, "cannot be built", problems=(problem,))


def build_one(
    folder: Path,
    archive: Path,
    shop: Shop,
    *,
    templates: Path,
    charts: ChartCache,
    previous: PreviousOutput | None = None,
    edition: Edition = Edition.PUBLIC,
) -> BuildOutput:
    """Read one build folder and build its page and files, or say why it is not published.

    Nothing that the record marks as private gets into the page. The shop's own edition adds the shop's own lessons, and
    what is missing before the engine may be delivered.
    """
    build, problems = read_build(folder, archive)
    if build is None:
        count = len(errors_in(problems))
        return BuildOutput(folder.name, count_of(count, "error"), problems=tuple(problems))
    if build.build.status != "finished" and not edition.includes_unfinished:
        return BuildOutput(folder.name, str(build.build.status), problems=tuple(problems))
    public = without_private(build)
    shop = profile_of(build, shop)
    sheet = compute(public, shop)
    guard = chart_guard(build.slug)
    drawings, chart_problems = draw_page_charts(charts_for(public, sheet, shop, guard), charts, build.slug)
    cached_photos = (previous.folder / "photos", previous.photos) if previous else ()
    photos, pictures, photo_problems = build_photos(public, *cached_photos)
    data = export_data(public, sheet)
    english = english_of(shop.english, archive).keeping(build if edition.is_internal else public)
    sheets = sheet_requests(public, sheet, shop, drawings, english)
    ready = readiness(build, shop, sheet) if edition.is_internal else None
    page = render_build_page(
        public,
        sheet,
        shop,
        template_env(archive, templates),
        charts=drawings,
        photos=photos,
        data_files=tuple(data),
        sheets=tuple(request.link for request in sheets),
        readiness=ready,
        plan=plan_section(build, sheet, shop) if ready is not None and build.build.status == "planned" else None,
        lessons=(build if edition.is_internal else public).build.lessons,
    )
    page = english.markup(page)
    files = chart_files(drawings, english)
    files |= {f"photos/{name}": content for name, content in pictures.items()}
    files |= {f"data/{name}": content for name, content in data.items()}
    files |= sheet_pdfs(sheets, archive, english, previous.folder if previous else None)
    files[RECORD_SCRIPT] = record_script(build.slug, compared_record(public), english.text)
    files["card.png"] = render_card(
        public, sheet, cover_image(photos, pictures), previous.folder / "card.png" if previous else None
    )
    summary = summarize_build(public, sheet, shop)
    if ready is not None:
        summary = replace(summary, due=due_items(build, shop), shop=shop_notes(build, sheet, ready))
    keys = tuple(item.key for item in drawings)
    problems += (*sheet.problems, *guard.problems, *chart_problems, *photo_problems)
    return BuildOutput(folder.name, None, summary, page, files, tuple(problems), photo_sizes(photos), keys)
