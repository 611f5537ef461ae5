"""The page that `millbook compare` writes: curves in one chart, what differs, and the records file by file."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from markupsafe import Markup

from builder.archive.compare import FileComparison, compare, compare_records, compared_record
from builder.archive.fields import System
from builder.archive.query import QueryError, RecordMap, open_index
from builder.publish.english import english_of, shown_texts
from builder.publish.pages.build.similar_builds import overlay_request
from builder.publish.pages.templating import page_environment, translate_template_errors
from builder.record.load import read_build
from builder.record.redaction import without_private

_MAX_CURVES = 4


def write_comparison(archive: Path, slugs: Sequence[str], out: Path, map_records: RecordMap = map) -> Path:
    """Write the page of these builds into `out` and return its path.

    Raises QueryError for fewer than two builds or an unknown one, PublishError for a faulty template.
    """
    context = open_index(archive, map_records)
    if not 2 <= len(set(slugs)) == len(slugs):
        raise QueryError("name two or more different builds to compare")
    summaries = [context.get(slug) for slug in slugs]
    files = _compare_files(archive, slugs, context.system)
    request = overlay_request(summaries[:_MAX_CURVES], context.system)
    chart = Markup(request.draw().svg if request else "")
    with translate_template_errors():
        template = page_environment(archive).get_template("pages/comparison.html.j2")
        english = english_of(context.english, archive).keeping(list(shown_texts(summaries)))
        page = english.markup(template.render(comparison=compare(summaries, context.system), files=files, chart=chart))
    path = out / f"{'-and-'.join(slugs)[:120]}.html"
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(page, encoding="utf-8", newline="\n")
    return path


def _compare_files(archive: Path, slugs: Sequence[str], system: System) -> tuple[FileComparison, ...]:
    """Return the records compared, file by file; none where one of them has an error."""
    builds = [read_build(archive / "builds" / slug, archive)[0] for slug in slugs]
    records = [compared_record(without_private(build)) for build in builds if build is not None]
    return compare_records(records, system) if len(records) == len(slugs) else ()
