"""Templates and assets are looked up file by file, the shop's own first."""

from __future__ import annotations

from pathlib import Path

import jinja2
import pytest

from builder.publish.pages import templating


def test_a_missing_value_in_a_template_is_an_error() -> None:
    with pytest.raises(jinja2.UndefinedError):
        templating.page_environment(None).from_string("{{ nonesuch }}").render()


def write(path: Path, text: str) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text)


def test_a_shops_own_files_replace_the_built_in_ones(tmp_path: Path) -> None:
    own = tmp_path / "site_templates" / "assets" / "millbook.css"
    assert templating.find("assets/millbook.css", tmp_path) == templating.builtin_dir() / "assets" / "millbook.css"
    write(own, "body {}")
    write(tmp_path / "site_templates" / "assets" / "extra.js", "1")
    write(tmp_path / "site_templates" / "assets" / ".hidden", "1")
    assert templating.find("assets/millbook.css", tmp_path) == own
    assert templating.find("assets/nonesuch", tmp_path) is None
    files = templating.resolve_all(tmp_path, "assets")
    assert files["assets/millbook.css"] == own
    assert files["assets/millbook.js"] == templating.builtin_dir() / "assets" / "millbook.js"
    assert "assets/extra.js" in files
    assert "assets/.hidden" not in files


def test_values_in_a_shops_own_template_are_escaped(tmp_path: Path) -> None:
    write(tmp_path / "site_templates" / "pages" / "own.md.j2", "Hello {{ name }}")
    page = templating.page_environment(tmp_path).get_template("pages/own.md.j2").render(name="*you*")
    assert page == "Hello &#42;you&#42;"


def test_assets_are_not_written_again_when_they_are_the_same(tmp_path: Path) -> None:
    write(tmp_path / "site_templates" / "assets" / "millbook.css", "body {}")
    templating.copy_assets(tmp_path, tmp_path / "pages")
    copied = tmp_path / "pages" / "assets" / "millbook.css"
    assert copied.read_text() == "body {}"
    before = copied.stat().st_mtime_ns
    templating.copy_assets(tmp_path, tmp_path / "pages")
    assert copied.stat().st_mtime_ns == before
