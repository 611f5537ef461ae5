"""From a folder of Markdown pages to a folder of HTML, with MkDocs and its theme.

The theme has announced its end of life: this module, mkdocs_plugin.py, mkdocs_log.py and search_index.py are what to
rewrite for another one. Beyond MkDocs' own work they see to it that no page asks another host for anything, that the
text search also works in a folder opened without a server, and that the same pages give the same bytes on any day.
"""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from builder.publish.errors import name_path
from builder.publish.pages import templating
from builder.publish.site.mkdocs_log import LogCapture, quiet_mkdocs, translate_mkdocs_errors
from builder.publish.site.mkdocs_plugin import batch_plugin, escaped
from builder.publish.site.search_index import INDEX, SCRIPT, Index, index_of, merge_and_write
from builder.publish.site.sitemap import SITEMAP, write_sitemap

if TYPE_CHECKING:
    from mkdocs.config.defaults import MkDocsConfig

Nav = Sequence[tuple[str, str]]
"""Pages of the navigation: title and Markdown file, in order."""


@dataclass(frozen=True)
class SiteConfig:
    """What the pages of a site have in common: their archive, the site's name and address, its navigation.

    Without `nav` the configuration's own is used, without the entries that have no page. Without `search` the
    pages have no text search: a record of one page needs none.
    """

    archive: Path
    name: str
    address: str | None = None
    description: str | None = None
    nav: Nav | None = None
    search: bool = True


@dataclass(frozen=True)
class PageBatch:
    """Pages that are built together, with the theme's own files and the page for an unknown address if asked for."""

    names: tuple[str, ...]
    include_theme_files: bool = False


@dataclass(frozen=True)
class BatchResult:
    """A batch that was built: the files written, their part of the search index, and what MkDocs warned of."""

    names: tuple[str, ...]
    index: Index | None
    warnings: tuple[str, ...]


def build_site(
    pages: Path,
    out: Path,
    *,
    archive: Path,
    site_name: str,
    site_url: str | None = None,
    site_description: str | None = None,
    nav: Nav | None = None,
    search: bool = True,
) -> list[str]:
    """Build the Markdown folder `pages` into `out` in one batch; return what MkDocs warned of, such as a dead link.

    Raises PublishError when the configuration or a template is at fault, OSError when the disk is.
    """
    shutil.rmtree(out, ignore_errors=True)
    out.mkdir(parents=True)
    templating.copy_assets(archive, pages)
    config = SiteConfig(archive, site_name, site_url, site_description, nav, search)
    names = sorted(path.relative_to(pages).as_posix() for path in pages.rglob("*") if path.is_file())
    batch = PageBatch(tuple(name for name in names if name.endswith(".md")), include_theme_files=True)
    built = build_pages(batch, pages=pages, out=out, config=config)
    copy_assets([name for name in names if not name.endswith(".md")], pages, out)
    finalize(out, config, None, [built], names)
    return list(built.warnings)


def build_pages(
    batch: PageBatch, *, pages: Path, out: Path, config: SiteConfig, others: Collection[str] = ()
) -> BatchResult:
    """Build some Markdown files of the folder `pages` into `out`, where their HTML is not there yet.

    `others` are the pages that are not built now, and may be linked to. Every page comes out the same in any batch.
    """
    work = Path(tempfile.mkdtemp(prefix=".making-", dir=out))
    docs, html = work / "pages", work / "site"
    docs.mkdir()
    with quiet_mkdocs() as captured:
        mkdocs_config = _mkdocs_config(docs, html, pages, config, captured)
        from mkdocs.commands.build import build

        mkdocs_config.plugins["millbook"] = batch_plugin(
            frozenset(batch.names), pages, others, archive=config.archive, theme_files=batch.include_theme_files
        )
        with translate_mkdocs_errors(mkdocs_config.config_file_path, captured), name_path(out):
            build(mkdocs_config, dirty=True)  # builds only the pages that the plugin calls modified
    index = index_of(html)
    names = []
    for path in [path for path in html.rglob("*") if path.is_file()]:
        name = path.relative_to(html).as_posix()
        if batch.include_theme_files or name.endswith(".html"):
            (out / name).parent.mkdir(parents=True, exist_ok=True)
            os.replace(path, out / name)
            names.append(name)
    shutil.rmtree(work)
    return BatchResult(tuple(names), index, captured.relevant(pages))


