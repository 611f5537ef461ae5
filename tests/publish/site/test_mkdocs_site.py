"""The site as MkDocs makes it: quiet, the same every day, closed to foreign scripts, and usable from a folder."""

from __future__ import annotations

import json
import logging
import os
import re
from pathlib import Path
from typing import Any

import pytest

from builder.commands.preview_server import serving
from builder.publish.errors import PublishError
from builder.publish.pages import escaping, templating
from builder.publish.site import csp, mkdocs_site
from tests.support.security_policy import allowed_scripts, inline_scripts, policy_of

HOSTILE = '</title><script>document.title = "taken"</script> & "co" <b>'
NAV = [("Home", "index.md"), ("Builds", "builds/index.md")]


@pytest.fixture
def pages(tmp_path: Path) -> Path:
    """A small archive's Markdown: home, list, and two builds that are in no navigation."""
    pages = tmp_path / "pages"
    write(pages / "index.md", '---\ntitle: "Home"\n---\n# Finished engines\n\n[Builds](builds/index.md)\n')
    write(pages / "builds/index.md", "# All builds\n\n[one](one/index.md) and [two](two/index.md)\n")
    hostile = escaping.yaml_scalar(HOSTILE)
    front = f"---\ntitle: {hostile}\ndescription: {hostile}\nimage: a.png\n---\n"
    one = '<details id="bore">\n<summary>Bore</summary>\n<p>camshaft</p>\n</details>\n'
    write(pages / "builds/one/index.md", f"{front}# One\n\n{one}\n## Dyno\n\n| a | b |\n|--|--:|\n| 1 | 2 |\n")
    write(pages / "builds/two/index.md", "# Two\n\n[home](../../index.md)\n")
    return pages


def write(path: Path, words: str) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(words, encoding="utf-8")


def build(pages: Path, out: str = "site", **more: Any) -> tuple[Path, list[str]]:
    target = pages.parent / out
    settings: dict[str, Any] = {"archive": pages.parent, "site_name": "Fern & Daughter", "nav": NAV, **more}
    return target, mkdocs_site.build_site(pages, target, **settings)


def html_of(out: Path) -> dict[str, str]:
    return {p.relative_to(out).as_posix(): p.read_text("utf-8") for p in sorted(out.rglob("*.html"))}


def tree(out: Path) -> dict[str, bytes]:
    return {p.relative_to(out).as_posix(): p.read_bytes() for p in out.rglob("*") if p.is_file()}


# --------------------------------------------------------------------------------------------- pages


def test_every_page_is_made_and_nothing_is_said(pages: Path, capfd: pytest.CaptureFixture[str]) -> None:
    out, warnings = build(pages)
    assert warnings == []
    assert capfd.readouterr() == ("", "")
    assert set(html_of(out)) == {
        "404.html",
        "index.html",
        "builds/index.html",
        "builds/one/index.html",
        "builds/two/index.html",
    }


def test_dead_links_are_reported(pages: Path) -> None:
    write(pages / "builds/two/index.md", "# Two\n\n[gone](../three/index.md) [part](../one/index.md#nonesuch)\n")
    _, warnings = build(pages)
    assert len(warnings) == 2
    assert "builds/two/index.md" in warnings[0]
    assert "../three/index.md" in warnings[0]
    assert "#nonesuch" in warnings[1]


def test_build_pages_stay_out_of_the_navigation(pages: Path) -> None:
    out, _ = build(pages)
    header = html_of(out)["builds/two/index.html"].split("</header>")[0]
    assert re.findall(r'<li><a href="([^"]+)"', header) == ["../../index.html", "../index.html"]


