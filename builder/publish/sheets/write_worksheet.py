"""Writing the bench sheet of one build as a PDF."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from builder.publish.english import english_of
from builder.publish.errors import PublishError, translate_os_errors
from builder.publish.incremental.output_dir import write_if_changed
from builder.publish.sheets.glyphs import map_texts, renderable
from builder.publish.sheets.identity import identity_of
from builder.publish.sheets.sheet_pdf import identity_texts
from builder.publish.sheets.typst_pdf import compile_typst, pdf_date
from builder.publish.sheets.worksheet import worksheet_data, worksheet_of
from builder.record.build_profile import profile_of
from builder.record.load import errors_in, read_build, read_shop, select_folders
from builder.record.report import CommandReport

FILE = "bench-sheet.pdf"
TEMPLATE = "handover/worksheet.typ"


def write_worksheet(archive: Path, slug: str, sections: Sequence[str], out: Path) -> CommandReport:
    """Write the bench sheet of a build into the folder ``out``; only the named sections, where any are named.

    It is the shop's own paper: it is made from the whole record, private fields included.

    Raises PublishError where none of the sections applies to the engine, or the folder cannot be written, and
    ArchiveError where there is no `builds/`.
    """
    folders, unknown = select_folders(archive, (slug,))
    if not folders:
        return CommandReport(unknown, (), ok=False)
    shop, shop_problems = read_shop(archive)
    build, problems = read_build(folders[0], archive)
    if build is None or errors_in(shop_problems):
        lines = [f"{slug}: no bench sheet until the errors are corrected"]
        return CommandReport([*shop_problems, *problems], lines, ok=False)
    shop = profile_of(build, shop)
    content = worksheet_of(build, shop, sections)
    if not content:
        raise PublishError(f"{slug} has nothing to measure in {', '.join(sections)}: this engine has no such readings")
    english = english_of(shop.english, archive).keeping(build)
    identity = identity_of(build, shop)
    data = {
        "title": "Bench sheet",
        "paper": shop.paper,
        "date": pdf_date(identity.date),
        "identity": identity_texts(identity),
        "sections": worksheet_data(content),
    }
    texts = map_texts(data, lambda text: renderable(english.text(text)))
    pdf = compile_typst(TEMPLATE, texts, {}, archive=archive, date=pdf_date(identity.date), english=english)
    path = out / "-".join((slug, *sections, FILE))
    with translate_os_errors(out, site=False):
        out.mkdir(parents=True, exist_ok=True)
        write_if_changed(path, pdf)
    return CommandReport([*shop_problems, *problems], [str(path)], ok=True)
