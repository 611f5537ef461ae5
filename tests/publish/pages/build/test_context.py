"""The page of a build: its sections, and how a shop replaces one."""

from __future__ import annotations

from pathlib import Path

from builder.publish.pages.build.context import render_build_page
from builder.publish.pages.build.headline import facts
from builder.publish.pages.templating import page_environment
from tests.support import view_samples as samples


def render(archive: Path | None) -> str:
    build, sheet = samples.build_and_sheet("irrigation-single")
    return render_build_page(
        build, sheet, samples.shop(), page_environment(archive), charts=(), photos=(), data_files=(), readiness=None
    )


def test_a_shop_replaces_one_section_of_the_page(tmp_path: Path) -> None:
    own = tmp_path / "site_templates" / "pages" / "build" / "facts.md.j2"
    own.parent.mkdir(parents=True)
    own.write_text("<p>{{ facts | length }} facts</p>\n")
    build, _sheet = samples.build_and_sheet("irrigation-single")
    before, _, rest = render(None).partition('<ul class="mb-facts">')
    _, _, after = rest.partition("</ul>\n")
    assert render(tmp_path) == f"{before}<p>{len(facts(build))} facts</p>\n{after}"


def test_the_page_shows_conflicting_readings_with_file_and_line(tmp_path: Path) -> None:
    build, sheet = samples.write_and_read(
        tmp_path,
        build="title: Four\nstatus: finished\nengine: {cylinders: 4}\n",
        bottom_end="block: {bores: 81.5 mm}\ncrankshaft: {stroke: 77.6 mm}\n",
        top_end="gasket:\n  number: <b>GG</b>\n  bore: 80.5 mm\n",
        parts="parts: [{part: head gasket, number: GG-828}]\n",
    )
    page = render_build_page(
        build, sheet, samples.shop(), page_environment(None), charts=(), photos=(), data_files=(), readiness=None
    )
    assert "## Conflicting readings" in page
    for value in (value for found in sheet.contradictions for value in found.values):
        assert f"<small>{value.place}</small>" in page.replace("&#95;", "_")
    assert "<small>top&#95;end.yaml:3</small>" in page
    assert "<b>GG</b>" not in page
    assert "Conflicting readings" not in render(None)
