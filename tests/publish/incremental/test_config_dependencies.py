"""A shop's own configuration: whatever it draws on, a change of it is published."""

from __future__ import annotations

from pathlib import Path

import pytest

from builder.publish.incremental.config_dependencies import config_dependencies
from builder.publish.pages.templating import builtin_config
from builder.publish.pipeline import publish
from tests.support import tiny_archive as tiny


def write(folder: Path, **files: str) -> None:
    for name, text in files.items():
        path = folder / name.replace("__", "/").replace("_yml", ".yml").replace("_py", ".py")
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text)


def names(folder: Path, files: list[Path]) -> list[str]:
    return [path.resolve().relative_to(folder.resolve()).as_posix() for path in files]


def test_what_it_inherits_from_its_hooks_and_theme_files(tmp_path: Path) -> None:
    write(
        tmp_path,
        mkdocs_yml="INHERIT: shared/base.yml\nhooks: [hooks/remark.py]\n",
        shared__base_yml="INHERIT: ../all.yml\ntheme: {name: material, custom_dir: ours}\n",
        all_yml="hooks:\n  - hooks/late.py\n",
        ours__main_html="x",
        ours__partials__toc_html="y",
    )
    files, values = config_dependencies(tmp_path / "mkdocs.yml")
    assert names(tmp_path, files) == [
        "mkdocs.yml",
        "hooks/remark.py",
        "shared/base.yml",
        "ours/main_html",
        "ours/partials/toc_html",
        "all.yml",
        "hooks/late.py",
    ]
    assert values == []


def test_the_values_it_takes_from_the_environment(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SHOP_NAME", "Anvil Row")
    monkeypatch.delenv("SHOP_MARK", raising=False)
    write(tmp_path, mkdocs_yml="site_name: !ENV SHOP_NAME\nextra: {deep: [{mark: !ENV [SHOP_MARK, none]}]}\n")
    _, values = config_dependencies(tmp_path / "mkdocs.yml")
    assert sorted(values) == ["SHOP_MARK=", "SHOP_NAME=Anvil Row", "none="]


@pytest.mark.parametrize(
    "text",
    [
        "",
        "just words",
        "- a\n- list\n",
        "{broken",
        "INHERIT: mkdocs.yml\n",
        "INHERIT: nowhere.yml\nhooks: gone.py\ntheme: material\n",
        "INHERIT: {a: b}\nhooks: {a: b}\ntheme: [a]\n",
        "? [a, b]\n: c\n",
        "a: &a [*a]\nb: &b {c: *b}\n",
        "nav: !!python/name:os.system\n",
        "a: " + "[" * 5000,
    ],
)
def test_any_text_is_read_without_a_fault(text: str, tmp_path: Path) -> None:
    write(tmp_path, mkdocs_yml=text)
    files, _ = config_dependencies(tmp_path / "mkdocs.yml")
    assert files[0] == tmp_path / "mkdocs.yml"


@pytest.mark.slow
def test_a_change_of_what_it_draws_on_is_published(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    archive, site = tmp_path / "shop", tmp_path / "shop" / "site"
    tiny.write_build(archive, "ash")
    base = builtin_config().read_text().replace("  custom_dir: site_templates/theme\n", "")
    hook = "def on_page_content(html, **_):\n    return html + '<p>{remark}</p>'\n"
    write(
        archive,
        mkdocs_yml="INHERIT: base.yml\nhooks: [remark.py]\ncopyright: !ENV SHOP_LINE\n",
        base_yml=base,
        remark_py=hook.format(remark="Checked twice"),
        **{f"site_templates__pages__{name}.md.j2": text for name, text in tiny.SHORT.items()},
    )
    page = site / "builds" / "ash" / "index.html"

    def published(line: str) -> str:
        monkeypatch.setenv("SHOP_LINE", line)
        publish(archive, site)
        return page.read_text()

    assert "<p>Checked twice</p>" in published("Anvil Row")
    assert publish(archive, site).changed == 0
    (archive / "remark.py").write_text(hook.format(remark="Checked three times"))
    assert "<p>Checked three times</p>" in published("Anvil Row")
    (archive / "base.yml").write_text(base.replace("title: On this page", "title: Here you find"))
    assert "Here you find" in (again := published("Anvil Row"))
    assert "Anvil Row" in again
    assert "Anvil Lane" in published("Anvil Lane")
