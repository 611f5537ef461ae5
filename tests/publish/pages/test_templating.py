"""Templates are found file by file, and text stays text on its way into a page."""

from __future__ import annotations

from html.parser import HTMLParser
from pathlib import Path

import markdown
import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from builder.publish.pages import templating

HOSTILE = [
    "<script>alert(1)</script>",
    "<img src=x onerror=alert(1)>",
    "[click](javascript:alert(1))",
    "![x](https://elsewhere.example/x.png)",
    "# Not a heading",
    "- not a list",
    "1. not a list",
    "> not a quote",
    "*not emphasis* and **not strong** and __neither__",
    "`code`",
    "a | b\n--|--\n1 | 2",
    "{: onclick=alert(1) }",
    "&lt;b&gt; & &amp;",
    "```\nfence\n```",
    "*[bore]: an abbreviation",
    "[id]: https://elsewhere.example",
    "----",
    "=====",
    "    indented",
    "\"quotes\" and 'apostrophes'",
    "\\*backslash\\*",
    "<!-- comment -->",
    "http://elsewhere.example <https://elsewhere.example>",
    "!!! note",
    "x\x00y\x02klzzwxh:0001\x03z",
]


def shown(source: str) -> str:
    """A Markdown page as HTML, with the extensions that the pages use."""
    return markdown.markdown(source, extensions=["abbr", "attr_list", "md_in_html", "tables", "toc"])


def render(template: str, **values: object) -> str:
    return templating.page_environment(None).from_string(template).render(**values)


class Text(HTMLParser):
    """The tags and the text of a piece of HTML."""

    def __init__(self, page: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[str] = []
        self.words = ""
        self.attributes: list[tuple[str, str | None]] = []
        self.feed(page)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += attrs

    def handle_data(self, data: str) -> None:
        self.words += data


def one_line(words: str) -> str:
    return " ".join(templating._CONTROL.sub("", words).split())


@pytest.mark.parametrize("words", HOSTILE)
def test_text_stays_text_in_markdown(words: str) -> None:
    page = Text(shown(render("{{ words }}\n", words=words)))
    assert page.tags == ["p"]
    assert page.words == one_line(words)


@pytest.mark.parametrize("words", HOSTILE)
def test_text_stays_text_in_raw_html_and_attributes(words: str) -> None:
    page = Text(shown(render('<div title="{{ words }}">\n{{ words }}\n</div>\n', words=words)))
    assert page.tags == ["div"]
    assert page.attributes == [("title", one_line(words))]
    assert page.words.strip() == one_line(words)


@given(st.text(max_size=60))
def test_any_text_stays_text(words: str) -> None:
    page = Text(shown(f"Before {templating.escape_text(words)} after\n"))
    assert page.tags == ["p"]
    assert page.words == f"Before {one_line(words)} after"


@given(st.text(max_size=60))
def test_any_prose_stays_within_plain_inline_markup(words: str) -> None:
    page = Text(shown(f"<div>{templating.prose(words)}</div>\n"))
    assert set(page.tags) <= {"div", "p", "em", "strong", "code", "a", "ul", "li"}


def test_prose_lets_plain_inline_markup_through() -> None:
    html = templating.prose(
        "The *old* crank was **cracked**, see `4G6` and [the maker](https://maker.example/a?b=1&c=2).\n"
        "\n- first\n- second <b>\n\nNot [this](javascript:alert(1)), nor 2 * 3 * 4."
    )
    assert html == (
        "<p>The <em>old</em> crank was <strong>cracked</strong>, see <code>4G6</code> and "
        '<a href="https://maker.example/a?b=1&amp;c=2" rel="noopener">the maker</a>.</p>\n'
        "<ul><li>first</li><li>second &#60;b&#62;</li></ul>\n"
        "<p>Not &#91;this&#93;(javascript:alert(1)), nor 2 &#42; 3 &#42; 4.</p>"
    )


def test_our_own_markup_and_numbers_pass() -> None:
    from markupsafe import Markup

    assert render("{{ a }} {{ b }} {{ c }} {{ d }}", a=Markup("<b>x</b>"), b=4, c=-1.5, d=None) == "<b>x</b> 4 -1.5 "


@given(st.text(max_size=40))
def test_front_matter_stays_one_string(words: str) -> None:
    assert yaml.safe_load(f"title: {templating.yaml_scalar(words)}\n") == {"title": one_line(words)}


@pytest.mark.parametrize(
    ("numbers", "padded"),
    [
        (["10.62", "9.5", "11"], ["10.62", "9.5\u2007", "11\u2008\u2007\u2007"]),
        (["3", "12"], ["3", "12"]),
        (["", "1.5"], ["", "1.5"]),
        ([], []),
    ],
)
def test_decimal_points_in_line(numbers: list[str], padded: list[str]) -> None:
    assert [Text(cell).words for cell in templating.align_decimals(numbers)] == padded


def test_a_missing_value_in_a_template_is_an_error() -> None:
    import jinja2

    with pytest.raises(jinja2.UndefinedError):
        render("{{ nonesuch }}")


# ------------------------------------------------------------------------------------------- finding


def write(path: Path, words: str) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(words)


def test_the_shops_own_files_take_the_place_of_ours(tmp_path: Path) -> None:
    own = tmp_path / "site_templates" / "assets" / "millbook.css"
    assert templating.find("assets/millbook.css", tmp_path) == templating.builtin_dir() / "assets" / "millbook.css"
    write(own, "body {}")
    write(tmp_path / "site_templates" / "assets" / "extra.js", "1")
    write(tmp_path / "site_templates" / "assets" / ".hidden", "1")
    assert templating.find("assets/millbook.css", tmp_path) == own
    assert templating.find("assets/nonesuch", tmp_path) is None
    found = templating.resolve_all(tmp_path, "assets")
    assert found["assets/millbook.css"] == own
    assert found["assets/millbook.js"] == templating.builtin_dir() / "assets" / "millbook.js"
    assert "assets/extra.js" in found
    assert "assets/.hidden" not in found


def test_own_page_template_may_build_on_ours(tmp_path: Path) -> None:
    write(tmp_path / "site_templates" / "pages" / "own.md.j2", "Hello {{ name }}")
    page = templating.page_environment(tmp_path).get_template("pages/own.md.j2").render(name="*you*")
    assert page == "Hello &#42;you&#42;"


def test_assets_are_laid_and_left_alone_when_the_same(tmp_path: Path) -> None:
    write(tmp_path / "site_templates" / "assets" / "millbook.css", "body {}")
    templating.copy_assets(tmp_path, tmp_path / "pages")
    laid = tmp_path / "pages" / "assets" / "millbook.css"
    assert laid.read_text() == "body {}"
    before = laid.stat().st_mtime_ns
    templating.copy_assets(tmp_path, tmp_path / "pages")
    assert laid.stat().st_mtime_ns == before