def test_same_pages_same_bytes_on_any_day(pages: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    first, _ = build(pages, "first", site_url="https://shop.example/engines/")
    for path in pages.rglob("*"):
        os.utime(path, (1_900_000_000, 1_900_000_000))
    monkeypatch.setenv("TZ", "Pacific/Auckland")
    second, _ = build(pages, "second", site_url="https://shop.example/engines/")
    assert tree(first) == tree(second)
    assert "sitemap.xml" in tree(first)


def test_logging_and_environment_are_left_as_found(pages: Path) -> None:
    logger, before = logging.getLogger("mkdocs"), dict(os.environ)
    state = (logger.level, logger.propagate, list(logger.handlers))
    build(pages)
    assert (logger.level, logger.propagate, list(logger.handlers)) == state
    assert "SOURCE_DATE_EPOCH" not in os.environ or "SOURCE_DATE_EPOCH" in before


def test_no_page_refers_to_another_host(pages: Path) -> None:
    out, _ = build(pages)
    for page in html_of(out).values():
        loaded = re.findall(r'<(?:script|link|img|iframe|source)\b[^>]*\b(?:src|href)="([^"]+)"', page)
        assert loaded
        assert not [address for address in loaded if re.match(r"[a-z]+:|//", address)]
    for sheet in out.rglob("*.css"):
        assert not re.findall(r"url\(\s*[\"']?(?:https?:)?//", sheet.read_text("utf-8"))


def test_what_serves_no_page_is_not_published(pages: Path) -> None:
    out, _ = build(pages)
    names = set(tree(out))
    assert not [name for name in names if name.endswith(".map") or "/lunr/" in name or "sitemap" in name]
    assert sum(map(len, tree(out).values())) < 600_000


def test_text_of_a_record_stays_text_in_the_head(pages: Path) -> None:
    out, _ = build(pages, site_name=HOSTILE, site_url="https://shop.example/")
    page = html_of(out)["builds/one/index.html"]
    assert "<script>document.title" not in page
    title = re.search(r'<meta property="og:title" content="([^"]*)">', page)
    assert title
    from html import unescape

    assert unescape(title[1]) == HOSTILE
    assert '<meta property="og:image" content="https://shop.example/a.png">' in page


# ------------------------------------------------------------------------------------------ policy


def test_policy_names_the_themes_scripts_and_no_other(pages: Path) -> None:
    payload = "<script>document.title = 'taken'</script>"
    write(pages / "builds/two/index.md", f"# Two\n\n{payload}\n")
    out, _ = build(pages)
    for name, page in html_of(out).items():
        policy = policy_of(page)
        assert policy["default-src"] == "'none'"
        assert policy["base-uri"] == "'none'"
        assert "unsafe" not in " ".join(policy.values())
        assert page.index("Content-Security-Policy") < page.index("<script"), name
        allowed = allowed_scripts(page)
        assert inline_scripts(page) - allowed == ({payload[8:-9]} if name == "builds/two/index.html" else set())
        assert len(allowed) >= 2


@pytest.mark.parametrize(
    "address",
    ['https://shop.example/"),alert(1),new URL("', "https://shop.example/</script><script>alert(1)</script>",
     "https://shop.example/'\"><script>alert(1)</script>"],
)  # fmt: skip
def test_no_script_in_a_text_of_the_shop_is_allowed(pages: Path, address: str) -> None:
    payload = "<script>alert(1)</script>"
    site, _ = build(pages, "plain", site_url="https://shop.example/")
    allowed = set().union(*map(allowed_scripts, html_of(site).values()))
    for page in pages.rglob("*.md"):
        write(page, f"{page.read_text('utf-8')}\n\n{payload}\n")
    out, _ = build(
        pages,
        site_url=address,
        site_name=f"Fern {payload}",
        site_description=payload,
        nav=[("Home", "index.md"), (payload, "builds/index.md")],
    )
    for name, page in html_of(out).items():
        assert {code for code in allowed_scripts(page) if "alert" in code} == set(), name
        assert allowed_scripts(page) <= allowed, name


def test_inline_scripts_of_a_template_of_the_shop_are_allowed(pages: Path) -> None:
    theme = pages.parent / "site_templates" / "theme"
    write(
        theme / "main.html",
        '{% extends "base.html" %}{% block extrahead %}<script>window.everywhere = 1</script>{% endblock %}\n'
        "{% block content %}{% if page.is_homepage %}<script>window.home = 1\r\n</script>{% endif %}"
        "<script>window.name = '{{ config.site_name }}'</script>{{ page.content }}{% endblock %}\n",
    )
    write(pages.parent / "site_templates" / "pages" / "home.md.j2", "<script>window.words = 1</script>\n")
    write(pages / "index.md", "# Home\n\n<script>window.words = 1</script>\n")
    home = html_of(build(pages)[0])["index.html"]
    assert {"window.everywhere = 1", "window.home = 1\n", "window.words = 1"} <= allowed_scripts(home)
    assert inline_scripts(home) - allowed_scripts(home) == {"window.name = 'Fern &amp; Daughter'"}


def test_a_page_without_the_place_for_a_policy_is_not_published() -> None:
    with pytest.raises(PublishError, match="security policy"):
        csp.add_csp("<html><head></head></html>", "default-src 'none'")


# ------------------------------------------------------------------------------------ configuration


def test_the_shops_own_theme_file_takes_the_place_of_ours(pages: Path) -> None:
    write(pages.parent / "site_templates/theme/partials/footer.html", "<footer>Fern's own</footer>")
    write(pages.parent / "site_templates/assets/millbook.css", "/* Fern's own */")
    out, _ = build(pages)
    assert "<footer>Fern's own</footer>" in html_of(out)["builds/one/index.html"]
    assert (out / "assets/millbook.css").read_text() == "/* Fern's own */"
    assert (out / "assets/millbook.js").is_file()


def test_the_shops_own_configuration_is_used(pages: Path) -> None:
    ours = templating.builtin_config().read_text("utf-8").replace("  custom_dir: site_templates/theme\n", "")
    write(pages.parent / "mkdocs.yml", ours.replace("title: On this page", "title: Parts of this page"))
    out, _ = build(pages)
    assert "Parts of this page" in html_of(out)["builds/one/index.html"]
    assert "mb-header" in html_of(out)["builds/one/index.html"]


def test_navigation_of_the_configuration_without_missing_pages(pages: Path) -> None:
    ours = templating.builtin_config().read_text("utf-8").replace("  custom_dir: site_templates/theme\n", "")
    nav = "nav:\n  - Start: index.md\n  - Gone: gone.md\n  - More:\n      - List: builds/index.md\n      - No: no.md\n"
    write(pages.parent / "mkdocs.yml", ours + nav)
    out, warnings = build(pages, nav=None)
    assert warnings == []
    header = html_of(out)["index.html"].split("</header>")[0]
    assert re.findall(r"<li><a[^>]*>([^<]+)</a>", header) == ["Start", "List"]


@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        ("site_name: [", "mkdocs.yml"),
        ("site_name: x\ntheme: {name: nonesuch}\n", "nonesuch"),
        ("site_name: x\nplugins: [nonesuch]\n", "nonesuch"),
        ("- a list\n", "mkdocs.yml"),
    ],
)
def test_a_bad_configuration_is_a_plain_message(pages: Path, words: str, complaint: str) -> None:
    write(pages.parent / "mkdocs.yml", words)
    with pytest.raises(PublishError, match=complaint) as problem:
        build(pages)
    assert "\n" not in str(problem.value)


