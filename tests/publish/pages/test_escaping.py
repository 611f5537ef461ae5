"""Text from a record stays text on its way into a page."""

from __future__ import annotations

from html.parser import HTMLParser

import markdown
import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from builder.publish.pages import escaping, templating

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


def to_html(source: str) -> str:
    """A Markdown page as HTML, with the extensions that the pages use."""
    return markdown.markdown(source, extensions=["abbr", "attr_list", "md_in_html", "tables", "toc"])


def render(template: str, **values: object) -> str:
    return templating.page_environment(None).from_string(template).render(**values)


class Text(HTMLParser):
    """The tags and the text of a piece of HTML."""

    def __init__(self, page: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[str] = []
        self.text = ""
        self.attributes: list[tuple[str, str | None]] = []
        self.feed(page)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += attrs

    def handle_data(self, data: str) -> None:
        self.text += data


@pytest.mark.parametrize("text", HOSTILE)
def test_text_stays_text_in_markdown(text: str) -> None:
    page = Text(to_html(render("{{ text }}\n", text=text)))
    assert page.tags == ["p"]
    assert page.text == escaping.one_line(text)


@pytest.mark.parametrize("text", HOSTILE)
def test_text_stays_text_in_raw_html_and_attributes(text: str) -> None:
    page = Text(to_html(render('<div title="{{ text }}">\n{{ text }}\n</div>\n', text=text)))
    assert page.tags == ["div"]
    assert page.attributes == [("title", escaping.one_line(text))]
    assert page.text.strip() == escaping.one_line(text)


@given(st.text(max_size=60))
def test_any_text_stays_text(text: str) -> None:
    page = Text(to_html(f"Before {escaping.escape_text(text)} after\n"))
    assert page.tags == ["p"]
    assert page.text == f"Before {escaping.without_breaks(escaping.one_line(text))} after"


@pytest.mark.parametrize(
    ("text", "joined"),
    [
        ("380 ± 3 lbf ft at 3,525 rpm", "380_±_3_lbf_ft at 3,525_rpm"),
        ("34.2 N m (95 %)", "34.2_N_m (95_%)"),
        ("flow at 28 in H₂O, 5.7 L or 6 US qt", "flow at 28_in_H₂O, 5.7_L or 6_US_qt"),
        ("0.0022 to 0.0034 in, 362.3 cu in", "0.0022 to 0.0034_in, 362.3_cu_in"),
        ("set 2 inner springs", "set 2 inner springs"),
    ],
)
def test_a_number_stays_on_a_line_with_its_unit(text: str, joined: str) -> None:
    assert escaping.without_breaks(text) == joined.replace("_", "\N{NO-BREAK SPACE}")


@given(st.text(max_size=60))
def test_any_prose_stays_within_plain_inline_markup(text: str) -> None:
    page = Text(to_html(f"<div>{escaping.prose(text)}</div>\n"))
    assert set(page.tags) <= {"div", "p", "em", "strong", "code", "a", "ul", "li"}


def test_prose_lets_plain_inline_markup_through() -> None:
    html = escaping.prose(
        "The *old* crank was **cracked**, see `4G6` and [the maker](https://maker.example/a?b=1&c=2).\n"
        "\n- first\n- second <b>\n\nNot [this](javascript:alert(1)), nor 2 * 3 * 4."
    )
    assert html == (
        "<p>The <em>old</em> crank was <strong>cracked</strong>, see <code>4G6</code> and "
        '<a href="https://maker.example/a?b=1&amp;c=2" rel="noopener">the maker</a>.</p>\n'
        "<ul><li>first</li><li>second &#60;b&#62;</li></ul>\n"
        "<p>Not &#91;this&#93;(javascript:alert(1)), nor 2 &#42; 3 &#42; 4.</p>"
    )


def test_markup_and_numbers_are_not_escaped() -> None:
    from markupsafe import Markup

    assert render("{{ a }} {{ b }} {{ c }} {{ d }}", a=Markup("<b>x</b>"), b=4, c=-1.5, d=None) == "<b>x</b> 4 -1.5 "


@given(st.text(max_size=40))
def test_front_matter_stays_one_string(text: str) -> None:
    assert yaml.safe_load(f"title: {escaping.yaml_scalar(text)}\n") == {"title": escaping.one_line(text)}
