"""An archive whose every text field holds markup and scripts, published and opened: it stays text everywhere."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
import yaml
from playwright.sync_api import Browser

from builder.publish.pipeline import publish
from builder.record.reference import field_reference
from tests.support.demo_builds import copy_builds

pytestmark = pytest.mark.browser
PAYLOAD = (
    "</p></div></td></table></details><script>window.taken=1</script><img src=x onerror=window.taken=1>"
    "\"'><svg onload=window.taken=1> [go](javascript:window.taken=1) **b** {{7*7}} {% raw %} <!-- &amp; `c` "
    "</title></style># h | t | ---"
)
BASE = "pilot-launch-four"
_TEXT = ("a few words", "sentences", "a list of short texts")
_MEANT = re.compile(
    r"(\.|^)(file|at|steps|unit|size|adjuster_thread|bore_gauging\.depths|site_address|delivery_requires|handover_holds|"
    r"columns|speed_unit|torque_unit|encoding|delimiter|caution)$|^at$"
)
"""Text with a meaning to the program: a file's name, a unit, a thread, a lift."""


_AS_WRITTEN = {
    letter: [(tag, pattern) for tag, pattern in resolvers if tag.endswith((":null", ":merge"))]
    for letter, resolvers in yaml.SafeLoader.yaml_implicit_resolvers.items()
}
"""Every scalar is the text that was written: `on`, and the last zero of 53.990."""


class AsWritten(yaml.SafeLoader):
    yaml_implicit_resolvers = _AS_WRITTEN


class WrittenBack(yaml.SafeDumper):
    yaml_implicit_resolvers = _AS_WRITTEN


@pytest.fixture(scope="module")
def hostile(tmp_path_factory: pytest.TempPathFactory) -> Path:
    archive = tmp_path_factory.mktemp("hostile")
    copy_builds(archive, BASE, "fire-pump-flat-four")
    texts = {
        d.name: {row.path.removesuffix("[]") for row in d.rows if row.notation in _TEXT} for d in field_reference()
    }
    changed = 0
    for path in [*sorted((archive / "builds" / BASE).glob("*.yaml")), archive / "builds" / "shop.yaml"]:
        record, count = _taint(yaml.load(path.read_text("utf-8"), Loader=AsWritten), "", texts[path.stem])
        path.write_text(yaml.dump(record, Dumper=WrittenBack, allow_unicode=True, sort_keys=False), encoding="utf-8")
        changed += count
    assert changed > 120
    report = publish(archive, archive / "site")
    assert report.ok, [str(problem) for problem in report.problems][:5]
    assert BASE in report.published
    return report.out


def _taint(value: Any, path: str, texts: set[str]) -> tuple[Any, int]:
    """The record with the payload behind every text, and how many there were."""
    if isinstance(value, dict):
        done = {k: _taint(v, f"{path}.{k}" if path else str(k), texts) for k, v in value.items()}
        return {k: v for k, (v, _) in done.items()}, sum(n for _, n in done.values())
    if isinstance(value, list):
        inner = path if path in texts else f"{path}[]"
        items = [_taint(item, inner, texts) for item in value]
        return [v for v, _ in items], sum(n for _, n in items)
    is_text = path in texts or (isinstance(value, str) and path.rpartition(".")[2] in ("note", "rule", "by", "why"))
    if is_text and isinstance(value, str | int | float) and not _MEANT.search(path):
        return f"{value} {PAYLOAD}", 1
    return value, 0


def pages(site: Path) -> list[Path]:
    return sorted(site.rglob("*.html"))


def test_no_script_of_a_record_runs_even_without_the_policy(chromium: Browser, hostile: Path) -> None:
    context = chromium.new_context(bypass_csp=True, viewport={"width": 1440, "height": 900})
    dialogs: list[str] = []
    tab = context.new_page()
    tab.on("dialog", lambda d: (dialogs.append(d.message), d.dismiss()))
    for path in pages(hostile):
        tab.goto(path.as_uri())
        if path.name in ("finder.html", "compare.html"):
            tab.wait_for_selector("[data-ready]")
        tab.wait_for_timeout(150)
        where = path.relative_to(hostile).as_posix()
        assert tab.evaluate("window.taken") is None, where
        assert tab.locator("img[src='x'], [onerror], [onload], a[href^='javascript']").count() == 0, where
        own = tab.locator("article script").evaluate_all(
            "all => all.filter(one => !one.src && one.type !== 'application/json').length"
        )
        assert own == 0, where
    context.close()
    assert dialogs == []


def test_the_page_keeps_its_shape_and_shows_the_text_as_text(chromium: Browser, hostile: Path, published: Path) -> None:
    shapes = []
    for site in (published, hostile):
        tab = chromium.new_page(viewport={"width": 1440, "height": 900})
        tab.goto(f"{site.as_uri()}/builds/{BASE}/index.html")
        counts = {
            what: tab.locator(f"article {what}").count()
            for what in ("h1", "h3", "h4", "details.mb-figure", "table", "td", "li", "figure", ".mb-photos img")
        }
        # The relatives differ from archive to archive.
        counts["td"] -= tab.locator("[aria-label='Similar builds'] td").count()
        shapes.append(counts)
        if site == hostile:
            text = tab.inner_text("article")
            assert "<script>window.taken=1</script>" in text
            assert "{{7*7}} {% raw %}" in text
            assert "49" not in re.findall(r"\{\{7\*7\}\}|\b49\b(?= \{%)", text)
            assert tab.evaluate("document.documentElement.scrollWidth") <= 1440
            assert "<img src=x" in tab.title()
        tab.close()
    clean, tainted = shapes
    assert tainted["h1"] == 1
    assert {k: tainted[k] for k in ("h3", "h4", "details.mb-figure", "td", ".mb-photos img")} == {
        k: clean[k] for k in ("h3", "h4", "details.mb-figure", "td", ".mb-photos img")
    }


def test_every_page_carries_the_policy_before_anything_else(hostile: Path) -> None:
    for path in pages(hostile):
        head = path.read_text("utf-8").partition("</head>")[0]
        policy = re.search(r'<meta http-equiv="Content-Security-Policy" content="([^"]+)">', head)
        assert policy, path
        assert "default-src 'none'" in policy[1]
        assert "unsafe" not in policy[1]
        assert not re.search(r"<(script|link|style|img)", head[: policy.start()])


def test_the_text_search_finds_markup_without_running_it(chromium: Browser, hostile: Path) -> None:
    context = chromium.new_context(bypass_csp=True, viewport={"width": 1440, "height": 900})
    tab = context.new_page()
    tab.goto(f"{hostile.as_uri()}/index.html")
    tab.locator(".md-search__input").click()
    tab.locator(".md-search__input").press_sequentially("Quillfin")
    tab.wait_for_selector(".md-search-result__link")
    tab.wait_for_timeout(300)
    assert tab.evaluate("window.taken") is None
    assert tab.locator(".md-search-result img, .md-search-result svg[onload]").count() == 0
    context.close()