@pytest.mark.parametrize("words", ["{% if %}", "{{ nonesuch.thing.more }}", "{% include 'nonesuch.html' %}"])
def test_a_bad_theme_file_is_a_plain_message(pages: Path, words: str) -> None:
    write(pages.parent / "site_templates/theme/partials/footer.html", words)
    with pytest.raises(PublishError):
        build(pages)


# ------------------------------------------------------------------------------------------ search


def test_search_index_is_there_as_data_and_as_script(pages: Path) -> None:
    out, _ = build(pages)
    data = json.loads((out / "search/search_index.json").read_text())
    script = (out / "search/search_index.js").read_text()
    assert json.loads(script.removeprefix("var __index = ")) == data
    assert "builds/one/index.html" in {entry["location"] for entry in data["docs"]}


@pytest.mark.browser
@pytest.mark.parametrize("opened", ["from a server", "from a folder"])
def test_pages_work_under_their_policy(pages: Path, chromium: Any, opened: str) -> None:
    """Search, light and dark, with nothing in the console and nothing asked of another host."""
    out, _ = build(pages)
    with serving(out) as address:
        root = address if opened == "from a server" else out.as_uri() + "/"
        context = chromium.new_context(color_scheme="dark")
        page = context.new_page()
        trouble: list[str] = []
        page.on("console", lambda message: trouble.append(message.text))
        page.on("pageerror", lambda error: trouble.append(str(error)))
        page.on("request", lambda r: None if r.url.startswith(root) else trouble.append(r.url))
        page.goto(root + "builds/one/index.html")
        page.wait_for_selector("[data-md-color-scheme=slate]")
        page.click(".mb-light")
        page.wait_for_selector("[data-md-color-scheme=default]")
        page.click(".md-search__input")
        page.keyboard.type("camshaft", delay=20)
        page.wait_for_selector(".md-search-result__link")
        assert page.get_attribute(".md-search-result__link", "href").startswith(root + "builds/one/index.html")
        assert page.title() != "taken"
        assert trouble == []
        context.close()


@pytest.mark.browser
def test_the_policy_stops_a_script_in_a_page(pages: Path, chromium: Any) -> None:
    attack = (
        "<script>document.title = 'taken'</script>\n"
        "<img src='nonesuch.png' onerror=\"document.title = 'taken'\">\n"
        "<script src='https://elsewhere.example/x.js'></script>\n"
        "<a id='link' href=\"javascript:document.title='taken'\">link</a>\n"
    )
    write(pages / "builds/two/index.md", f"# Two\n\n<div>\n{attack}</div>\n")
    out, _ = build(pages)
    with serving(out) as address:
        for root in (address, out.as_uri() + "/"):
            page = chromium.new_page()
            page.goto(root + "builds/two/index.html")
            page.click("#link")
            page.wait_for_timeout(200)
            assert page.title() == "Two · Fern & Daughter"
            page.close()