def copy_assets(names: Iterable[str], pages: Path, out: Path) -> None:
    """Copy files that are no pages, such as drawings, from the pages folder to the site."""
    for name in names:
        target = out / name
        target.parent.mkdir(parents=True, exist_ok=True)
        target.unlink(missing_ok=True)  # the published site may share it
        shutil.copyfile(pages / name, target)


def finalize(
    site: Path, config: SiteConfig, index: Index | None, built: Iterable[BatchResult], pages: Iterable[str]
) -> tuple[str, ...]:
    """Write what belongs to all `pages` together, the search index and the sitemap; return the names of these files.

    `index` is the part of the search index that belongs to pages which were not built now.
    """
    with name_path(site):
        merge_and_write(site, [part for part in (index, *(result.index for result in built)) if part is not None])
        write_sitemap(site, config.address, pages)
    return INDEX, SCRIPT, SITEMAP


def preload(archive: Path) -> None:
    """Load MkDocs and the theme into this process, by building a page that is thrown away."""
    with tempfile.TemporaryDirectory(prefix="millbook-") as folder:
        pages, out = Path(folder) / "pages", Path(folder) / "site"
        pages.mkdir()
        out.mkdir()
        (pages / "index.md").write_text("# Page\n\nIts words.\n")
        build_pages(PageBatch(("index.md",)), pages=pages, out=out, config=SiteConfig(archive, "Warming up"))


def _mkdocs_config(docs: Path, html: Path, pages: Path, site: SiteConfig, captured: LogCapture) -> MkDocsConfig:
    """Return the configuration in force: the shop's own mkdocs.yml or ours, with what every site needs."""
    from mkdocs.config import load_config
    from mkdocs.config.config_options import Hooks

    # MkDocs caches hooks; the process of a preview must see them edited.
    getattr(Hooks._load_hook, "cache_clear", lambda: None)()
    own = site.archive / "mkdocs.yml"
    file = own if own.is_file() else templating.builtin_config()
    with translate_mkdocs_errors(str(file), captured):
        config = load_config(
            str(file),
            docs_dir=str(docs.resolve()),
            site_dir=str(html.resolve()),
            strict=False,
            site_name=escaped(site.name),
            site_url=site.address or "",
            site_description=escaped(site.description),
            use_directory_urls=False,  # the pages link to each other so
        )
    # The shop's own theme files come first, then ours, then the theme's.
    folders = [str(folder / "theme") for folder in templating.search_path(site.archive) if (folder / "theme").is_dir()]
    config.theme.dirs = list(dict.fromkeys([*folders, *config.theme.dirs]))
    config.nav = [{title: page} for title, page in site.nav] if site.nav else _nav_with_pages(config, pages)
    if not site.search and (plugin := config.plugins.pop("material/search", None)) is not None:
        plugin.config["enabled"] = False  # its hooks stay, and do nothing
    return config


def _nav_with_pages(config: MkDocsConfig, pages: Path) -> list[Any] | None:
    """Return the configuration's navigation without the pages that this archive does not have."""

    def existing(entry: Any) -> Any:
        target = next(iter(entry.values())) if isinstance(entry, dict) else entry
        if isinstance(target, list):
            entries = [item for e in target if (item := existing(e)) is not None]
            return {next(iter(entry)): entries} if entries else None
        return entry if not str(target).endswith(".md") or (pages / str(target)).is_file() else None

    return [item for entry in config.nav if (item := existing(entry)) is not None] if config.nav else None
