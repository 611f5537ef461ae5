"""Writing the sheets of one build as files, apart from a publish."""

from __future__ import annotations

from pathlib import Path

from builder.draw.chart_cache import ChartCache
from builder.figures.evaluate import compute
from builder.publish.english import english_of
from builder.publish.errors import PublishError, translate_os_errors
from builder.publish.incremental.output_dir import write_if_changed
from builder.publish.pages.build.charts import charts_for
from builder.publish.pages.build.page_chart import chart_guard, draw_page_charts
from builder.publish.sheets.sheet_pdf import CHARTS, FILES, sheet_requests
from builder.record.build_profile import profile_of
from builder.record.load import errors_in, read_build, read_shop, select_folders
from builder.record.redaction import without_private
from builder.record.report import CommandReport


def write_sheets(archive: Path, slug: str, kind: str | None, out: Path) -> CommandReport:
    """Write one sheet of a build into the folder ``out``, or each that it has.

    Raises PublishError where the build has no such sheet, or the folder cannot be written, and
    ArchiveError where there is no `builds/`.
    """
    folders, unknown = select_folders(archive, (slug,))
    if not folders:
        return CommandReport(unknown, (), ok=False)
    shop, shop_problems = read_shop(archive)
    build, problems = read_build(folders[0], archive)
    if build is None or errors_in(shop_problems):
        return CommandReport(
            [*shop_problems, *problems], [f"{slug}: no sheet until the errors are corrected"], ok=False
        )
    public = without_private(build)
    shop = profile_of(build, shop)
    figures = compute(public, shop)
    guard = chart_guard(slug)
    charts = [chart for chart in charts_for(public, figures, shop, guard) if chart.request.name in CHARTS]
    drawings, chart_problems = draw_page_charts(charts, ChartCache(None), slug)
    english = english_of(shop.english, archive).keeping(public)
    requests = [item for item in sheet_requests(public, figures, shop, drawings, english) if kind in (None, item.kind)]
    if not requests:
        raise PublishError(f"{slug} has no dyno sheet: no pull of its session counts; see dyno.yaml")
    paths = []
    with translate_os_errors(out, site=False):
        out.mkdir(parents=True, exist_ok=True)
        for request in requests:
            path = out / f"{slug}-{FILES[request.kind]}"
            write_if_changed(path, request.pdf(archive, english))
            paths.append(path)
    reported = (*shop_problems, *problems, *figures.problems, *guard.problems, *chart_problems)
    return CommandReport([*dict.fromkeys(reported)], [*map(str, paths)], ok=True)
